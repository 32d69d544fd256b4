"""How much acid or base this tank usually takes, and whether it now takes too much. Pure.

A pH probe that drifts slowly is believed: every dose shows its effect, and more and more is dosed. But water
asks for about as much each day as on the days before.

    . . | day 3 | day 2 | day 1 | the last 24 h | now           days: full ones, counted back from now
        \\___ usual: the most ___/                               the first after fresh water is left out

    room = USUAL_TIMES x usual + margin in mL - what was given in the last 24 h

                     one probe                          two that agree
    margin           MARGIN_PH by the lesser of what    MARGIN_PH + AGREED_PH by what doses taught
                     doses taught and the settings say

The most of a day rather than the median, since a top-up makes one day in three or four unlike the others. Nothing
is held back until DAYS_NEEDED full days have been seen. After a person has cleared a safety stop only what was
given since counts, and for a day with a wider margin. If that stop doubted the probe, and what they measured
agreed with it, then what was given in the day before was the water's own, and is usual; and so is the whole way
that was left at the first dose after, if that came within a day. (Where it had to be calibrated, the doubt was
right.)

Where two probes agree, one that drifts would show in the other: what is asked for is then most likely the water's
own, such as a top-up that no level probe saw, after a week in which nothing was needed. What befalls both alike,
as their common converter may, is still held by the wider margin and by every cap.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf
from typing import NamedTuple

from daemon.dose.windows import DAY_S

USUAL_TIMES = 1.25  # plants grow, and days differ
NEED_TIMES = 1.5  # what water far from its target takes is known to a half at best
MARGIN_PH = 0.3  # more than usual: so far off may a drifting probe be before dosing stops
WATER_PH = 0.7  # more for a day after water or a hand came in, which wants its share
CLEARED_PH = 0.3  # more for a day after a person's word that the probe is right
AGREED_PH = 1.2  # more while two probes agree: only what befalls both alike can still mislead
DAYS_NEEDED, MOST_DAYS = 1, 7
SETTLED_DAYS = 1  # fresh water takes up to a day until its CO2 has gone


class Given(NamedTuple):
    """A dose, as the ledger has it: end of the run in proven s, mL given, mL the water then needed in all."""

    end_s: float
    ml: float
    need_ml: float = 0.0


@dataclass(frozen=True, slots=True)
class Cleared:
    """The newest safety stop that a person has cleared: when it began, in proven s; -inf for never.

    agreed: it doubted the probe, and a pH measured by something else agreed with what that read.
    """

    at_s: float = -inf
    agreed: bool = False


NEVER = Cleared()
_NONE_YET = Given(inf, 0.0)


@dataclass(frozen=True, slots=True)
class Usual:
    """What one pump usually gives in a day, from how many days, and what counts of the last 24 h.

    cleared: a person has cleared a safety stop within them. need_ml: what the water needed at the first dose
    since, 0 unless the probe was found right.
    """

    usual_ml: float
    days: int
    day_ml: float
    cleared: bool = False
    need_ml: float = 0.0


def usual_of(given: Sequence[Given], now_s: float, cleared: Cleared = NEVER) -> Usual | None:
    """What is usual of this pump at `now_s` (proven); None while too little is known.

    given: all its doses, oldest first, since the water was last changed.
    """
    if not given:
        return None
    begun_s = given[0].end_s + SETTLED_DAYS * DAY_S
    count = min(MOST_DAYS, int((now_s - DAY_S - begun_s) / DAY_S))
    if not count >= DAYS_NEEDED:
        return None
    days = [_between(given, now_s - (k + 1) * DAY_S, now_s - k * DAY_S) for k in range(1, count + 1)]
    if cleared.agreed and now_s - cleared.at_s < MOST_DAYS * DAY_S:
        days.append(_between(given, cleared.at_s - DAY_S, cleared.at_s))
    first = next((dose for dose in given if dose.end_s > cleared.at_s), _NONE_YET)
    is_granted = cleared.at_s > -inf and not now_s - first.end_s > DAY_S
    is_soon = first.end_s - cleared.at_s < DAY_S  # later the probe may have gone wrong again
    need_ml = first.need_ml if is_granted and is_soon and cleared.agreed else 0.0
    day_ml = _between(given, max(now_s - DAY_S, cleared.at_s), inf)
    return Usual(max(days), count, day_ml, is_granted, need_ml)


def room_ml(usual: Usual, ml_per_ph: float, *, after_water: bool, two_agree: bool) -> float:
    """mL that may still be given, 0 or more.

    after_water: water or a hand came in within the last 24 h. two_agree: two probes read the same pH now.
    """
    more_ph = WATER_PH if after_water else CLEARED_PH if usual.cleared else 0.0
    margin_ph = MARGIN_PH + (max(more_ph, AGREED_PH) if two_agree else more_ph)
    room = USUAL_TIMES * usual.usual_ml + NEED_TIMES * usual.need_ml + margin_ph * ml_per_ph - usual.day_ml
    return room if room > 0.0 else 0.0


def _between(given: Sequence[Given], after_s: float, until_s: float) -> float:
    return sum([ml for end_s, ml, _ in given if after_s < end_s <= until_s])
