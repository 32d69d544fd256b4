"""What a pump delivers in a second: from timed runs, and how far it is believed."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from math import inf, nan
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.measure.rate import (
    GUESS_SHARE,
    SPREAD_SHARE,
    Guess,
    PumpRate,
    RateFit,
    RateReason,
    TimedRun,
    Tube,
    fit_rate,
    in_force,
)
from daemon.values import RateStanding

TODAY = date(2026, 4, 1)
DAY = "2026-04-01"
GUESS = Guess(1.0, "", 60.0, 90.0)
KEPT = PumpRate(1.04, "2026-03-02", (TimedRun(7, 8.0, 8.3), TimedRun(8, 8.0, 8.3)))


def runs(*ml: float, run_s: float = 10.0) -> list[TimedRun]:
    return [TimedRun(number, run_s, each) for number, each in enumerate(ml, start=1)]


def reason(fit: RateFit) -> RateReason:
    """Why; and nothing is kept unless it is fine."""
    assert (fit.rate is not None) == (fit.reason is RateReason.FINE)
    return fit.reason


def test_all_amounts_over_all_seconds() -> None:
    """A longer run counts for more; the runs are kept with it."""
    timed = [TimedRun(1, 10.0, 10.2), TimedRun(2, 20.0, 21.0)]
    assert fit_rate(timed, 1.0, DAY).rate == PumpRate(1.04, DAY, tuple(timed))


@pytest.mark.parametrize(
    ("ml", "why"),
    [
        ((), RateReason.RUN_COUNT),
        ((10.0,), RateReason.RUN_COUNT),
        ((10.0,) * 6, RateReason.RUN_COUNT),
        ((10.0, 10.0), RateReason.FINE),
        ((10.0,) * 5, RateReason.FINE),
        ((10.0, nan), RateReason.NOT_A_NUMBER),
        ((10.0, inf), RateReason.NOT_A_NUMBER),
        ((10.0, 0.0), RateReason.NOT_A_NUMBER),
        ((10.0, -10.0), RateReason.NOT_A_NUMBER),
        ((9.5, 10.5), RateReason.FINE),  # 10 %
        ((9.49, 10.5), RateReason.SPREAD),
        ((5.0, 5.0), RateReason.FINE),  # half the guess
        ((4.99, 4.99), RateReason.FAR_FROM_GUESS),
        ((20.0, 20.0), RateReason.FINE),  # twice
        ((20.1, 20.1), RateReason.FAR_FROM_GUESS),
    ],
)
def test_what_is_kept_and_what_is_not(ml: tuple[float, ...], why: RateReason) -> None:
    """Two to five runs, that agree to a tenth, between half and twice the settings' guess."""
    assert reason(fit_rate(runs(*ml), 1.0, DAY)) is why


@given(
    ml=st.lists(st.floats(allow_nan=True, allow_infinity=True), max_size=7),
    run_s=st.floats(allow_nan=True, allow_infinity=True),
    guess=st.floats(0.001, 20.0),
)
def test_whatever_is_told_a_rate_kept_is_plausible(ml: list[float], run_s: float, guess: float) -> None:
    """Near the guess, whatever amounts and times are told."""
    fit = fit_rate(runs(*ml, run_s=run_s), guess, DAY)
    if fit.rate is not None:
        assert GUESS_SHARE[0] * guess <= fit.rate.ml_per_s <= GUESS_SHARE[1] * guess
        assert fit.numbers["spread_share"] <= SPREAD_SHARE


@pytest.mark.parametrize(
    ("day", "standing"),
    [
        ("", RateStanding.UNDATED),
        ("2026-04-01", RateStanding.DATED),
        ("2026-04-02", RateStanding.DATED),  # tomorrow: a matter of time zones
        ("2026-04-03", RateStanding.EXPIRED),  # a wrong clock
        ("2026-02-01", RateStanding.DATED),  # 59 days
        ("2026-01-31", RateStanding.OLD),  # 60
        ("2026-01-01", RateStanding.OLD),  # 90
        ("2025-12-31", RateStanding.EXPIRED),  # 91
    ],
)
def test_a_rate_grows_old(day: str, standing: RateStanding) -> None:
    """Due from 60 days on, no longer dosed by beyond 90; the same for the settings' and for a kept one."""
    assert in_force(replace(GUESS, day=day), None, None, TODAY).standing is standing
    if day:
        assert in_force(GUESS, replace(KEPT, day=day), None, TODAY).standing is standing
    usable = in_force(replace(GUESS, day=day), None, None, TODAY).usable
    assert usable is (standing is not RateStanding.EXPIRED)


def test_what_was_measured_takes_the_place_of_the_guess() -> None:
    """Unless the settings name a later day."""
    assert in_force(GUESS, KEPT, None, TODAY).ml_per_s == 1.04
    assert in_force(replace(GUESS, day="2026-03-01"), KEPT, None, TODAY).ml_per_s == 1.04
    assert in_force(replace(GUESS, day="2026-03-03"), KEPT, None, TODAY).ml_per_s == 1.0


@pytest.mark.parametrize("ml_per_s", [0.49, 2.01, nan])
def test_settings_that_mean_another_pump(ml_per_s: float) -> None:
    """What was measured is not dosed by, nor the new guess until it is measured."""
    found = in_force(GUESS, replace(KEPT, ml_per_s=ml_per_s), None, TODAY)
    assert (found.ml_per_s, found.standing, found.usable) == (1.0, RateStanding.UNLIKE, False)


@pytest.mark.parametrize(
    ("tube", "kept", "usable"),
    [
        (Tube(0, "", 0.0), KEPT, True),  # never told
        (Tube(6, "2026-03-02", 0.0), KEPT, True),  # measured since
        (Tube(7, "2026-03-02", 0.0), KEPT, False),  # a run of the old tube is among them
        (Tube(9, "2026-03-01", 0.0), KEPT, False),  # the lines of the ledger tell more than any clock
        (Tube(9, "2026-03-02", 0.0), replace(KEPT, runs=()), True),  # written by hand, the same day
        (Tube(9, "2026-03-03", 0.0), replace(KEPT, runs=()), False),
        (Tube(9, "2026-03-03", 0.0), None, False),  # a guess without a day
    ],
)
def test_the_rate_of_another_tube_is_not_dosed_by(tube: Tube, kept: PumpRate | None, usable: bool) -> None:
    """Until it is measured with the tube that is in."""
    found = in_force(GUESS, kept, tube, TODAY)
    assert found.usable is usable
    assert usable or found.standing is RateStanding.OTHER_TUBE


def test_no_day_is_no_age() -> None:
    """None, not zero."""
    found: Any = in_force(GUESS, None, None, TODAY)
    assert (found.age_days, found.day) == (None, "")
