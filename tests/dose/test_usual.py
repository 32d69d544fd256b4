"""What a tank usually takes in a day, and what is left of it."""

from __future__ import annotations

from dataclasses import replace
from math import nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.dose.usual import (
    AGREED_PH,
    CLEARED_PH,
    MARGIN_PH,
    NEED_TIMES,
    USUAL_TIMES,
    WATER_PH,
    Cleared,
    Given,
    Usual,
    room_ml,
    usual_of,
)
from daemon.dose.windows import DAY_S
from tests.strategies import any_float


def room_of(usual: Usual, ml_per_ph: float, *, after_water: bool) -> float:
    """What is left where one probe tells the pH."""
    return room_ml(usual, ml_per_ph, after_water=after_water, two_agree=False)


def days(*each_ml: float) -> list[Given]:
    """Four equal doses on each of these days, the first of them at the start of time."""
    return [
        Given((day + quarter / 4.0) * DAY_S, ml / 4.0) for day, ml in enumerate(each_ml) for quarter in range(4)
    ]


def test_the_most_of_a_day_is_usual_and_the_first_is_left_out() -> None:
    """Fresh water takes much; a day with a top-up is one of the usual ones."""
    usual = usual_of(days(90.0, 8.0, 8.0, 40.0, 8.0, 6.0), 5.75 * DAY_S)
    assert usual is not None
    assert (usual.usual_ml, usual.days) == (40.0, 3)
    assert usual.day_ml == 6.0


@pytest.mark.parametrize("now_days", [0.0, 1.0, 2.9])
def test_nothing_is_known_before_the_third_day(now_days: float) -> None:
    """One to settle, one full one, and the last 24 hours."""
    history = days(8.0, 8.0, 8.0)
    assert usual_of(history, now_days * DAY_S) is None
    assert usual_of(history, 3.0 * DAY_S) is not None
    assert usual_of([], 9.0 * DAY_S) is None


def test_a_stop_that_was_cleared_begins_the_count_anew_with_more_room() -> None:
    """For a day from the first dose after it began, however long it stood; what is usual stays."""
    history = [*days(8.0, 8.0, 8.0, 8.0), Given(3.9 * DAY_S, 30.0), Given(9.0 * DAY_S, 5.0, 50.0)]
    stopped = Cleared(4.2 * DAY_S)
    before = usual_of(history[:-1], 4.1 * DAY_S)
    within, after = usual_of(history, 9.9 * DAY_S, stopped), usual_of(history, 10.1 * DAY_S, stopped)
    assert before is not None
    assert within is not None
    assert after is not None
    assert (before.day_ml, before.cleared) == (36.0, False)
    assert (within.day_ml, within.cleared, within.need_ml) == (5.0, True, 0.0)
    assert not after.cleared
    narrow_ml = room_of(replace(within, cleared=False), 60.0, after_water=False)
    assert room_of(within, 60.0, after_water=False) - narrow_ml == pytest.approx(CLEARED_PH * 60.0)


def test_a_probe_that_was_found_right_grants_the_day_before_and_the_way_that_was_left() -> None:
    """The person measured that it reads right, so it was the water that wanted all that, and wants the rest."""
    history = [*days(8.0, 8.0, 8.0, 8.0), Given(4.1 * DAY_S, 30.0), Given(4.4 * DAY_S, 5.0, 50.0)]
    stopped_s, now_s = 4.2 * DAY_S, 4.5 * DAY_S
    word = usual_of(history, now_s, Cleared(stopped_s))
    measured = usual_of(history, now_s, Cleared(stopped_s, agreed=True))
    assert word is not None
    assert measured is not None
    assert (word.usual_ml, word.need_ml) == (8.0, 0.0)
    assert (measured.usual_ml, measured.need_ml) == (36.0, 50.0)
    more_ml = room_of(measured, 60.0, after_water=False) - room_of(word, 60.0, after_water=False)
    assert more_ml == pytest.approx(USUAL_TIMES * (36.0 - 8.0) + NEED_TIMES * 50.0)


def test_what_was_measured_holds_for_a_day_and_its_day_for_a_week() -> None:
    """Then the water has shown anew what it wants, or the probe may have drifted since."""
    history = [*days(8.0, 8.0, 8.0, 8.0), Given(4.1 * DAY_S, 30.0), Given(4.4 * DAY_S, 5.0, 50.0)]
    cleared = Cleared(4.2 * DAY_S, agreed=True)
    later, last = usual_of(history, 5.5 * DAY_S, cleared), usual_of(history, 12.3 * DAY_S, cleared)
    assert later is not None
    assert last is not None
    assert (later.usual_ml, later.need_ml) == (37.0, 0.0)
    assert (last.usual_ml, last.need_ml) == (5.0, 0.0)


def test_the_way_is_granted_only_where_dosing_goes_on_within_a_day() -> None:
    """A probe that was right two days ago may drift by now."""
    history = [*days(8.0, 8.0, 8.0, 8.0), Given(4.1 * DAY_S, 30.0), Given(5.3 * DAY_S, 5.0, 50.0)]
    late = usual_of(history, 5.4 * DAY_S, Cleared(4.2 * DAY_S, agreed=True))
    assert late is not None
    assert (late.cleared, late.need_ml) == (True, 0.0)


def test_the_room_is_the_usual_day_and_a_margin() -> None:
    """More for a day after water came in, since that wants its share."""
    usual = Usual(usual_ml=8.0, days=3, day_ml=6.0)
    assert room_of(usual, 60.0, after_water=False) == pytest.approx(USUAL_TIMES * 8.0 + MARGIN_PH * 60.0 - 6.0)
    more_ml = room_of(usual, 60.0, after_water=True) - room_of(usual, 60.0, after_water=False)
    assert more_ml == pytest.approx(WATER_PH * 60.0)


@given(
    usual_ml=any_float,
    day_ml=any_float,
    ml_per_ph=any_float,
    after_water=st.booleans(),
    two_agree=st.booleans(),
)
def test_the_room_is_never_below_nothing(
    usual_ml: float,
    day_ml: float,
    ml_per_ph: float,
    after_water: bool,
    two_agree: bool,
) -> None:
    """Nor is it no number."""
    usual = Usual(usual_ml, 1, day_ml)
    assert room_ml(usual, ml_per_ph, after_water=after_water, two_agree=two_agree) >= 0.0


def test_two_that_agree_have_more_room_and_not_any_amount() -> None:
    """One that drifts would show in the other; both may still drift alike. Water adds nothing to it."""
    usual = Usual(usual_ml=8.0, days=3, day_ml=6.0)
    for after_water, more_ph in ((False, AGREED_PH), (True, AGREED_PH - WATER_PH)):
        alone_ml = room_of(usual, 60.0, after_water=after_water)
        both_ml = room_ml(usual, 60.0, after_water=after_water, two_agree=True)
        assert both_ml - alone_ml == pytest.approx(more_ph * 60.0)
    much = replace(usual, day_ml=8.0 * USUAL_TIMES + (MARGIN_PH + AGREED_PH) * 60.0)
    assert room_ml(much, 60.0, after_water=False, two_agree=True) == 0.0


def test_what_is_no_number_leaves_no_room() -> None:
    """It fails closed."""
    assert room_of(Usual(8.0, 3, nan), 60.0, after_water=True) == 0.0
