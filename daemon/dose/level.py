"""The level at rest, and whether it falls faster than plants drink. Pure, but for what is remembered.

An ebb-and-flow reservoir falls while its bed is flooded, and comes back. So the level at rest is the highest
that was seen within the last `rest_s`, which the settings make longer than a flood.

    leak: the level at rest fell by more than LEAK_TIMES what plants take at most, within an hour;
          or by that and LEAST_SHARE more, within ten minutes
    drowned: a still reservoir whose level had fallen by BARE_SHARE was filled over more than COVERED_SHARE of it
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import deque
from dataclasses import dataclass, field
from math import inf, isfinite

from config.settings import USUAL_DRUNK_SHARE_PER_H, Reservoir
from daemon.dose.windows import HOUR_S

MINUTE_S = 60.0
STILL_S = 300.0  # of a reservoir that is never flooded: waves and splashing
POINT_S = 20.0

LEAK_TIMES = 2.0  # of what plants and air take at most
LEAST_SHARE = 0.01  # of the full reservoir: waves and noise stay below
SOON_S = 600.0
FALL_POINT_S = 60.0

# Where no pump brings air, roots live by those that grow above the falling water. Never to refill to the top is
# common practice; the figures are our own choice.
BARE_SHARE = 0.08  # of the full reservoir: by so much lower, and there are roots in the air
COVERED_SHARE = 0.5  # of what had been bare may be covered again


def rest_s_of(reservoir: Reservoir) -> float:
    """Seconds within which the level at rest shows at least once."""
    if reservoir.system == "ebb_and_flow":
        return reservoir.water.longest_flood_min * MINUTE_S
    return STILL_S


def most_drunk_l_per_h(reservoir: Reservoir) -> float:
    """The most that plants and air take in an hour, in L: set, or as usual of a full bed."""
    most = reservoir.water.most_drunk_l_per_h
    return USUAL_DRUNK_SHARE_PER_H * reservoir.volume_l if most is None else most


@dataclass(slots=True)
class RestLevel:
    """The levels of the last `rest_s`, as shares of the full reservoir."""

    rest_s: float
    _seen: deque[tuple[float, float]] = field(default_factory=deque)  # (monotonic s, share), shares falling
    _since_s: float | None = None

    def see(self, at_s: float, share: float) -> None:
        """One more look. Lower ones that came earlier can never be the highest again."""
        if not isfinite(share):
            return
        if self._since_s is None:
            self._since_s = at_s
        seen = self._seen
        if seen and at_s - seen[-1][0] < POINT_S and share <= seen[-1][1]:
            return
        while seen and seen[-1][1] <= share:
            seen.pop()
        seen.append((at_s, share))
        while seen[0][0] < at_s - self.rest_s:
            seen.popleft()

    def share(self, now_s: float) -> float | None:
        """The level at rest; None until it was watched for as long as a flood may last, or not lately."""
        if self._since_s is None or not self._seen or not now_s - self._since_s >= self.rest_s:
            return None
        return next((share for at_s, share in self._seen if at_s >= now_s - self.rest_s), None)


Levels = tuple[tuple[float, float], ...]
"""(monotonic s, share at rest) of the last hour or so, oldest first."""


@dataclass(frozen=True, slots=True)
class Fall:
    """The level at rest fell by so much of the full reservoir within `over_s`; at most `most_share` is drunk."""

    share: float
    over_s: float
    most_share: float


def follow(levels: Levels, at_s: float, share: float | None) -> Levels:
    """The levels with this one added; begun anew where it is not known."""
    if share is None:
        return ()
    if levels and at_s - levels[-1][0] < FALL_POINT_S:
        return levels
    oldest_s = at_s - HOUR_S - 2.0 * FALL_POINT_S
    return (*levels[bisect_left(levels, (oldest_s, -inf)) :], (at_s, share))


def leak(levels: Levels, drunk_share_per_h: float) -> Fall | None:
    """A fall that drinking cannot explain. drunk_share_per_h: the most that plants and air take of the whole."""
    for over_s, margin in ((SOON_S, LEAST_SHARE), (HOUR_S, 0.0)):
        most = drunk_share_per_h * over_s / HOUR_S
        fallen = _fallen(levels, over_s)
        if fallen > LEAK_TIMES * most + margin:
            return Fall(fallen, over_s, most)
    return None


def _fallen(levels: Levels, over_s: float) -> float:
    """Share lost over the last `over_s` seconds; 0 while they were not watched for so long."""
    if not levels:
        return 0.0
    before = bisect_right(levels, (levels[-1][0] - over_s, inf))
    return levels[before - 1][1] - levels[-1][1] if before else 0.0


@dataclass(frozen=True, slots=True)
class Drowned:
    """A still reservoir filled over roots that hang in the air, in shares of the full one.

    lowest: where the level had stood; share: where it stands now; most_share: where it may stand.
    """

    lowest: float
    share: float
    most_share: float


def drowned(lowest: float | None, share: float | None) -> Drowned | None:
    """Whether the level at rest covers roots that had grown above `lowest`; None where either is not known."""
    if lowest is None or share is None or not lowest <= 1.0 - BARE_SHARE:
        return None
    most_share = lowest + COVERED_SHARE * (1.0 - lowest)
    return Drowned(lowest, share, most_share) if share > most_share else None
