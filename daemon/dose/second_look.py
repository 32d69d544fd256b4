"""Doses that seem to have done nothing: truly nothing, or little in strongly buffered water? Pure.

    before              the newest dose, mixing         a rest: REST_S, at least three mixing times more
    median of five  ->  . . . . . . . . . . . . . .  ->  one line through all readings of the rest

    seen = the line, drawn back to before, less before; sd: from the scatter about the line

A drift is taken off by drawing the line back. What is seen counts as an effect where it is SURE_SDS of its own
noise and SLACK_PH besides (a drift that bends), and no smaller than LEAST_SHARE of what was expected: buffering
misses the settings several times, not that often. All else is none: a rest that cannot tell ends like one that
shows nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf, sqrt
from typing import NamedTuple

REST_S = 900.0
SURE_SDS = 3.0
SLACK_PH = 0.006
LEAST_SHARE = 0.05  # of the shift expected
NEEDED = 8  # readings for a line
MEDIAN_VAR = 0.3  # variance of a median of five, in that of one reading: pi / 2 / 5


@dataclass(frozen=True, slots=True)
class Rest:
    """A rest until `until_s`, with the sums of its line. Times in s from before_s, pH from before_ph.

    expected_ph: what the dose should have moved, with its sign.
    """

    expected_ph: float
    before_s: float
    before_ph: float
    until_s: float
    count: int = 0
    sum_s: float = 0.0
    sum_ph: float = 0.0
    sum_s2: float = 0.0
    sum_s_ph: float = 0.0
    sum_ph2: float = 0.0


class Seen(NamedTuple):
    """What the dose did, in its own direction, and the standard deviation of that."""

    ph: float
    sd: float


def rest_after(expected_ph: float, before_s: float, before_ph: float, now_s: float, mixing_s: float) -> Rest:
    """A rest that begins now. mixing_s: until a dose has mixed in."""
    return Rest(expected_ph, before_s, before_ph, now_s + max(REST_S, mixing_s))


def rested(rest: Rest, at_s: float, ph: float) -> Rest:
    """The rest with one more usable reading."""
    s, off_ph = at_s - rest.before_s, ph - rest.before_ph
    return replace(
        rest,
        count=rest.count + 1,
        sum_s=rest.sum_s + s,
        sum_ph=rest.sum_ph + off_ph,
        sum_s2=rest.sum_s2 + s * s,
        sum_s_ph=rest.sum_s_ph + s * off_ph,
        sum_ph2=rest.sum_ph2 + off_ph * off_ph,
    )


def seen(rest: Rest) -> Seen:
    """What the dose did by the line through the rest; sd infinite where there are too few readings for one."""
    if not rest.count >= NEEDED:
        return Seen(0.0, inf)
    mean_s, mean_ph = rest.sum_s / rest.count, rest.sum_ph / rest.count
    s2 = rest.sum_s2 - rest.count * mean_s**2
    if not s2 > 0.0:
        return Seen(0.0, inf)
    s_ph = rest.sum_s_ph - rest.count * mean_s * mean_ph
    left = max(0.0, rest.sum_ph2 - rest.count * mean_ph**2 - s_ph**2 / s2)
    var = left / (rest.count - 2)
    step_ph = mean_ph - mean_s * s_ph / s2
    sd = sqrt(var * (1.0 / rest.count + mean_s**2 / s2 + MEDIAN_VAR))
    return Seen(step_ph if rest.expected_ph > 0.0 else -step_ph, sd)


def is_effect(rest: Rest, of: Seen) -> bool:
    """Whether this is some real effect in the right direction, however small."""
    return of.ph > SURE_SDS * of.sd + SLACK_PH and of.ph >= LEAST_SHARE * abs(rest.expected_ph)
