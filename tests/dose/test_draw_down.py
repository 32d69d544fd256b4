"""Whether a still reservoir falls as it should."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from config.settings import USUAL_DRUNK_SHARE_PER_H
from daemon.crop.growth import Hour, Lamp, g_per_head, over_and_over
from daemon.crop.still import draw_down, drunk, volume_l
from daemon.dose.draw_down import (
    DRINKING_H,
    HARDLY_S,
    LEAST_SHARE,
    RISEN_SHARE,
    follow,
    stands,
    too_fast,
)
from daemon.dose.level import LEAK_TIMES, Levels
from daemon.dose.windows import DAY_S, HOUR_S

MOST_A_DAY = LEAK_TIMES * DRINKING_H * USUAL_DRUNK_SHARE_PER_H
LAMP = Lamp(200.0, 6.0, 16.0)
CURVE = g_per_head(over_and_over([Hour(20.0, LAMP.light_umol(hour)) for hour in range(24)], 23 * 24), 25.0)


def watched(share_after_days: dict[float, float], step_s: float = HOUR_S) -> Levels:
    """A look every hour at a level that goes in straight lines from point to point."""
    days = sorted(share_after_days)
    levels: Levels = ()
    for number in range(round((days[-1] - days[0]) * DAY_S / step_s) + 1):
        at = days[0] + number * step_s / DAY_S
        before = max(day for day in days if day <= at + 1e-9)
        after = min(day for day in days if day >= at - 1e-9)
        part = 0.0 if after == before else (at - before) / (after - before)
        share = share_after_days[before] + part * (share_after_days[after] - share_after_days[before])
        levels = follow(levels, at * DAY_S, share)
    return levels


@pytest.mark.parametrize("which", ["low", "likely", "high"])
@pytest.mark.parametrize("size", ["likely", "high"])
def test_a_crop_in_a_reservoir_of_its_size_calls_nobody(which: str, size: str) -> None:
    """From setting out to harvest, the least and the most thirsty, in a box just enough or ample for all."""
    thirst = drunk(6, CURVE[-1])
    full_l = getattr(volume_l(thirst), size)
    taken = [getattr(day.drunk, which) / full_l for day in draw_down(CURVE, thirst, full_l)]
    levels: Levels = ()
    for day in range(len(taken) - 1):
        for hour in range(24):
            share = 1.0 - taken[day] - (taken[day + 1] - taken[day]) * hour / 24.0
            levels = follow(levels, day * DAY_S + hour * HOUR_S, max(0.0, share))
            assert too_fast(levels, USUAL_DRUNK_SHARE_PER_H) is None, (day, hour)
            assert stands(levels) is None, (day, hour)


def test_a_slow_leak_is_told_within_a_day() -> None:
    """Just under the limit nothing; just over it what it lost, in which time, beside what plants take."""
    assert too_fast(watched({0.0: 1.0, 1.5: 1.0 - 1.5 * (MOST_A_DAY - 0.003)}), USUAL_DRUNK_SHARE_PER_H) is None
    fall = too_fast(watched({0.0: 1.0, 1.5: 1.0 - 1.5 * (MOST_A_DAY + 0.003)}), USUAL_DRUNK_SHARE_PER_H)
    assert fall is not None
    assert (fall.share, fall.over_s) == pytest.approx((MOST_A_DAY + 0.003, DAY_S))
    assert fall.most_share == pytest.approx(MOST_A_DAY / LEAK_TIMES)


def test_what_was_lost_is_held_against_the_time_it_took() -> None:
    """Looks 20 hours apart, so that the last day is 40 hours long: two thirds more may be drunk in it."""
    levels: Levels = ()
    for number in range(3):
        levels = follow(levels, number * 20.0 * HOUR_S, 1.0 - number * 20.0 / 24.0 * MOST_A_DAY * 0.95)
    assert too_fast(levels, USUAL_DRUNK_SHARE_PER_H) is None
    fall = too_fast((*levels[:2], (levels[2][0], levels[2][1] - 0.02)), USUAL_DRUNK_SHARE_PER_H)
    assert fall is not None
    assert fall.over_s == 40.0 * HOUR_S


def test_a_level_that_stands_for_a_week_is_told() -> None:
    """Not before the week is over; not where it fell by the least that seedlings drink."""
    week = HARDLY_S / DAY_S
    assert stands(watched({0.0: 1.0, week - 0.5: 1.0})) is None
    told = stands(watched({0.0: 0.9, week + 0.5: 0.9}))
    assert told is not None
    assert (told.share, told.over_s, told.least_share) == (0.0, HARDLY_S, LEAST_SHARE)
    assert stands(watched({0.0: 0.9, week + 0.5: 0.9 - 1.2 * LEAST_SHARE})) is None
    assert stands(watched({0.0: 0.9, week + 0.5: 0.9 + 0.9 * RISEN_SHARE})) is not None


def test_water_that_is_poured_in_begins_it_anew() -> None:
    """A fall before it says nothing about what comes after."""
    leaking = watched({0.0: 1.0, 1.5: 0.6})
    assert too_fast(leaking, USUAL_DRUNK_SHARE_PER_H) is not None
    poured = follow(leaking, 1.6 * DAY_S, 0.6 + 2.0 * RISEN_SHARE)
    assert len(poured) == 1
    assert too_fast(poured, USUAL_DRUNK_SHARE_PER_H) is None


def test_a_level_that_is_not_known_changes_nothing() -> None:
    """A sender that fails for an hour does not make a week begin anew."""
    seen = watched({0.0: 1.0, 2.0: 0.98})
    assert follow(seen, 2.1 * DAY_S, None) == seen
    assert stands(()) is None
    assert too_fast((), USUAL_DRUNK_SHARE_PER_H) is None


@given(st.lists(st.tuples(st.floats(60.0, 2e5), st.none() | st.floats(0.0, 1.2)), max_size=80))
def test_it_remembers_little_for_ever(looks: list[tuple[float, float | None]]) -> None:
    """Whatever is seen: points in order, no more than a week of them and one."""
    levels: Levels = ()
    at_s = 0.0
    for passed_s, share in looks:
        at_s += passed_s
        levels = follow(levels, at_s, share)
    times = [at for at, _ in levels]
    assert times == sorted(times)
    assert len(levels) <= HARDLY_S / (6.0 * HOUR_S) + 3
