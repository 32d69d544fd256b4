"""What a water usually does is learned from it alone, and what it never did is found."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise
from math import inf, pi, sin
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.measure.normal import (
    DAY_S,
    HALF_LIFE_S,
    HOLD_S,
    LEARNT_S,
    LEAST_STILL_S,
    OTHER_WATER_S,
    PACE_S,
    TIMES,
    Bounds,
    Normal,
    Oddity,
    Unusual,
    afresh,
    is_other_water,
    weigh,
)

BOUNDS = Bounds(least_move=0.1, longest_still_s=DAY_S)
LOOKS_A_DAY = round(DAY_S / PACE_S)
WEEKS = 28 * LOOKS_A_DAY


class Water:
    """One quantity of one water, looked at every quarter of an hour unless another pace is given."""

    def __init__(self, bounds: Bounds = BOUNDS, every_s: float = PACE_S) -> None:
        self.bounds, self.every_s = bounds, every_s
        self.normal, self.now_s, self.value = Normal(), 0.0, 0.0

    def see(self, value: float, *, other_water: bool = False) -> Unusual | None:
        self.now_s += self.every_s
        self.value = value
        found, self.normal = weigh(self.normal, value, self.now_s, self.bounds, other_water=other_water)
        return found

    def moved(self, by: float) -> Unusual | None:
        return self.see(self.value + by)

    def all(self, values: Iterable[float]) -> list[Unusual]:
        return [found for value in values if (found := self.see(value)) is not None]

    def wait(self, for_s: float) -> None:
        self.now_s += for_s - self.every_s


def calm(looks: int, level: float = 8.0, noise: float = 0.01, seed: int = 3) -> list[float]:
    """A day's swing of 0.2 and a little noise, ending at its middle."""
    draw = Random(seed)
    return [level + 0.1 * sin(2 * pi * at / LOOKS_A_DAY) + draw.uniform(-noise, noise) for at in range(looks)]


def salted(looks: int, seed: int = 5) -> list[float]:
    """Water whose EC shoots up each afternoon and sinks back over two hours; it never goes below its base."""
    draw, values = Random(seed), []
    for at in range(looks):
        if at % LOOKS_A_DAY == 0:
            height = draw.uniform(0.2, 0.6)
        since = at % LOOKS_A_DAY - 60
        pulse = height * 0.5 ** (since / 3.0) if since >= 0 else 0.0
        values.append(0.4 + pulse + draw.uniform(-0.001, 0.001))
    return values


def known(values: Iterable[float], bounds: Bounds = BOUNDS) -> Water:
    water = Water(bounds)
    water.all(values)
    return water


def test_calm_water_is_never_unusual() -> None:
    """Two months of the same swing and noise."""
    assert Water().all(calm(2 * WEEKS)) == []


def test_what_calm_water_never_did_is_found_at_once() -> None:
    """Half of what matters is much where nothing moves; below the floor it is nothing."""
    water = known(calm(WEEKS))
    found = water.moved(+0.15)
    assert found is not None
    assert (found.oddity, found.allowed) == (Oddity.MOVED, 0.1)
    assert found.seen == pytest.approx(0.15)
    assert known(calm(WEEKS)).moved(+0.08) is None


def test_water_that_jumps_every_day_teaches_its_jumps_but_not_their_opposite() -> None:
    """Up by half as every afternoon is usual; down by a tenth of that never was."""
    water = Water(Bounds(0.0, least_share=0.025))
    assert water.all(salted(WEEKS)) == []
    assert water.all(salted(WEEKS)) == []
    assert water.see(0.34) is not None
    assert known(salted(WEEKS), Bounds(0.0, least_share=0.025)).see(0.9) is None


def test_a_value_may_return_as_far_as_it_ever_went() -> None:
    """Back to its middle of the last day at once, though it always sank slowly."""
    water = known(salted(WEEKS + 61), Bounds(0.0, least_share=0.025))
    assert water.value > 0.55
    assert water.see(0.4) is None


def test_the_first_day_allows_anything_and_the_first_weeks_allow_more() -> None:
    """By the square of what is missing of three weeks."""
    assert known(calm(LOOKS_A_DAY - 2)).moved(+3.0) is None
    assert known(calm(3 * LOOKS_A_DAY)).moved(+1.5) is None
    assert known(calm(3 * LOOKS_A_DAY)).moved(+6.0) is not None
    assert known(calm(WEEKS)).moved(+1.5) is not None


def test_allowed_is_a_multiple_of_the_largest_seen() -> None:
    """Just under three times passes, just over does not."""
    for share, passes in ((0.99, True), (1.01, False)):
        water = known(calm(WEEKS), Bounds(0.0))
        largest = max(water.normal.largest)
        back = -1.0 if water.value > water.normal.middle else 1.0
        while abs(water.value - water.normal.middle) < TIMES * largest:
            water.value -= back * largest  # so far out that the whole way leads back
        water.normal = Normal(water.normal.largest, seen_s=LEARNT_S, middle=water.normal.middle)
        water.see(water.value)
        assert (water.moved(back * share * TIMES * largest) is None) is passes


def test_what_was_seen_fades_by_half_in_two_weeks() -> None:
    """A move as after a storm is unusual again when the weather has long been calm."""
    water = Water()
    water.normal = Normal((1.0, 1.0, 1.0), seen_s=LEARNT_S)
    water.all(calm(round(HALF_LIFE_S / PACE_S), noise=0.0))
    assert water.normal.largest[2] == pytest.approx(0.5, rel=0.01)


def test_a_fault_that_begins_slowly_does_not_teach_its_own_pace() -> None:
    """Each step half as far again as the last: found once it passes what earlier hours have shown."""
    water = known(calm(WEEKS))
    steps = [0.03 * 1.5**n for n in range(6)]
    assert any(water.moved(step) is not None for step in steps)


def test_an_unusual_level_that_holds_and_lives_becomes_usual() -> None:
    """After half an hour, and then the old level is the unusual one."""
    water = known(calm(WEEKS))
    level = water.value + 1.0
    found = [water.see(level + 0.001 * at) for at in range(round(HOLD_S / PACE_S) + 1)]
    assert [one is None for one in found] == [False] * round(HOLD_S / PACE_S) + [True]
    assert water.see(level) is None


def test_an_unusual_level_that_stands_still_is_never_believed() -> None:
    """A register's zero, repeated for ten hours."""
    water = known(calm(WEEKS))
    assert all(water.see(0.0) is not None for _ in range(40))


def test_an_unusual_value_that_comes_back_leaves_no_trace() -> None:
    """The spike is found, the return is not, and nothing was learned."""
    water = known(calm(WEEKS))
    before = water.value
    assert water.see(before - 2.0) is not None
    assert water.see(before) is None
    assert max(*water.normal.lately, *water.normal.largest) < 0.1


def test_a_break_allows_more_and_teaches_nothing() -> None:
    """By the root of its length: four hours allow four times as much, as where a probe was cleaned."""
    for by, passes in ((0.35, True), (0.45, False)):
        water = known(calm(WEEKS))
        water.wait(16 * PACE_S)
        assert (water.moved(by) is None) is passes
        assert max(*water.normal.lately, *water.normal.largest) < 0.1


def test_a_value_that_stands_longer_than_ever_is_found() -> None:
    """Three times the longest seen, at least half a day, at most what is unusual anywhere."""
    water = known(calm(WEEKS))
    found = [water.see(8.0) for _ in range(LOOKS_A_DAY)]
    first = next(at for at, one in enumerate(found) if one is not None)
    assert found[first] == (Oddity.STILL, LEAST_STILL_S, LEAST_STILL_S)


@pytest.mark.parametrize(("longest_s", "finds"), [(DAY_S, True), (None, False)])
def test_a_day_without_change_is_unusual_in_any_water(longest_s: float | None, finds: bool) -> None:
    """Also where nothing was learned yet, unless the value may stand for ever."""
    water = Water(Bounds(0.1, longest_still_s=longest_s))
    found = water.all([8.0] * (LOOKS_A_DAY + 1))
    assert [one.oddity for one in found] == ([Oddity.STILL] if finds else [])


def test_water_that_often_stands_still_may() -> None:
    """Values in wide steps, each for six hours: sixteen hours are nothing new."""
    water = Water()
    steps = [8.0 + 0.05 * (at // 24 % 2) for at in range(WEEKS)]
    assert water.all(steps) == []
    assert water.all([8.05] * 40) == []


def test_other_water_allows_more_for_an_hour_and_teaches_nothing() -> None:
    """Three times as much as else."""
    for by, passes in ((0.28, True), (0.32, False)):
        water = known(calm(WEEKS))
        assert (water.see(water.value + by, other_water=True) is None) is passes
        assert max(*water.normal.lately, *water.normal.largest) < 0.1


def test_a_temperature_that_moves_as_never_tells_of_other_water() -> None:
    """From then on for an hour; not when it only moves as every day."""
    water = known(calm(WEEKS))
    assert not is_other_water(water.normal, water.now_s)
    water.moved(+0.09)
    assert is_other_water(water.normal, water.now_s)
    assert is_other_water(water.normal, water.now_s + OTHER_WATER_S)
    assert not is_other_water(water.normal, water.now_s + OTHER_WATER_S + 1.0)
    assert not is_other_water(water.normal, water.now_s - 1.0)


def test_each_doubt_widens_what_is_allowed_for_weeks_but_never_beyond_twice() -> None:
    """Once it is over: by half for the first, to twice for more; in two weeks half of that is left."""
    bounds = Bounds(0.0)
    for doubts, share in ((0.0, 1.0), (1.0, 1.5), (2.0, 2.0), (50.0, 2.0)):
        water = Water(bounds)
        water.normal = Normal((0.1, 0.1, 0.1), seen_s=LEARNT_S, doubts=doubts)
        water.see(8.0)
        far = 8.0 + share * TIMES * 0.1 * 1.01
        assert water.see(far) is not None
        assert water.see(far + 0.001) is not None
        assert water.normal.doubts == doubts
        assert water.see(8.0) is None
        assert water.normal.doubts == pytest.approx(doubts + 1.0, rel=0.01)
    water = Water()
    water.normal = Normal(seen_s=LEARNT_S, doubts=1.0)
    water.all(calm(round(HALF_LIFE_S / PACE_S), noise=0.0))
    assert water.normal.doubts == pytest.approx(0.5, rel=0.01)


def test_what_was_learned_outlives_a_restart() -> None:
    """Where it stood does not: any first value is taken, the next is weighed."""
    water = known(calm(WEEKS))
    water.normal = afresh(water.normal)
    assert water.see(5.0) is None
    assert water.moved(+0.15) is not None


def test_a_pass_every_minute_learns_the_same() -> None:
    """Moves are measured over a quarter of an hour at any pace."""
    every = calm(WEEKS)
    slow, fast = known(every), Water(every_s=60.0)
    for value, then in pairwise(every):
        fast.all(value + (then - value) * part / 15 for part in range(15))
    assert fast.normal.largest == pytest.approx(slow.normal.largest, rel=0.35)
    assert fast.moved(+0.15) is not None


@given(st.lists(st.floats(-100.0, 100.0), min_size=1, max_size=60), st.booleans())
def test_whatever_comes_what_is_learned_is_finite_and_bounded(values: list[float], other_water: bool) -> None:
    """No series of values makes the memory grow or learn more than it saw."""
    water = Water()
    for value in values:
        water.see(value, other_water=other_water)
    reach = max(values) - min(values)
    assert all(0.0 <= of <= reach for of in (*water.normal.largest, *water.normal.lately))
    assert 0.0 <= water.normal.seen_s < inf
