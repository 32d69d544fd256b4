"""Did stock A and B raise strength as they should, and does strength rise when nothing was dosed? Pure.

    before: median of five  ->  the pump runs  . . it mixes . .  ->  after: median of five

    EC_NO_EFFECT    doses in a row of one stock that should have shown, and did not: empty, air, dead pump
    EC_RUNAWAY      strength rose far beyond what the dose can do: the pump did not stop
    EC_MOVED_ALONE  strength rises steadily with no dose: a siphon, a leaking pump

All of them latch. A fall is nobody's fault here: plants feed, and water is added by hand.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from math import inf
from types import MappingProxyType
from typing import NamedTuple

from daemon.dose.finding import Finding, Surprise
from daemon.dose.mixing import Mixing, mixing_after
from daemon.dose.newest import Newest, gather, middle
from daemon.values import Role, Verdict

STOCK_SHARE = 0.5  # of a pair's effect that either stock has: about so in common two-part feeds
LEAST_SHARE = 0.25  # of the rise expected: less is no effect
ENOUGH_MS_PER_CM, ENOUGH_DOSES = 0.1, 2  # doses that should have brought this much together must have shown
MANY_DOSES, LEAST_MS_PER_CM = 3, 0.04  # so must three, unless they are too small to be told from noise
RUNAWAY_TIMES, RUNAWAY_MS_PER_CM = 3.0, 0.2  # the rise expected, and this much more
LATEST_S = 1800.0  # a look this long after mixing says more of the hours between than of the dose

# A siphon of 1 mL/min of a 100-fold stock raises 60 L by 0.1 mS/cm an hour; drinking by less than 0.02.
POINT_S = 60.0
RISES = ((1200.0, 0.3), (10800.0, 0.2))  # within so many seconds, so many mS/cm
STEADY_SHARE = 0.2  # each third of the time must bring this share of the rise, or it is a hand's step


@dataclass(frozen=True, slots=True)
class _Fed:
    """A dose of stock that is mixing; before: strength ahead of it, None where that is not known."""

    pump: Role
    ml: float
    rise: float
    before: float | None
    mixing: Mixing


_Tries = tuple[tuple[float, float, float], ...]
"""Doses of one stock without effect, in a row: (mL, mS/cm expected, mS/cm seen)."""


class Feeding(NamedTuple):
    """What is remembered of one reservoir's strength between passes."""

    newest: Newest = ()
    points: Newest = ()
    fed: _Fed | None = None
    tries: Mapping[Role, _Tries] = MappingProxyType({})


def fed(feeding: Feeding, pump: Role, ml: float, rise: float, end_s: float, mixing_time_s: float) -> Feeding:  # noqa: PLR0917 - the facts of one dose
    """The state after a dose of stock that ended at `end_s`. rise: mS/cm by which it should raise strength."""
    dose = _Fed(pump, ml, rise, middle(feeding.newest), mixing_after(end_s, mixing_time_s))
    return feeding._replace(newest=(), points=(), fed=dose)


def disturbed(feeding: Feeding) -> Feeding:
    """The state while strength says nothing of the stocks: others were dosed, or people are at the tank."""
    return Feeding(tries=feeding.tries)


def watch_strength(feeding: Feeding, ec: Verdict) -> tuple[Finding | None, Feeding]:
    """What this pass's EC shows, and the state for the next. Nothing new, or nothing known: no finding."""
    mixing = Mixing() if feeding.fed is None else feeding.fed.mixing
    newest = gather(feeding.newest, ec, mixing.shows_s, watching=True)
    if newest == feeding.newest:
        return None, feeding
    feeding = feeding._replace(newest=newest)
    if (now := middle(newest, mixing.mixed_s)) is None:
        return None, feeding
    if feeding.fed is not None:
        return _judged(feeding, feeding.fed, now, newest[-1][0])
    return _at_rest(feeding, newest[-1][0], now)


def _judged(feeding: Feeding, dose: _Fed, now: float, now_s: float) -> tuple[Finding | None, Feeding]:
    rested = feeding._replace(fed=None)
    if dose.before is None or not now_s <= dose.mixing.mixed_s + LATEST_S:
        return None, rested
    seen = now - dose.before
    numbers = {"ml": dose.ml, "expected_ms_per_cm": dose.rise, "seen_ms_per_cm": seen}
    if seen > RUNAWAY_TIMES * dose.rise + RUNAWAY_MS_PER_CM:
        return Finding(Surprise.EC_RUNAWAY, dose.pump, numbers), rested
    if seen >= LEAST_SHARE * dose.rise:
        return None, rested._replace(tries=_with(feeding, dose.pump, ()))
    tries = (*feeding.tries.get(dose.pump, ()), (dose.ml, dose.rise, seen))
    finding = _no_effect(dose.pump, tries)
    return finding, rested._replace(tries=_with(feeding, dose.pump, () if finding else tries))


def _with(feeding: Feeding, pump: Role, tries: _Tries) -> Mapping[Role, _Tries]:
    return MappingProxyType({**feeding.tries, pump: tries})


def _no_effect(pump: Role, tries: _Tries) -> Finding | None:
    ml, expected, seen = (sum(column) for column in zip(*tries, strict=True))
    enough = len(tries) >= ENOUGH_DOSES and expected >= ENOUGH_MS_PER_CM
    if not (enough or (len(tries) >= MANY_DOSES and expected >= LEAST_MS_PER_CM)):
        return None
    numbers = {"doses": len(tries), "ml": ml, "expected_ms_per_cm": expected, "seen_ms_per_cm": seen}
    return Finding(Surprise.EC_NO_EFFECT, pump, numbers)


def _at_rest(feeding: Feeding, now_s: float, now: float) -> tuple[Finding | None, Feeding]:
    points = feeding.points
    if points and now_s - points[-1][0] < POINT_S:
        return None, feeding
    oldest_s = now_s - RISES[-1][0] - 2.0 * POINT_S
    points = (*points[bisect_left(points, (oldest_s, -inf)) :], (now_s, now))
    for over_s, least in RISES:
        rise = _steady_rise(points, over_s, least)
        if rise > 0.0:
            numbers = {"moved_ms_per_cm": rise, "over_s": over_s}
            return Finding(Surprise.EC_MOVED_ALONE, None, numbers), feeding._replace(points=())
    return None, feeding._replace(points=points)


def _steady_rise(points: Newest, over_s: float, least: float) -> float:
    """Rise over the last `over_s` seconds; 0 below `least`, or where not each third of them brought its share."""
    end_s, end = points[-1]
    begin = _at(points, end_s - over_s)
    if begin is None or not (rise := end - begin) >= least:
        return 0.0
    one, two = _at(points, end_s - over_s * 2.0 / 3.0), _at(points, end_s - over_s / 3.0)
    if one is None or two is None:
        return 0.0
    steps = [later - earlier for earlier, later in pairwise((begin, one, two, end))]
    return rise if min(steps) >= STEADY_SHARE * rise else 0.0


def _at(points: Newest, at_s: float) -> float | None:
    """The newest point not after `at_s`; None where there is none, or none near."""
    end = bisect_right(points, (at_s, inf))
    if end == 0 or at_s - points[end - 1][0] > 5.0 * POINT_S:
        return None
    return points[end - 1][1]
