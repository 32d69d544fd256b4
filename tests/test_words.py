"""Sentences for growers: every reason has words, and every number its unit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from enum import StrEnum
from typing import Any

import pytest

from daemon import words
from daemon.dose.ledger_file import line
from daemon.dose.usual import Usual
from daemon.measure.rate import RateReason
from daemon.values import (
    Cap,
    Condition,
    DoseReason,
    DoseRequest,
    Outcome,
    Permit,
    PumpState,
    Quality,
    Quantity,
    RateStanding,
    Refusal,
    Role,
    Verdict,
    VerdictReason,
)
from tests.link.states import entry, good, unknown
from tests.strategies import request, verdict

ASKED = DoseRequest("bed1", Role.PH_DOWN, 24.1, DoseReason.PH_HIGH, {"ph": 6.72, "target": 6.0})


@pytest.mark.parametrize(
    ("table", "of"),
    [
        (words.CAP, Cap),
        (words.CONDITION, Condition),
        (words.OUTCOME, Outcome),
        (words.ROLE, Role),
        (words.QUANTITY, Quantity),
    ],
)
def test_every_member_has_words(table: Mapping[Any, Any], of: type[StrEnum]) -> None:
    """None can reach a grower as a bare name."""
    assert set(table) == set(of)


def test_every_quantity_has_a_unit_and_digits() -> None:
    """A second probe those of the first."""
    assert set(words.UNIT) == set(words.DECIMALS) == {quantity.kind for quantity in Quantity}


@pytest.mark.parametrize("reason", VerdictReason)
def test_every_verdict_says_why(reason: VerdictReason) -> None:
    """Without a reading too."""
    said = words.verdict(Verdict(Quantity.PH, Quality.BAD, reason))
    assert said.startswith("pH –, bad")
    assert words.why(Verdict(Quantity.PH, Quality.BAD, reason)).strip()


@pytest.mark.parametrize(
    ("quantity", "amount", "said"),
    [
        (Quantity.PH, 6.0249, "6.02"),
        (Quantity.EC, 1.2, "1.20 mS/cm"),
        (Quantity.TEMPERATURE, 19.96, "20.0 °C"),
        (Quantity.LEVEL, 1.0, "enough"),
        (Quantity.LEVEL, 0.0, "low"),
        (Quantity.PH, None, "–"),
        (Quantity.LEVEL, None, "–"),
    ],
)
def test_an_amount_has_its_unit_and_sensible_digits(quantity: Quantity, amount: float | None, said: str) -> None:
    """A dash where there is none."""
    assert words.value(quantity, amount) == said


@pytest.mark.parametrize(
    ("seconds", "said"),
    [(0.0, "0 s"), (119.9, "119 s"), (120.0, "2 min"), (7199.0, "119 min"), (7200.0, "2 h"), (1e6, "277 h")],
)
def test_a_time_is_told_in_whole_ones_and_never_longer_than_it_was(seconds: float, said: str) -> None:
    """Of the unit that a person would use."""
    assert (words.lasting(seconds), words.ago(seconds)) == (said, f"{said} ago")


def test_one_day_is_no_days() -> None:
    """As one says it."""
    assert [words.days(count) for count in (0, 1, 2)] == ["0 days", "1 day", "2 days"]


def test_a_bad_value_is_not_shown_as_the_waters() -> None:
    """What the probe says stays in the reading; people see a dash."""
    bad = verdict(9.9, quality=Quality.BAD)
    assert words.believed(bad) is None
    assert words.verdict(bad) == "pH –, bad: moved faster than water can"
    assert words.believed(verdict(6.1, quality=Quality.UNCERTAIN)) == 6.1


def test_a_good_verdict_needs_no_reason() -> None:
    """Value and quality are enough."""
    assert words.verdict(good(Quantity.EC, 1.2)) == "EC 1.20 mS/cm, good"


def test_the_drivers_own_message_is_passed_on() -> None:
    """It names the chip and what to look at."""
    assert words.why(unknown(Quantity.PH)) == "the probe's converter does not answer (no chip at 0x48)"


def test_a_permit_says_how_much_how_long_why_and_what_bound_it() -> None:
    """The cap is named only where it made the dose smaller."""
    whole = Permit(ASKED, 24.1, 24.1)
    assert words.permit(whole) == "24.1 mL pH down over 24.1 s: pH 6.72, aim 6.00"
    bound = replace(whole, ml=8.0, run_s=8.0, bound_by=Cap.PER_DOSE)
    assert words.permit(bound).endswith("; asked 24.1 mL, less by the cap per dose")
    assert words.decision(bound) == words.permit(bound)


def test_a_refusal_says_which_cap_with_its_numbers() -> None:
    """So that a person can check it by hand."""
    refused = Refusal(ASKED, Cap.GAP, {"since_pump_s": 120.0, "min_gap_s": 360.0})
    said = "no pH down: too soon after this pump's last dose (since pump s 120, min gap s 360)"
    assert words.refusal(refused) == words.decision(refused) == said


@pytest.mark.parametrize("cap", Cap)
def test_every_cap_makes_a_sentence(cap: Cap) -> None:
    """With and without numbers."""
    assert words.CAP[cap] in words.refusal(Refusal(ASKED, cap))
    assert words.CAP[cap] in words.refusal(Refusal(ASKED, cap, {"x_ml": 1.0}))


@pytest.mark.parametrize("reason", DoseReason)
def test_every_dose_reason_makes_a_sentence(reason: DoseReason) -> None:
    """Also where the numbers are missing."""
    asked = replace(ASKED, reason=reason)
    assert "24.1 mL" in words.permit(Permit(asked, 24.1, 24.1))
    assert "?" in words.permit(Permit(replace(request(), numbers={}), 1.0, 1.0))


@pytest.mark.parametrize("outcome", Outcome)
def test_a_ledger_line_says_how_it_ended_unless_it_went_well(outcome: Outcome) -> None:
    """And that it counts in full all the same."""
    said = words.entry(replace(entry(1, 2.5), outcome=outcome, note="told to stop"))
    assert said.startswith("2.5 mL pH down, pH 6.80, aim ?")
    assert ("counted in full: told to stop" in said) is (outcome is not Outcome.DONE)


@pytest.mark.parametrize("name", Condition)
def test_a_condition_says_what_it_means(name: Condition) -> None:
    """Its word first, then the meaning, then the reason given."""
    assert words.condition(name, "cleaning").startswith(f"{name.value} (")
    assert words.condition(name, "cleaning").endswith(": cleaning")
    assert words.condition(name).endswith(")")


def test_a_changed_wiring_says_what_was_what_is_and_what_to_do() -> None:
    """Part by part, a key that is gone as well."""
    said = words.rewired(("gain=5.0", "zero_v=1.65"), "driver=ph_amplifier gain=-5.0")
    assert "gain was 5.0, is -5.0, zero_v was 1.65, is gone" in said
    assert "put it back" in said
    assert "calibrate again" in said


def test_a_pumps_rate_and_tube_are_told_with_what_is_wrong_with_them() -> None:
    """The day and its age where one is known; every standing and every outcome of a measurement has its words."""
    pump = PumpState(1.0375, RateStanding.OLD, "2026-03-02", 61, 3.25, 100.0)
    assert words.rate(pump) == "1.04 mL/s, measured 2026-03-02 (61 days ago): due to be measured again"
    assert words.tube(pump) == "tube run 3.2 of 100 h"
    assert words.tube(PumpState(1.0, RateStanding.DATED)) == ""
    assert words.RATE.keys() == set(RateStanding)
    assert words.RATE_FIT.keys() == set(RateReason)


@pytest.mark.parametrize("usual", [Usual(10.25, 1.55, 0.25), Usual(10.25, 12.5, None, 3.0)])
def test_why_dosing_stopped_fits_into_the_ledger_whole(usual: Usual) -> None:
    """With the command that opens the lock at its end."""
    for pump in (Role.PH_DOWN, Role.PH_UP):
        reason = words.unusual(pump, usual)
        assert line(reason) == reason
        assert reason.endswith("`evenwater clear --measured-ph N`")
        assert words.doubts_ph(reason)
