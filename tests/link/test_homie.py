"""What the device declares and says, held to the convention."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.link import homie
from daemon.values import CapUse, Condition, Priority, Quantity, Role, State
from tests.link.homie_rules import ID, faults, fits, properties
from tests.link.states import alarm, good, reservoir, state, with_ph, with_unknown_ph

finite = st.floats(allow_nan=False, allow_infinity=False)


def declared(of: State) -> dict[str, Any]:
    """The description of a state with what is known in it."""
    return homie.description("Garden", of, homie.values(of), version=1)


def test_the_description_is_legal() -> None:
    """A strict reader finds nothing to drop, with two reservoirs as with one."""
    assert faults(declared(state(1, reservoir("bed1"), reservoir("bed-2")))) == []
    assert faults(declared(with_unknown_ph(1))) == []


def test_each_declared_property_has_a_legal_value_and_nothing_else_is_published() -> None:
    """The convention asks for a value of every declared retained property at `ready`."""
    of = state(1, reservoir("bed1"), reservoir("bed-2", last_doses=(), last_decision=None, waiting_for=""))
    texts, allowed = homie.values(of), properties(declared(of))
    kept = {path for path, each in allowed.items() if each.get("retained", True)}
    assert texts.keys() == kept
    assert [path for path, text in texts.items() if not fits(allowed[path], text.encode())] == []


def test_hold_and_the_gate_are_the_only_settable_things() -> None:
    """Set points and caps are changed in the settings, at the box."""
    settable = [path for path, of in properties(declared(state())).items() if of.get("settable")]
    assert settable == ["bed1-dosing/hold", "box/request"]


def test_readings_have_their_unit_and_sensible_digits() -> None:
    """pH has no unit; a phone needs no fourth decimal."""
    of = state()
    texts, allowed = homie.values(of), properties(declared(of))
    assert (texts["bed1-probe/ph"], allowed["bed1-probe/ph"].get("unit")) == ("6.02", None)
    assert (texts["bed1-probe/ec"], allowed["bed1-probe/ec"]["unit"]) == ("1.20", "mS/cm")
    assert texts["bed1-probe/temperature"] == "20.0"
    assert allowed["bed1-probe/temperature"]["unit"].encode() == b"\xc2\xb0C"  # the code point Homie lists
    assert texts["bed1-probe/level"] == "enough"


def test_an_unknown_value_is_not_made_up() -> None:
    """Only its verdict and the reason are there."""
    texts = homie.values(with_unknown_ph(1))
    assert "bed1-probe/ph" not in texts
    assert texts["bed1-probe/ph-verdict"] == "bad"
    assert "no chip at 0x48" in texts["bed1-probe/ph-reason"]


@pytest.mark.parametrize("ph", [float("nan"), float("inf"), -0.01, 14.01])
def test_a_reading_outside_the_declared_range_is_not_published(ph: float) -> None:
    """One illegal value would hide the property from a strict reader."""
    assert "bed1-probe/ph" not in homie.values(with_ph(1, ph))


@pytest.mark.parametrize(("ph", "text"), [(0.0, "0.00"), (-0.0, "0.00"), (14.0, "14.00")])
def test_a_reading_at_the_end_of_the_range_is_published(ph: float, text: str) -> None:
    """The ends belong to the range."""
    assert homie.values(with_ph(1, ph))["bed1-probe/ph"] == text


def test_the_verdict_goes_before_the_value_and_the_moment_after_all() -> None:
    """Whoever reads along never takes a doubtful value for a good one."""
    order = list(homie.values(state()))
    assert order.index("bed1-probe/ph-verdict") < order.index("bed1-probe/ph")
    assert order[-1] == "box/sampled-at"


@given(finite, st.integers(0, 3))
def test_amounts_are_legal_floats_of_homie(amount: float, decimals: int) -> None:
    """No exponent that a reader may not know, no plus, no blank."""
    text = homie.amount_text(amount, decimals)
    assert text is not None
    assert fits({"datatype": "float"}, text.encode())
    assert not text.startswith("-0.0") or float(text) != 0.0


@given(finite)
def test_amounts_are_rounded_not_changed(amount: float) -> None:
    """The text is within half a step of the amount."""
    text = homie.amount_text(amount, 2)
    assert text is not None
    assert float(text) == pytest.approx(amount, abs=0.00501, rel=1e-12)


def test_a_cap_that_is_not_finite_is_unknown() -> None:
    """It is left out, never sent as nan."""
    bed = reservoir(caps={Role.PH_DOWN: CapUse(float("nan"), 60.0, 3.5, 150.0, 996.5)})
    texts = homie.values(state(1, bed))
    assert "bed1-dosing/ph-down-last-hour" not in texts
    assert texts["bed1-dosing/ph-down-bottle-left"] == "996.5"


def test_an_empty_text_is_the_byte_zero() -> None:
    """A zero-length payload would delete the topic."""
    assert homie.values(state())["bed1-dosing/condition-reason"] == "\0"


def test_the_next_task_in_the_garden_is_told() -> None:
    """The one byte 0 where nothing is to do."""
    assert homie.values(state())["box/next-task"] == "\0"
    assert homie.values(replace(state(), next_task="today: sow"))["box/next-task"] == "today: sow"


def test_a_long_text_is_cut() -> None:
    """A chatty driver cannot make a message too large for the broker."""
    text = homie.values(state(1, reservoir(waiting_for="x" * 5000)))["bed1-dosing/waiting-for"]
    assert len(text) == homie.LONGEST_TEXT


@pytest.mark.parametrize("condition", list(Condition))
def test_hold_is_true_only_when_held(condition: Condition) -> None:
    """The value itself is the answer to a request to hold."""
    texts = homie.values(state(1, reservoir(condition=condition)))
    assert texts["bed1-dosing/hold"] == ("true" if condition is Condition.HELD else "false")


def test_the_last_dose_is_the_one_with_the_highest_number() -> None:
    """In whatever order the ledger gave them."""
    dose = json.loads(homie.values(state())["bed1-dosing/last-dose"])
    assert (dose["number"], dose["ml"], dose["pump"], dose["outcome"]) == (7, 2.5, "ph_down", "done")
    assert json.loads(homie.values(state(1, reservoir(last_doses=())))["bed1-dosing/last-dose"]) == {}


def test_the_shape_does_not_follow_the_values() -> None:
    """The description may not change while `ready`."""
    known = homie.values(state())
    later = homie.description("Garden", with_unknown_ph(2), known, version=1)
    assert later == homie.description("Garden", with_ph(3, 7.0), known, version=1) == declared(state())


def test_alerts_carry_their_priority_and_are_legal_topics() -> None:
    """A phone can sort by the beginning of the ID."""
    of = state(1, alarms=(alarm("bed1 pH_probe"), alarm("box-disk", Priority.LOW, "")))
    assert homie.alerts(of) == {"$alert/hi-bed1-ph-probe": "pH probe gone", "$alert/lo-box-disk": "probe"}
    assert all(ID.fullmatch(path.removeprefix("$alert/")) for path in homie.alerts(of))


def test_a_level_that_is_not_a_number_is_unknown() -> None:
    """A float switch that cannot be read is neither low nor enough."""
    bed = reservoir()
    verdicts = {**bed.verdicts, Quantity.LEVEL: good(Quantity.LEVEL, float("nan"))}
    assert "bed1-probe/level" not in homie.values(state(1, replace(bed, verdicts=verdicts)))


def in_the_air(deficit_kpa: float | None) -> State:
    """One reservoir with an air sensor."""
    bed = reservoir(deficit_kpa=deficit_kpa)
    air = {
        Quantity.AIR_TEMPERATURE: good(Quantity.AIR_TEMPERATURE, 22.04),
        Quantity.HUMIDITY: good(Quantity.HUMIDITY, 65.2),
    }
    return state(1, replace(bed, verdicts={**bed.verdicts, **air}))


def test_the_air_is_declared_with_legal_names_and_its_deficit() -> None:
    """No underscore in a topic; unknown, the deficit is not published."""
    of = in_the_air(0.9254)
    texts, allowed = homie.values(of), properties(declared(of))
    assert faults(declared(of)) == []
    assert (texts["bed1-probe/air-temperature"], texts["bed1-probe/humidity"]) == ("22.0", "65")
    assert (
        texts["bed1-probe/vapour-pressure-deficit"],
        allowed["bed1-probe/vapour-pressure-deficit"]["unit"],
    ) == (
        "0.93",
        "kPa",
    )
    assert "bed1-probe/vapour-pressure-deficit" not in homie.values(in_the_air(None))
    assert "bed1-probe/vapour-pressure-deficit" not in homie.values(state())


def test_the_light_of_a_day_is_published_once_it_is_known() -> None:
    """With the light now."""
    light = {Quantity.LIGHT: good(Quantity.LIGHT, 310.4)}
    bed = reservoir(daily_light_mol=11.52)
    of = state(1, replace(bed, verdicts={**bed.verdicts, **light}))
    assert faults(declared(of)) == []
    assert (homie.values(of)["bed1-probe/light"], homie.values(of)["bed1-probe/daily-light"]) == ("310", "11.5")
    assert "bed1-probe/daily-light" not in homie.values(state())
