"""From exact grams to what a scale or a cylinder can do, what that changes, and what to do where it cannot.

Trace elements for one tank are often less than a step of the scale. Those are weighed for many fillings into a
bottle of a litre, and a measured part of that goes in: `Bottle`, one for the trace elements, one for iron.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import floor

from daemon.crop.contents import Portion
from daemon.crop.elements import TRACES, Element
from daemon.crop.products import Kind, Product
from daemon.crop.saturation import most_g_per_l
from daemon.crop.stocks import Place, place

WELL_ENOUGH = 0.05  # of a portion, lost or added by rounding
BOTTLE_ML = 1000.0
_FILLINGS = (10, 20, 50, 100, 200, 500, 1000)
_STEPS_TO_MEASURE = 10.0  # of the cylinder, for 5 %
_FULL = 0.5  # of what dissolves
_COLD_C = 15.0
_UNKNOWN_G_PER_L = 20.0  # what dissolves of a product that no table knows: a careful guess


@dataclass(frozen=True, slots=True)
class Weighed:
    """One portion as a person measures it, in the product's unit, in whole steps of the scale or cylinder."""

    product: Product
    exact: float
    measured: float
    step: float

    @property
    def off(self) -> float:
        """What rounding changes, as a share of the portion."""
        return (self.measured - self.exact) / self.exact

    @property
    def fits(self) -> bool:
        """Whether it can be measured well enough."""
        return abs(self.off) <= WELL_ENOUGH

    @property
    def portion(self) -> Portion:
        """What goes in, so measured."""
        return Portion(self.product, self.product.grams(self.measured))


@dataclass(frozen=True, slots=True)
class Bottle:
    """Salts weighed for so many fillings into a litre of water, of which take_ml go in each time."""

    fillings: int
    weighed: tuple[Weighed, ...]

    @property
    def take_ml(self) -> float:
        """For one filling."""
        return BOTTLE_ML / self.fillings

    @property
    def portions(self) -> tuple[Portion, ...]:
        """What goes in with it each time."""
        return tuple(Portion(w.product, w.portion.grams / self.fillings) for w in self.weighed)

    @property
    def worst(self) -> float:
        """The largest of what rounding changes, as a share."""
        return max(abs(weighed.off) for weighed in self.weighed)


@dataclass(frozen=True, slots=True)
class Weighing:
    """What is measured by itself, and the bottles for what the scale is too coarse for."""

    single: tuple[Weighed, ...]
    bottles: tuple[Bottle, ...]

    @property
    def portions(self) -> tuple[Portion, ...]:
        """All that goes in, so measured."""
        return (*(w.portion for w in self.single), *(p for bottle in self.bottles for p in bottle.portions))

    @property
    def too_coarse(self) -> tuple[Weighed, ...]:
        """What cannot be measured well enough either way."""
        return tuple(
            w for group in (self.single, *(b.weighed for b in self.bottles)) for w in group if not w.fits
        )


def weighing(portions: Iterable[Portion], scale_g: float, measure_ml: float) -> Weighing:
    """Portions in steps of the scale or, of a liquid, of the cylinder; bottles where that is too coarse.

    Acid is rounded down: what is short can be added, what is too much cannot be taken out.
    """
    plain = [_weighed(portion, scale_g, measure_ml) for portion in portions]
    groups = [[w for w in plain if not w.fits and _bottled(w.product) is where] for where in (Place.A, Place.B)]
    bottles = [_bottle(group, scale_g, measure_ml) for group in groups if group]
    made = tuple(bottle for bottle in bottles if bottle is not None)
    inside = {w.product.name for bottle in made for w in bottle.weighed}
    return Weighing(tuple(w for w in plain if w.product.name not in inside), made)


def _weighed(portion: Portion, scale_g: float, measure_ml: float) -> Weighed:
    exact, step = portion.product.measured(portion.grams), measure_ml if portion.product.liquid else scale_g
    steps = floor(exact / step) if portion.product.kind is Kind.ACID else round(exact / step)
    return Weighed(portion.product, exact, steps * step, step)


def _bottled(product: Product) -> Place | None:
    """Which bottle a trace element may go into: iron by itself (A), the others together (B)."""
    if product.liquid or product.has(Element.CA) or not product.has(*TRACES):
        return None
    return Place.A if place(product) is Place.A else Place.B


def _bottle(group: Sequence[Weighed], scale_g: float, measure_ml: float) -> Bottle | None:
    """For the fewest fillings at which each can be weighed well, or for those at which the worst is best."""
    tried = []
    for fillings in _FILLINGS:
        if BOTTLE_ML / fillings < _STEPS_TO_MEASURE * measure_ml:
            break
        many = (Portion(w.product, w.exact * fillings) for w in group)
        bottle = Bottle(fillings, tuple(_weighed(portion, scale_g, measure_ml) for portion in many))
        if all(w.measured <= _most(w.product) for w in bottle.weighed):
            tried.append(bottle)
    well = [bottle for bottle in tried if bottle.worst <= WELL_ENOUGH]
    return well[0] if well else min(tried, key=lambda bottle: bottle.worst, default=None)


def _most(product: Product) -> float:
    """Grams in the litre of a bottle that dissolve with ease."""
    return _FULL * most_g_per_l(product, _COLD_C) if product.solubility else _UNKNOWN_G_PER_L
