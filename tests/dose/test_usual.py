"""How far water takes back by itself what was done to it, and how far is believed."""

from __future__ import annotations

from math import isclose, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.dose.usual import (
    AGREED_PH,
    KNOWN_H,
    LEAST_PH,
    MARGIN_PH,
    MOST_DAYS,
    MOST_PH,
    NEVER,
    NEW_H,
    NEW_PH,
    SHORT_H,
    SHORT_NEW_PH,
    SHORT_PH,
    USUAL_TIMES,
    WATER_PH,
    YOUNG_H,
    YOUNG_PH,
    Cleared,
    Given,
    Usual,
    margin_ph,
    usual_of,
)
from daemon.dose.windows import DAY_S, HOUR_S
from daemon.values import Role

DOWN, UP = Role.PH_DOWN, Role.PH_UP
EACH_PH = 0.05  # that a dose moves pH


def doses(*rises_ph: float, every_h: float = 6.0, from_s: float = 0.0, pump: Role = DOWN) -> list[Given]:
    """Doses of one pump, each on what pH did by itself since the one before: up for acid, down for base."""
    way, ph, found = (1.0, 5.8, []) if pump is DOWN else (-1.0, 6.2, [])
    for number, rise_ph in enumerate(rises_ph):
        ph += way * rise_ph
        found.append(Given(from_s + number * every_h * HOUR_S, pump, ph, -way * EACH_PH))
        ph -= way * EACH_PH
    return found


def now(history: list[Given], pump: Role = DOWN, more_ph: float = 0.0, cleared: Cleared = NEVER) -> Usual:
    """What is found nearly six hours after the last dose, when pH has moved so far by itself since."""
    assert history[-1].ph is not None
    ph = history[-1].ph + history[-1].shift_ph + (more_ph if pump is DOWN else -more_ph)
    return usual_of(history, pump, ph, history[-1].end_s + 5.9 * HOUR_S, cleared)


@pytest.mark.parametrize("pump", [DOWN, UP])
def test_what_came_back_is_what_the_doses_did_not_do(pump: Role) -> None:
    """Four doses of the last 24 h, on 0.05 each and then 0.2: acid is undone upwards, base downwards."""
    found = now(doses(*[EACH_PH] * 12, pump=pump), pump, more_ph=0.2)
    assert found.back_ph == pytest.approx(3 * EACH_PH + 0.2)
    other = UP if pump is DOWN else DOWN
    assert now(doses(*[EACH_PH] * 12, pump=pump), other).back_ph < 0.0


@given(
    rises_ph=st.lists(st.floats(-0.5, 0.5), min_size=1, max_size=30),
    pushes_ph=st.lists(st.floats(0.001, 0.5), min_size=30, max_size=30),
    ups=st.lists(st.booleans(), min_size=30, max_size=30),
    last_ph=st.floats(-0.5, 0.5),
)
def test_whatever_is_dosed_only_what_pH_did_of_its_own_counts(  # noqa: N802 - pH is written so
    rises_ph: list[float], pushes_ph: list[float], ups: list[bool], last_ph: float
) -> None:
    """Acid and base in any order and size, within a day: the sum of what happened between the doses."""
    ph, history = 6.0, []
    for place, rise_ph in enumerate(rises_ph):
        ph += rise_ph if place else 0.0
        shift_ph = pushes_ph[place] if ups[place] else -pushes_ph[place]
        history.append(Given(float(place), UP if ups[place] else DOWN, ph, shift_ph))
        ph += shift_ph
    ph += last_ph
    own_ph = sum(rises_ph[1:]) + last_ph
    for pump, way in ((DOWN, 1.0), (UP, -1.0)):
        assert isclose(usual_of(history, pump, ph, DAY_S / 2.0).back_ph, way * own_ph, abs_tol=1e-9)


def test_the_way_down_to_the_target_is_nothing_that_came_back() -> None:
    """Fresh water at pH 7.5, dosed to 5.8 without a rest."""
    history = [Given(600.0 * place, DOWN, 7.5 - 0.1 * place, -0.1) for place in range(17)]
    assert usual_of(history, DOWN, 5.8, 3 * HOUR_S).back_ph == pytest.approx(0.0)


@pytest.mark.parametrize(
    ("hours", "most_ph"),
    [
        (1.0, NEW_PH),
        (NEW_H - 0.1, NEW_PH),
        (NEW_H, YOUNG_PH),
        (YOUNG_H - 0.1, YOUNG_PH),
        (YOUNG_H, MOST_PH),
        (KNOWN_H - 0.1, MOST_PH),
    ],
)
def test_new_water_is_believed_more(hours: float, most_ph: float) -> None:
    """Hard water loses its CO2 on the first day; from the fourth on its own days tell."""
    history = [dose for dose in doses(*[0.05] * 12, every_h=7.0) if dose.end_s <= hours * HOUR_S]
    found = usual_of(history, DOWN, 5.8, hours * HOUR_S)
    assert (found.most_ph, found.usual_ph) == (most_ph, None)
    known = usual_of(history, DOWN, 5.8, KNOWN_H * HOUR_S)
    assert known.usual_ph is not None


@pytest.mark.parametrize(("hours", "most_ph"), [(11.9, SHORT_NEW_PH), (12.1, SHORT_PH), (77.9, SHORT_PH)])
@pytest.mark.parametrize("pump", [DOWN, UP])
def test_a_drift_that_is_fast_is_found_within_hours(pump: Role, hours: float, most_ph: float) -> None:
    """Even in new water, in which a day may bring more."""
    first = Given(0.0, pump, 6.0, 0.0)
    for over_ph in (-0.01, 0.01):
        each_ph = (most_ph + over_ph) / 5.0
        fast = doses(*[each_ph] * 6, every_h=0.5, from_s=(hours - 2.6) * HOUR_S, pump=pump)
        assert fast[-1].ph is not None
        found = usual_of([first, *fast[:-1]], pump, fast[-1].ph, hours * HOUR_S)
        assert (found.hours == SHORT_H) is (over_ph > 0.0)
        if over_ph > 0.0:
            assert found.most_ph == most_ph
            assert found.back_ph == pytest.approx(5.0 * each_ph)


@given(
    gaps_h=st.lists(st.floats(0.2, 30.0), min_size=20, max_size=40),
    rises_ph=st.lists(st.floats(-0.3, 0.5), min_size=40, max_size=40),
    poured=st.sets(st.integers(0, 39), max_size=3),
    pump=st.sampled_from([DOWN, UP]),
)
def test_the_most_that_came_back_before_is_usual(
    gaps_h: list[float], rises_ph: list[float], poured: set[int], pump: Role
) -> None:
    """What was found at any dose of the week that ended a day ago, the first 30 h left out."""
    now_s, ph, history = 0.0, 6.0, []
    for place, gap_h in enumerate(gaps_h):
        now_s += gap_h * HOUR_S
        ph += rises_ph[place]
        known = place not in poured
        history.append(Given(now_s, DOWN, ph if known else None, -EACH_PH if known else 0.0, by_hand=not known))
        ph -= EACH_PH
    found = usual_of(history, pump, ph, now_s)
    way, earlier_ph = (1.0 if pump is DOWN else -1.0), [0.0]
    for place, dose in enumerate(history):
        is_told = max(history[0].end_s + NEW_H * HOUR_S, now_s - (MOST_DAYS + 1) * DAY_S) <= dose.end_s
        day = [other for other in history[:place] if other.end_s > dose.end_s - DAY_S]
        while any(other.ph is None for other in day):
            day = day[1:]
        if dose.ph is not None and is_told and dose.end_s <= now_s - DAY_S and day:
            begun_ph = day[0].ph or 0.0
            earlier_ph.append(way * (dose.ph - begun_ph - sum(other.shift_ph for other in day)))
    if found.hours == SHORT_H:  # odder than the day
        return
    assert (found.usual_ph is None) is (now_s - history[0].end_s < KNOWN_H * HOUR_S)
    if found.usual_ph is None:
        return
    assert found.usual_ph == pytest.approx(max(earlier_ph), abs=1e-9)
    assert found.most_ph == pytest.approx(min(MOST_PH, USUAL_TIMES * max(LEAST_PH, found.usual_ph) + MARGIN_PH))


def test_a_day_with_a_top_up_is_usual_for_a_week() -> None:
    """Then it is forgotten."""
    calm, topped_up = [0.05] * 4, [0.05, 0.3, 0.05, 0.05]
    history = doses(*calm * 3, *topped_up, *calm * 10)
    for days, usual_ph in ((6.0, 0.45), (11.0, 0.45), (13.0, 0.2)):
        past = [dose for dose in history if dose.end_s < days * DAY_S]
        found = usual_of(past, DOWN, 5.8, days * DAY_S)
        assert found.usual_ph == pytest.approx(usual_ph, abs=0.051)


def test_where_nothing_was_dosed_a_little_is_believed() -> None:
    """Days on end."""
    history = [*doses(0.05), Given(5 * DAY_S, DOWN, 6.1, -EACH_PH)]
    found = usual_of(history, DOWN, 6.1, 5.1 * DAY_S)
    assert (found.usual_ph, found.most_ph) == (0.0, USUAL_TIMES * LEAST_PH + MARGIN_PH)
    assert found.back_ph == pytest.approx(EACH_PH)


def test_nothing_becomes_usual_that_water_does_not_do() -> None:
    """So that a drift that was not found on its first day is no measure for the second."""
    found = now(doses(*[0.05] * 16, *[0.45] * 8))
    assert found.usual_ph is not None
    assert found.usual_ph > MOST_PH
    assert found.most_ph == MOST_PH


def test_after_a_lock_that_was_cleared_the_count_begins_anew() -> None:
    """A word alone changes nothing of what is usual."""
    history = doses(*[0.05] * 16, 0.4)
    locked_s = history[-1].end_s + 60.0
    before = usual_of(history, DOWN, 6.2, locked_s)
    after = usual_of(history, DOWN, 6.2, locked_s + HOUR_S, Cleared(locked_s))
    assert before.back_ph > before.most_ph
    assert (after.back_ph, after.most_ph) == (0.0, before.most_ph)


@pytest.mark.parametrize("days", [0, 4])
def test_a_probe_that_was_found_right_makes_its_day_usual_for_a_week(days: int) -> None:
    """However much came back: a person measured that it was the water. In new water too."""
    history = doses(*[0.05] * 4 * days, *[0.7] * 4)
    locked_s = history[-1].end_s + 60.0
    for later_days, granted in ((0.1, True), (6.9, True), (7.1, False)):
        now_s = locked_s + later_days * DAY_S
        most_ph = usual_of(history, DOWN, 6.0, now_s, Cleared(locked_s, agreed=True)).most_ph
        word_ph = usual_of(history, DOWN, 6.0, now_s, Cleared(locked_s)).most_ph
        granted_ph = USUAL_TIMES * 3 * 0.7 + MARGIN_PH
        assert most_ph == pytest.approx(max(word_ph, granted_ph) if granted else word_ph)


def test_what_was_before_a_calibration_does_not_count() -> None:
    """The reading made a step by it that no water made."""
    history = doses(*[0.05] * 16, 0.4)
    assert usual_of(history, DOWN, 6.0, history[-1].end_s + 60.0, since_s=history[-1].end_s + 1.0).back_ph == 0.0


@pytest.mark.parametrize("place", [-1, -2, -3])
def test_what_was_before_a_dose_by_hand_does_not_count(place: int) -> None:
    """Nobody knows what it did; nor of a line that does not say what it rested on."""
    history = doses(*[0.05] * 12, 0.2, 0.2, 0.2)
    for by_hand in (True, False):
        poured = history[place]._replace(ph=None, shift_ph=0.0, by_hand=by_hand)
        changed = [poured if dose is history[place] else dose for dose in history]
        known = 0.2 * (-place - 2)  # from the first dose after it to the last
        assert usual_of(changed, DOWN, history[-1].ph or 0.0, history[-1].end_s + 1.0).back_ph == pytest.approx(
            max(0.0, known) + (EACH_PH if place < -1 else 0.0)
        )


def test_nothing_dosed_yet_is_new_water() -> None:
    """Nothing came back, and the first dose may come."""
    assert usual_of([], DOWN, 7.5, 9 * DAY_S) == Usual(0.0, NEW_PH, None)


def test_what_is_no_number_is_never_believed() -> None:
    """It fails closed."""
    found = usual_of(doses(*[0.05] * 16), DOWN, nan, 4 * DAY_S)
    assert not found.back_ph <= found.most_ph


def test_two_that_agree_have_a_wider_margin_and_not_any() -> None:
    """One that drifts would show in the other; both may still drift alike. Water adds nothing to it."""
    assert margin_ph(after_water=False, two_agree=False) == 0.0
    assert margin_ph(after_water=True, two_agree=False) == WATER_PH
    for after_water in (True, False):
        assert margin_ph(after_water=after_water, two_agree=True) == AGREED_PH > WATER_PH
