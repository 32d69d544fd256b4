"""When a head weighs what is wanted, and between which days. Pure.

The curve is the model's, day by day from planting out into the days to come; the factor and its doubt are the
garden's own (daemon/crop/growth.py). Doubt grows with each day ahead. Between earliest and latest lie eight
cases in ten: one batch in ten is ready sooner, one later.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import exp
from typing import NamedTuple

from daemon.crop.growth import Scale, at_day

Z_EIGHT_IN_TEN = 1.2816  # of a normal distribution, either side


class Grams(NamedTuple):
    """What a head weighs: likely, and between which figures eight times in ten. In g."""

    low: float
    likely: float
    high: float


class Window(NamedTuple):
    """Days since planting out on which a head weighs what is wanted; None: not within the days looked at."""

    earliest: int | None
    likely: int | None
    latest: int | None


def grams_on(curve: Sequence[float], day: float, scale: Scale, today: float) -> Grams:
    """What a head weighs on a day since planting out, in g.

    scale: as believed today; the past is as sure as today.
    """
    then = scale.ahead(max(0.0, day - today))
    likely = at_day(curve, day) * then.factor
    spread = exp(Z_EIGHT_IN_TEN * then.log_sd)
    return Grams(likely / spread, likely, likely * spread)


def window(curve: Sequence[float], wanted_g: float, scale: Scale, today: float) -> Window:
    """The days on which the head may first weigh `wanted_g`, above 0: at best, likely, and at worst."""
    days = [grams_on(curve, day, scale, today) for day in range(len(curve))]
    return Window(
        _first([day.high for day in days], wanted_g),
        _first([day.likely for day in days], wanted_g),
        _first([day.low for day in days], wanted_g),
    )


def _first(grams: Sequence[float], wanted_g: float) -> int | None:
    return next((day for day, each in enumerate(grams) if each >= wanted_g), None)
