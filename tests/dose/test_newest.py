"""Readings that belong together."""

from __future__ import annotations

from dataclasses import replace
from math import inf, nan

import pytest

from daemon.dose.newest import BREAK_S, READINGS, Newest, gather, middle
from daemon.values import Quality, VerdictReason
from tests.strategies import verdict


def gathered(*points: tuple[float, float], shows_s: float = -inf) -> Newest:
    """What is kept after these looks (time, value)."""
    newest: Newest = ()
    for at_s, value in points:
        newest = gather(newest, verdict(value, at_s), shows_s)
    return newest


def test_the_middle_of_five_and_of_no_fewer() -> None:
    """One outlier moves it by nothing."""
    looks = [(10.0 * i, value) for i, value in enumerate((1.2, 1.21, 9.0, 1.19, 1.2))]
    assert middle(gathered(*looks[:4])) is None
    assert middle(gathered(*looks)) == 1.2
    assert len(gathered(*looks, (50.0, 1.0))) == READINGS


def test_the_newest_must_be_from_when_the_last_dose_has_mixed() -> None:
    """The first of them may be older."""
    looks = gathered(*[(10.0 * i, 1.2) for i in range(READINGS)], shows_s=0.0)
    assert middle(looks, 40.0) == 1.2
    assert middle(looks, 40.1) is None


def test_one_look_counts_once() -> None:
    """However often it is seen."""
    assert len(gathered(*[(10.0, 1.2)] * 5)) == 1


@pytest.mark.parametrize("later_s", [BREAK_S + 10.1, 5.0])
def test_after_a_break_or_a_step_back_it_begins_anew(later_s: float) -> None:
    """What was seen long ago says nothing of now."""
    assert gathered((10.0, 1.2), (later_s, 1.3)) == ((later_s, 1.3),)


def test_nothing_before_the_last_dose_shows() -> None:
    """Neither looks from before it, nor those while it mixes."""
    before = gathered((10.0, 1.2), (20.0, 1.2))
    assert gather(before, verdict(1.3, 30.0), 25.0) == ((30.0, 1.3),)
    assert gather(before, verdict(1.3, 24.0), 25.0) == ()


@pytest.mark.parametrize("value", [nan, inf])
def test_what_is_no_number_is_not_kept(value: float) -> None:
    """Nor what led to it."""
    assert gathered((10.0, 1.2), (20.0, value)) == ()


def test_what_cannot_be_used_ends_the_row() -> None:
    """A bad look among good ones."""
    seen = gathered((10.0, 1.2))
    assert gather(seen, verdict(1.2, 20.0, Quality.BAD), -inf) == ()
    assert gather(seen, replace(verdict(1.2, 20.0), reading=None), -inf) == ()


def test_an_unusual_reading_may_be_watched_by_but_not_dosed_by() -> None:
    """It goes into the looks that pumps are watched by, and empties those that a dose would rest on."""
    look = replace(verdict(1.2, 10.0, Quality.UNCERTAIN), reason=VerdictReason.UNUSUAL)
    assert gather((), look, -inf, watching=True) == ((10.0, 1.2),)
    assert gather(((0.0, 1.2),), look, -inf) == ()
