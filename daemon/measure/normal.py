"""What this water usually does, learned from readings that were believed; what it has never done. Pure.

    a believed reading -> how far from the one a quarter of an hour ago, and which way
        up or down, away from its middle of the last day; or back towards it
    the largest of each way, halved every two weeks -> three times as far is MOVED
    the longest time without any change, likewise -> three times as long is STILL

Nothing here is set by hand for one water. Where road salt sends EC up every day, far moves up become usual and
moves down do not; where it lies still, half of what matters is already much. The first day allows anything, the
first three weeks allow more than later, by the square of what is missing. What is learned counts six hours later,
so that a fault which begins slowly cannot teach its own pace.

Other water that comes in shows in its temperature as well: for an hour after that moved further than it usually
does, three times as far is allowed, and nothing is learned from it.

An unusual move becomes usual once it has held for half an hour and has not stood still there. So no memory bars a
probe for ever. Over a break a value may go further, by the root of its length, as a thing does that wanders; that
teaches nothing: the probe may have been cleaned. Who calls too often is not listened to: each doubt, once over,
widens what is allowed by half for some weeks, all together at most to twice as much.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum, IntEnum
from math import inf, sqrt
from typing import NamedTuple

PACE_S = 900.0  # moves are measured over this time
BREAK_S = 1.5 * PACE_S
DAY_S = 86400.0
HALF_LIFE_S = 14.0 * DAY_S  # weather and crop change within weeks
LEARNT_S = 21.0 * DAY_S
TIMES = 3.0  # the largest of some weeks is often met again, and half as much again; three times is another cause
OTHER_WATER_TIMES, OTHER_WATER_S = 3.0, 3600.0
TAUGHT_AFTER_S = 21600.0
WIDER_PER_DOUBT, MOST_WIDER = 0.5, 2.0
HOLD_S = 1800.0
LEAST_STILL_S = 43200.0  # on a dull day a value in steps may stand from one turn of its swing to the next
_ROUNDING = 1e-9  # 8.49 - 8.59 is not quite -0.1


class Way(IntEnum):
    """Which way a value went, seen from its middle of the last day; its place in `_Moves`."""

    UP = 0
    DOWN = 1
    BACK = 2


class Oddity(Enum):
    """What a water does not do."""

    MOVED = "moved"
    STILL = "still"


@dataclass(frozen=True, slots=True)
class Bounds:
    """What is left to learning, of one quantity.

    least_move, least_share: moves below this, in its unit or as a share of its value, are never unusual.
    longest_still_s: so long without any change is unusual in any water; None where a value may stand for ever.
    """

    least_move: float
    least_share: float = 0.0
    longest_still_s: float | None = None


class Unusual(NamedTuple):
    """What was found: by how much it moved (in its unit) or how long it stood (s), and what is usual here."""

    oddity: Oddity
    seen: float
    allowed: float


class _Kept(NamedTuple):
    """The believed reading that moves are measured from."""

    value: float
    at_s: float


class _Same(NamedTuple):
    """A value, since when it has been exactly this, and when it was last seen."""

    value: float
    since_s: float
    at_s: float


class _Trial(NamedTuple):
    """A new level: its first value and when, its newest value, and whether it began after a break."""

    first: float
    since_s: float
    value: float
    after_break: bool


_Moves = tuple[float, float, float]
"""The largest move of each `Way`, in the quantity's unit."""

_NONE: _Moves = (0.0, 0.0, 0.0)


class Normal(NamedTuple):
    """What was learned of one quantity of one water, and where it stands. A tuple, as each look makes new ones.

    largest: of each way, faded; lately: of the last hours, not counted yet. seen_s: for how long it was watched.
    unlike_s: when it last moved further than ever in its memory. doubts: how often a move was doubted, faded.
    """

    largest: _Moves = _NONE
    lately: _Moves = _NONE
    still_s: float = 0.0
    seen_s: float = 0.0
    untaught_s: float = 0.0
    kept: _Kept | None = None
    middle: float = 0.0
    same: _Same | None = None
    trial: _Trial | None = None
    unlike_s: float = -inf
    doubts: float = 0.0


def afresh(normal: Normal) -> Normal:
    """Only what was learned: after a restart, a calibration or new water it stands anywhere."""
    return normal._replace(kept=None, middle=0.0, same=None, trial=None, unlike_s=-inf)


def is_other_water(temperature: Normal, now_s: float) -> bool:
    """Whether this temperature tells that other water came in."""
    return 0.0 <= now_s - temperature.unlike_s <= OTHER_WATER_S


def weigh(
    normal: Normal, value: float, at_s: float, bounds: Bounds, *, other_water: bool = False
) -> tuple[Unusual | None, Normal]:
    """What is unusual about this reading, if anything, and the state to hand in with the next.

    value: finite, believed so far. at_s: monotonic, not before the last. other_water: see `is_other_water`.
    """
    normal = _stands(normal, value, at_s, bounds)
    if (still := _stood_too_long(normal, bounds)) is not None:
        return still, normal._replace(trial=None)
    if normal.kept is None:
        return None, normal._replace(kept=_Kept(value, at_s), middle=value)
    return _moved(normal, normal.kept, value, at_s, _Judging(bounds, other_water))


class _Judging(NamedTuple):
    bounds: Bounds
    other_water: bool


def _stands(normal: Normal, value: float, at_s: float, bounds: Bounds) -> Normal:
    """Since when the value is what it is. How long the last one stood is learned when it ends, where believed."""
    same = normal.same
    if same is not None and value == same.value and at_s - same.at_s <= BREAK_S:
        return normal._replace(same=_Same(value, same.since_s, at_s))
    believed = same is not None and _stood_too_long(normal, bounds) is None
    still_s = max(normal.still_s, same.at_s - same.since_s) if same is not None and believed else normal.still_s
    return normal._replace(same=_Same(value, at_s, at_s), still_s=still_s)


def _stood_too_long(normal: Normal, bounds: Bounds) -> Unusual | None:
    same, longest_s = normal.same, bounds.longest_still_s
    if same is None or longest_s is None:
        return None
    times = _times(normal)
    allowed_s = longest_s if times == inf else min(longest_s, max(LEAST_STILL_S, times * normal.still_s))
    stood_s = same.at_s - same.since_s
    return None if stood_s < allowed_s else Unusual(Oddity.STILL, stood_s, allowed_s)


def _times(normal: Normal) -> float:
    """By how much what was seen may be exceeded, after watching for so long."""
    if not normal.seen_s >= DAY_S:
        return inf
    wider = min(MOST_WIDER, 1.0 + WIDER_PER_DOUBT * normal.doubts)
    return TIMES * wider * max(1.0, LEARNT_S / normal.seen_s) ** 2


def _moved(normal: Normal, kept: _Kept, value: float, at_s: float, by: _Judging) -> tuple[Unusual | None, Normal]:
    move, after_s = value - kept.value, at_s - kept.at_s
    way = _way(kept.value, value, normal.middle)
    usual = _usual(normal, way, kept.value, by.bounds)
    if after_s <= BREAK_S and abs(move) > usual / TIMES + _ROUNDING:
        normal = normal._replace(unlike_s=at_s)
    unseen_s = after_s if normal.trial is None else normal.trial.since_s - kept.at_s
    allowed = usual * (OTHER_WATER_TIMES if by.other_water else 1.0) * sqrt(max(1.0, unseen_s / PACE_S))
    teaches = after_s <= BREAK_S
    if not abs(move) <= allowed + _ROUNDING:
        trial = _tried(normal.trial, value, at_s, allowed, after_break=not teaches)
        if not (at_s - trial.since_s >= HOLD_S and value != trial.first):
            return Unusual(Oddity.MOVED, move, allowed), normal._replace(trial=trial)
        teaches = not trial.after_break
    return None, _believed(normal, kept, value, at_s, way if teaches and not by.other_water else None)


def _way(before: float, value: float, middle: float) -> Way:
    if not abs(value - middle) > abs(before - middle):
        return Way.BACK
    return Way.UP if value > before else Way.DOWN


def _usual(normal: Normal, way: Way, level: float, bounds: Bounds) -> float:
    """How far a move of this way may go. Back towards its middle a value may go as far as it ever went."""
    times = _times(normal)
    if times == inf:
        return inf
    largest = max(normal.largest) if way is Way.BACK else normal.largest[way]
    return max(times * largest, bounds.least_move, bounds.least_share * abs(level))


def _tried(trial: _Trial | None, value: float, at_s: float, allowed: float, *, after_break: bool) -> _Trial:
    if trial is None or abs(value - trial.value) > allowed + _ROUNDING:
        return _Trial(value, at_s, value, after_break)
    return trial._replace(value=value)


def _believed(normal: Normal, kept: _Kept, value: float, at_s: float, way: Way | None) -> Normal:
    """Learn this move, where it went some way that teaches; each quarter of an hour measure from here.

    A doubt counts once it is over: while it stands it must not widen what is allowed.
    """
    lately = normal.lately
    if way is not None:
        lately = _with(lately, way, abs(value - kept.value))
    after_s = at_s - kept.at_s
    if after_s < PACE_S - 1.0 and normal.trial is None:
        return normal if lately is normal.lately else normal._replace(lately=lately)
    doubts = normal.doubts if normal.trial is None else normal.doubts + 1.0
    normal = normal._replace(lately=lately, trial=None, doubts=doubts)
    return _stepped(normal, value, at_s, min(max(after_s, 0.0), BREAK_S))


def _with(moves: _Moves, way: Way, move: float) -> _Moves:
    if not move > moves[way]:
        return moves
    up, down, back = (move if at == way else of for at, of in enumerate(moves))
    return up, down, back


def _stepped(normal: Normal, value: float, at_s: float, watched_s: float) -> Normal:
    """Measured from here on, what was learned faded by the time watched."""
    fade = 0.5 ** (watched_s / HALF_LIFE_S)
    up, down, back = (of * fade for of in normal.largest)
    normal = normal._replace(
        largest=(up, down, back),
        still_s=normal.still_s * fade,
        doubts=normal.doubts * fade,
        seen_s=normal.seen_s + watched_s,
        untaught_s=normal.untaught_s + watched_s,
        kept=_Kept(value, at_s),
        middle=normal.middle + (value - normal.middle) * watched_s / DAY_S,
    )
    return _taught(normal) if normal.untaught_s >= TAUGHT_AFTER_S else normal


def _taught(normal: Normal) -> Normal:
    up, down, back = (max(pair) for pair in zip(normal.largest, normal.lately, strict=True))
    return normal._replace(largest=(up, down, back), lately=_NONE, untaught_s=0.0)
