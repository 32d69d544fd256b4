"""The newest readings of one quantity that belong together. Pure."""

from __future__ import annotations

from math import inf, isfinite

from daemon.values import Verdict

READINGS = 5  # never on one sample: the median of this many, in all of which the last dose shows
BREAK_S = 180.0  # readings further apart than this do not belong together (three of the slowest passes)

Newest = tuple[tuple[float, float], ...]
"""(monotonic time in s, value), oldest first, at most READINGS of them."""


def gather(newest: Newest, verdict: Verdict, shows_s: float, *, watching: bool = False) -> Newest:
    """`newest` with this look added; begun anew after a break or a dose, empty without a usable reading.

    shows_s: monotonic time from which the last dose shows, -inf where there was none. watching: for pumps to be
    watched by, not to dose by (`Verdict.shows_water`).
    """
    believed = verdict.shows_water if watching else verdict.usable
    if not (believed and verdict.reading is not None):
        return ()
    at_s, value = verdict.reading.at_s, verdict.reading.value
    if not (at_s >= shows_s and isfinite(value)):
        return ()
    if newest and at_s == newest[-1][0]:
        return newest
    follows = newest and 0.0 < at_s - newest[-1][0] <= BREAK_S and newest[0][0] >= shows_s
    return (*(newest if follows else ()), (at_s, value))[-READINGS:]


def middle(newest: Newest, mixed_s: float = -inf) -> float | None:
    """Their median; None while there are fewer than READINGS, or the newest is older than `mixed_s`."""
    if len(newest) < READINGS or not newest[-1][0] >= mixed_s:
        return None
    return sorted([value for _, value in newest])[READINGS // 2]
