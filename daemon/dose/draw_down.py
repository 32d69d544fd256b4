"""Whether a still reservoir falls as it should, over days. Pure, but for what is remembered.

No pump keeps its level: it falls on purpose, by what plants drink, and nothing else tells whether they do.

    too fast: within a day, by LEAK_TIMES what plants take at most: a leak too slow for daemon/dose/level.py
    hardly: within HARDLY_S, by less than LEAST_SHARE: the sender sticks, or plants do not drink
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass
from math import inf

from daemon.dose.level import LEAK_TIMES, Fall, Levels
from daemon.dose.windows import DAY_S, HOUR_S

POINT_S = 6.0 * HOUR_S
HARDLY_S = 7.0 * DAY_S
DRINKING_H = 15.0  # of a day; at night plants take little (common practice)
LEAST_SHARE = 0.005  # of the full reservoir; seedlings of the first week take three times as much of a large one
RISEN_SHARE = 0.02  # more than waves: water was poured in


@dataclass(frozen=True, slots=True)
class Stands:
    """The level fell by only so much of the full reservoir within `over_s`."""

    share: float
    over_s: float
    least_share: float


def follow(levels: Levels, at_s: float, share: float | None) -> Levels:
    """The levels at rest of the last days with this one; begun anew where water was poured in."""
    if share is None:
        return levels
    if not levels or share > levels[-1][1] + RISEN_SHARE:
        return ((at_s, share),)
    if at_s - levels[-1][0] < POINT_S:
        return levels
    oldest_s = at_s - HARDLY_S - POINT_S
    return (*levels[bisect_left(levels, (oldest_s, -inf)) :], (at_s, share))


def too_fast(levels: Levels, drunk_share_per_h: float) -> Fall | None:
    """A fall within a day that drinking cannot explain. drunk_share_per_h: the most that plants and air take."""
    if (fallen := _fallen(levels, DAY_S)) is None:
        return None
    share, over_s = fallen
    most = DRINKING_H * drunk_share_per_h * over_s / DAY_S
    return Fall(share, over_s, most) if share > LEAK_TIMES * most else None


def stands(levels: Levels) -> Stands | None:
    """That it hardly fell for as long as it must have; None before."""
    fallen = _fallen(levels, HARDLY_S)
    return Stands(*fallen, LEAST_SHARE) if fallen is not None and not fallen[0] >= LEAST_SHARE else None


def _fallen(levels: Levels, least_s: float) -> tuple[float, float] | None:
    """Share lost, and over how long, `least_s` or a little more; None while it was not watched for so long."""
    if not levels:
        return None
    before = bisect_right(levels, (levels[-1][0] - least_s, inf))
    if not before:
        return None
    at_s, share = levels[before - 1]
    return share - levels[-1][1], levels[-1][0] - at_s
