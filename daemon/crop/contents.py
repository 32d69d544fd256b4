"""What a solution holds: mg/L of each element, EC with its doubt, pH, alkalinity, cost.

    water and portions  ->  contents  ->  Contents

Amounts are in grams; what is measured in mL is so by its density.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import sqrt

from config.chemistry import (
    ChemistryError,
    Totals,
    co2_in_air_equilibrium,
    conductivity_ms_per_cm,
    equilibrate,
    strong_charge,
)
from daemon.crop.elements import (
    Amounts,
    Element,
    added,
    alkalinity_meq,
    ammonium_share,
    amounts_of,
    scaled,
    totals_of,
)
from daemon.crop.products import Product
from daemon.crop.saturation import clear_up_to_ph

AT_C = 25.0  # EC is told at 25 °C
OUTSIDE_AIR_PPM = 420.0

# What the EC of a known composition is doubted by, as shares, one standard deviation each. The table of ions
# meets measured waters within 5 % (Stuyfzand's, tests/reference) and PHREEQC's nutrient solutions within 2.5 %.
_TABLE_DOUBT = 0.05
_PURITY_DOUBT = 0.02  # of salts as sold, and of scales (common practice)
_LABEL_DOUBT = 0.15  # of what a label leaves untold
_COVERAGE = 2.0  # to 95 %
_NOTHING = Totals()


@dataclass(frozen=True, slots=True)
class Portion:
    """So many grams of a product."""

    product: Product
    grams: float

    def brings(self, volume_l: float) -> dict[Element, float]:
        """What it brings to so many litres, in mg/L."""
        return scaled(self.product.mg_per_g, self.grams / volume_l)


@dataclass(frozen=True, slots=True)
class Contents:
    """What a solution holds. ec_doubt_ms_per_cm: 95 % are within that much.

    ph: just mixed, and at rest in air; None where a label leaves too much untold. clear_up_to_ph: above it
    calcium phosphate begins to fall out. cost: None where a price is missing.
    """

    mg_per_l: Amounts
    ec_ms_per_cm: float
    ec_doubt_ms_per_cm: float
    ph: tuple[float, float] | None
    clear_up_to_ph: float
    alkalinity_meq_per_l: float
    ammonium_share: float
    cost: float | None


class MixError(ValueError):
    """What is asked cannot be mixed; the message says why and what to do."""


def alkalinity_of(water: Totals) -> float:
    """Alkalinity of a water in meq/L."""
    return 1000.0 * (strong_charge(water) - water.phosphate)


def contents(water: Totals, volume_l: float, portions: Iterable[Portion]) -> Contents:
    """What so many litres of a water hold after these portions. Raises MixError for a solution that cannot be."""
    given = tuple(portions)
    pure, labelled = ([p for p in given if p.product.pure is known] for known in (True, False))
    totals = totals_with(water, volume_l, given)
    whole = added(amounts_of(water), *(portion.brings(volume_l) for portion in given))
    ec = ec_at_25(totals)
    by_label = ec_at_25(totals_with(_NOTHING, volume_l, labelled)) / ec if labelled else 0.0
    doubt = sqrt(_TABLE_DOUBT**2 + _PURITY_DOUBT**2 + (_LABEL_DOUBT * by_label) ** 2)
    return Contents(
        mg_per_l=whole,
        ec_ms_per_cm=ec,
        ec_doubt_ms_per_cm=_COVERAGE * doubt * ec,
        ph=None if labelled else _ph(totals),
        clear_up_to_ph=clear_up_to_ph(totals, AT_C),
        alkalinity_meq_per_l=alkalinity_of(water) + _alkalinity_brought(pure, volume_l),
        ammonium_share=ammonium_share(whole),
        cost=_cost(given),
    )


def ec_at_25(totals: Totals) -> float:
    """EC in mS/cm at 25 °C of a solution that no air has reached. Raises MixError where it cannot be."""
    try:
        return conductivity_ms_per_cm(equilibrate(totals, AT_C), AT_C)
    except ChemistryError as error:
        raise MixError(f"this solution cannot be reckoned: {error}") from error


def _ph(totals: Totals) -> tuple[float, float] | None:
    """pH just mixed, and at rest in air; None where none is found, which takes a flood of acid or base."""
    held_co2 = co2_in_air_equilibrium(AT_C, OUTSIDE_AIR_PPM)
    try:
        return equilibrate(totals, AT_C).ph, equilibrate(totals, AT_C, held_co2=held_co2).ph
    except (ChemistryError, OverflowError):
        return None


def totals_with(water: Totals, volume_l: float, portions: Sequence[Portion]) -> Totals:
    """All that is dissolved. The ions that labels leave untold are taken as chloride or sodium, middling ones."""
    brought = totals_of(added(*(portion.brings(volume_l) for portion in portions)))
    untold = _alkalinity_brought((p for p in portions if not p.product.pure), volume_l) / 1000.0
    whole = Totals._make(map(sum, zip(water, brought, strict=True)))
    return whole._replace(chloride=whole.chloride + max(0.0, untold), sodium=whole.sodium + max(0.0, -untold))


def _alkalinity_brought(portions: Iterable[Portion], volume_l: float) -> float:
    return sum(alkalinity_meq(portion.brings(volume_l)) for portion in portions)


def _cost(portions: Sequence[Portion]) -> float | None:
    prices = [p.product.price_per_g for p in portions]
    if any(price is None for price in prices):
        return None
    return sum((price or 0.0) * portion.grams for price, portion in zip(prices, portions, strict=True))
