"""How much acid or base this tank usually takes, and whether it now takes too much. Pure.

A pH probe that drifts slowly is believed: every dose shows its effect, and more and more is dosed. But water
asks for about as much each day as on the days before.

    . . | day 3 | day 2 | day 1 | the last 24 h | now           days: full ones, counted back from now
        \\___ usual: the most ___/                               the first after fresh water is left out

    room = USUAL_TIMES x usual + MARGIN_PH in mL - what was given in the last 24 h

The most of a day rather than the median, since a top-up makes one day in three or four unlike the others. Nothing
is held back until DAYS_NEEDED full days have been seen. After a person has cleared a safety stop only what was
given since counts, and for a day with a wider margin: they were to compare the probe with something else.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

from daemon.dose.windows import DAY_S

USUAL_TIMES = 1.25  # plants grow, and days differ
MARGIN_PH = 0.3  # more than usual: so far off may a drifting probe be before dosing stops
WATER_PH = 0.7  # more for a day after water or a hand came in, which wants its share
CLEARED_PH = 0.3  # more for a day after a person's word that the probe is right
DAYS_NEEDED, MOST_DAYS = 1, 7
SETTLED_DAYS = 1  # fresh water takes up to a day until its CO2 has gone

Given = tuple[float, float]
"""(end of a run in proven s, mL), as the ledger has them."""


@dataclass(frozen=True, slots=True)
class Usual:
    """What one pump usually gives in a day, from how many days, and what counts of the last 24 h.

    cleared: a person has cleared a safety stop within them.
    """

    usual_ml: float
    days: int
    day_ml: float
    cleared: bool = False


def usual_of(given: Sequence[Given], now_s: float, cleared_s: float) -> Usual | None:
    """What is usual of this pump at `now_s` (proven); None while too little is known.

    given: all its doses, oldest first, since the water was last changed. cleared_s: when a safety stop that a
    person has cleared since last began, -inf for never.
    """
    if not given:
        return None
    begun_s = given[0][0] + SETTLED_DAYS * DAY_S
    count = min(MOST_DAYS, int((now_s - DAY_S - begun_s) / DAY_S))
    if not count >= DAYS_NEEDED:
        return None
    days = [_between(given, now_s - (k + 1) * DAY_S, now_s - k * DAY_S) for k in range(1, count + 1)]
    cleared = _is_granted(given, now_s, cleared_s)
    return Usual(max(days), count, _between(given, max(now_s - DAY_S, cleared_s), inf), cleared)


def _is_granted(given: Sequence[Given], now_s: float, cleared_s: float) -> bool:
    """Whether it is the day after a person cleared a stop, counted from the first dose since."""
    if cleared_s == -inf:
        return False
    first_s = next((end_s for end_s, _ in given if end_s > cleared_s), inf)
    return not now_s - first_s > DAY_S


def room_ml(usual: Usual, ml_per_ph: float, *, after_water: bool) -> float:
    """mL that may still be given, 0 or more. after_water: water or a hand came in within the last 24 h."""
    more_ph = WATER_PH if after_water else CLEARED_PH if usual.cleared else 0.0
    margin_ph = MARGIN_PH + more_ph
    room = USUAL_TIMES * usual.usual_ml + margin_ph * ml_per_ph - usual.day_ml
    return room if room > 0.0 else 0.0


def _between(given: Sequence[Given], after_s: float, until_s: float) -> float:
    return sum(ml for end_s, ml in given if after_s < end_s <= until_s)
