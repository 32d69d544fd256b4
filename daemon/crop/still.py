"""A still reservoir, sized once for the whole crop: what it drinks, and how its level should fall. Pure.

No pump moves or aerates this water. As it falls, roots grow in the moist gap above it and live by that air; so
the reservoir is filled once, falls on purpose, and is never filled up again.

    heads x g each x L per kg  ->  thirst, to a factor of two      ->  how large it must be
    the growth of the heads    ->  which share of it by which day  ->  level, gap

Water for a kilogram: Barbosa et al. 2015, IJERPH 12:6879, with the evaporation of a modelled greenhouse; how much
that is elsewhere is known to a factor of two. That it goes with growth: Ciolkosz, Albright & Both 1998, Acta
Hort. 456.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

WATER_L_PER_KG = 20.0
UNSURE_TIMES = 2.0
LEFT_SHARE = 0.2  # of a full one stays at the end: the salts of what was drunk are in it (common practice)
ROUNDING = 1e-9
G_PER_KG = 1000.0
CM3_PER_L = 1000.0


class Litres(NamedTuple):
    """An amount of water that is known to a factor of two either way, in L."""

    low: float
    likely: float
    high: float

    def times(self, share: float) -> Litres:
        """That share of it."""
        return Litres(self.low * share, self.likely * share, self.high * share)


class Day(NamedTuple):
    """A day of a still reservoir. drunk: since the start. level: likely share of the full one. gap_cm: of air."""

    day: int
    drunk: Litres
    level: float
    level_low: float
    level_high: float
    gap_cm: float | None


def drunk(heads: int, grams_each: float, l_per_kg: float = WATER_L_PER_KG) -> Litres:
    """What so many heads drink until each weighs so much fresh, evaporation included, in L."""
    likely_l = heads * grams_each / G_PER_KG * l_per_kg
    return Litres(likely_l / UNSURE_TIMES, likely_l, likely_l * UNSURE_TIMES)


def volume_l(thirst: Litres) -> Litres:
    """How large the reservoir must be for the crop, in L: high is enough even for the thirstiest."""
    return thirst.times(1.0 / (1.0 - LEFT_SHARE))


def draw_down(
    curve: Sequence[float], thirst: Litres, full_l: float, surface_cm2: float | None = None
) -> tuple[Day, ...]:
    """How the level should fall, day by day from planting out to the last of the curve (g per head).

    thirst: of all heads until then. full_l: of the full reservoir, above 0. surface_cm2: of its water, above 0.
    """
    gain_g = curve[-1] - curve[0]
    shares = [max(0.0, grams - curve[0]) / gain_g if gain_g > 0.0 else 0.0 for grams in curve]
    return tuple(_day(day, thirst.times(share), full_l, surface_cm2) for day, share in enumerate(shares))


def _day(day: int, taken: Litres, full_l: float, surface_cm2: float | None) -> Day:
    fallen = [min(1.0, litres / full_l) for litres in taken]
    gap_cm = None if surface_cm2 is None else fallen[1] * full_l * CM3_PER_L / surface_cm2
    return Day(day, taken, 1.0 - fallen[1], 1.0 - fallen[2], 1.0 - fallen[0], gap_cm)


def empty_on(days: Sequence[Day]) -> int | None:
    """The first day on which the thirstiest plants leave less than LEFT_SHARE; None: on none of them."""
    return next((day.day for day in days if day.level_low < LEFT_SHARE - ROUNDING), None)
