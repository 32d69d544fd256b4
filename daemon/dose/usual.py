"""How far water takes back by itself what acid or base did to it, and whether that is now too far. Pure.

A pH probe that drifts slowly is believed: every dose shows its effect, and more and more is dosed. But what
pH does of its own, beside all doses, is in one water about the same from day to day, and what a probe drifts
comes on top of it.

    came back = reading now - reading at the first dose of the last hours - what the doses since should have done
                (for acid upwards, for base downwards)

    since the first dose    the most that is believed to be the water's own
    into this water         of the last 24 h                                  of the last 3 h
    up to 12 h              NEW_PH: hard water loses its CO2                  SHORT_NEW_PH
    up to 30 h              NEW_PH                                            SHORT_PH
    up to 54 h              YOUNG_PH                                          SHORT_PH
    up to 78 h              MOST_PH                                           SHORT_PH
    then                    USUAL_TIMES x the most that came back before      SHORT_PH
                            + MARGIN_PH, if less: of all doses of the week
                            that ended a day ago, from 30 h on; at least
                            LEAST_PH

    one probe                                WATER_PH more in the day after water came in
    two that agree                           AGREED_PH more

The most rather than the median, since a top-up makes one day in three or four unlike the others. A dose counts
once a few have shown what they do in this water (daemon.dose.learn), and only what was after the newest doubt
does: after a lock that a person has cleared, a calibration, a dose poured by hand, a step that pH made while the
program was off. If that lock doubted the probe, and what they measured agreed with it, then the day before it was
the water's own, and is usual for a week.

Where two probes agree, one that drifts would show in the other: what is asked for is then most likely the water's
own, such as a top-up that no level probe saw, after a week in which nothing was needed. What befalls both alike,
as their common converter may, is still held by the wider margin and by every cap.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf
from typing import NamedTuple

from daemon.dose.learn import DIRECTION
from daemon.dose.windows import DAY_S, HOUR_S
from daemon.values import Role

USUAL_TIMES = 1.25  # plants grow, and days differ
MARGIN_PH = 0.3  # more than usual: so far off may a drifting probe be before dosing stops
LEAST_PH = 0.1  # of its own water does now and then, though it did not in the week before
NEW_PH, YOUNG_PH, MOST_PH = 2.5, 1.2, 0.9  # in 45 months (tests.campaign) healthy water did 2.2, 1.2 and 0.8
NEW_H, YOUNG_H, KNOWN_H = 30.0, 54.0, 78.0
SHORT_NEW_PH, SHORT_PH = 0.8, 0.5  # likewise: 0.7 and 0.3
SHORT_NEW_H = 12.0
DAY_H, SHORT_H = 24.0, 3.0
WATER_PH = 0.7  # more for a day after water or a hand came in, which wants its share
AGREED_PH = 0.8  # more while two probes agree: only what befalls both alike can still mislead
MOST_DAYS = 7  # for so long something is usual


class Given(NamedTuple):
    """A dose of acid or base, as the ledger has it.

    end_s: of the run, proven; by_hand: a person poured it. ph: what it rested on, None where nobody knows what
    it did: by hand, before a few have shown it, in a line that says nothing of it. shift_ph: what it should have
    done, below 0 for acid.
    """

    end_s: float
    pump: Role
    ph: float | None = None
    shift_ph: float = 0.0
    by_hand: bool = False


@dataclass(frozen=True, slots=True)
class Cleared:
    """The newest safety stop that a person has cleared: when it began, in proven s; -inf for never.

    agreed: it doubted the probe, and a pH measured by something else agreed with what that read.
    """

    at_s: float = -inf
    agreed: bool = False


NEVER = Cleared()


@dataclass(frozen=True, slots=True)
class Usual:
    """How far pH came back against one pump in the last hours, and the most of it that is believed, in pH.

    usual_ph: the most that came back before in so many hours; None while that is not known.
    """

    back_ph: float
    most_ph: float
    usual_ph: float | None = None
    hours: float = DAY_H


def usual_of(  # noqa: PLR0917 - six facts of one moment
    given: Sequence[Given], pump: Role, ph: float, now_s: float, cleared: Cleared = NEVER, since_s: float = -inf
) -> Usual:
    """What is usual against this pump at `now_s` (proven), where pH reads `ph`: in a day, or in 3 h if odd.

    given: all acid and base, oldest first, since the water was last changed; since_s: what was before it does not
    count, as readings are another series since.
    """
    against = -DIRECTION[pump]  # which way pH comes back
    since_s = max(since_s, cleared.at_s)
    day_ph, short_ph = (
        against * _own_ph(_between(given, max(now_s - hours * HOUR_S, since_s), inf), ph)
        for hours in (DAY_H, SHORT_H)
    )
    age_h = (now_s - given[0].end_s) / HOUR_S if given else 0.0
    usual_ph = _most_before(given, against, now_s) if age_h >= KNOWN_H else None
    most_ph = _most_ph(age_h) if usual_ph is None else min(MOST_PH, _with_margin(usual_ph))
    short_most_ph = SHORT_NEW_PH if age_h < SHORT_NEW_H else SHORT_PH
    if cleared.agreed and now_s - cleared.at_s < MOST_DAYS * DAY_S:
        granted_ph = _with_margin(against * _of_day(given, cleared.at_s))
        most_ph, short_most_ph = max(most_ph, granted_ph), max(short_most_ph, granted_ph)
    day, short = Usual(day_ph, most_ph, usual_ph), Usual(short_ph, short_most_ph, hours=SHORT_H)
    return short if short_ph - short_most_ph > max(0.0, day_ph - most_ph) else day


def margin_ph(*, after_water: bool, two_agree: bool) -> float:
    """How much further than `most_ph` pH may come back.

    after_water: water or a hand came in within the last 24 h. two_agree: two probes read the same pH now.
    """
    if two_agree:
        return AGREED_PH
    return WATER_PH if after_water else 0.0


def _most_ph(age_h: float) -> float:
    if age_h < NEW_H:
        return NEW_PH
    return YOUNG_PH if age_h < YOUNG_H else MOST_PH


def _with_margin(usual_ph: float) -> float:
    return USUAL_TIMES * max(LEAST_PH, usual_ph) + MARGIN_PH


def _most_before(given: Sequence[Given], against: float, now_s: float) -> float:
    """The most that came back within 24 h by any dose of the week that ended a day ago; 0 or more."""
    after_s = max(given[0].end_s + NEW_H * HOUR_S, now_s - (MOST_DAYS + 1) * DAY_S)
    most_ph = 0.0
    first, done_ph = 0, 0.0  # of the day before a dose: its first dose, and what all of them should have done
    for place, dose in enumerate(given):
        if dose.end_s > now_s - DAY_S:
            break
        if dose.ph is None:
            first, done_ph = place + 1, 0.0
            continue
        while given[first].end_s <= dose.end_s - DAY_S:
            done_ph -= given[first].shift_ph
            first += 1
        begun_ph = given[first].ph
        if dose.end_s >= after_s and begun_ph is not None:
            most_ph = max(most_ph, against * (dose.ph - begun_ph - done_ph))
        done_ph += dose.shift_ph
    return most_ph


def _of_day(given: Sequence[Given], until_s: float) -> float:
    """What pH did of its own in the day before, from the first dose of it to the last."""
    doses = _between(given, until_s - DAY_S, until_s)
    if not doses or doses[-1].ph is None:
        return 0.0
    return _own_ph(doses[:-1], doses[-1].ph)


def _own_ph(doses: Sequence[Given], ph: float) -> float:
    """What pH did of its own from the first of these doses until it reads `ph`; 0 where there is none.

    What was before a dose of which nobody knows what it did is left out.
    """
    since = 1 + max((place for place, dose in enumerate(doses) if dose.ph is None), default=-1)
    known = [(dose.ph, dose.shift_ph) for dose in doses[since:] if dose.ph is not None]
    if not known:
        return 0.0
    return ph - known[0][0] - sum(shift_ph for _, shift_ph in known)


def _between(given: Sequence[Given], after_s: float, until_s: float) -> list[Given]:
    return [dose for dose in given if after_s < dose.end_s <= until_s]
