"""A product on the shelf: what a gram or a millilitre of it brings, by its formula or by its label.

A product is `pure` where its formula is known: then its charges balance, and it dissolves as far as the table of
its salt says. What a label leaves out (the partner of an ion, what keeps a concentrate clear) is unknown.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from math import nan

from daemon.crop.elements import (
    Amounts,
    Element,
    alkalinity_meq,
    g_per_mol,
    mg_per_g,
    of_oxide,
    scaled,
)


class Kind(StrEnum):
    """What a product is for."""

    SALT = "salt"
    CHELATE = "chelate"
    ACID = "acid"
    BASE = "base"
    LABEL = "label"


@dataclass(frozen=True, slots=True)
class Product:
    """One thing on the shelf. mg_per_g: what a gram of it brings.

    density_g_per_ml: of a liquid, which is measured in mL; None of what is weighed.
    solubility: (temperature in °C, grams in 1 kg of water), rising; empty where it is not known.
    nitrogen_untold: its label does not tell which kind its nitrogen is.
    """

    name: str
    about: str
    kind: Kind
    mg_per_g: Amounts
    formula: str = ""
    percent: float = 100.0
    density_g_per_ml: float | None = None
    price_per_g: float | None = None
    oxidiser: bool = False
    solubility: tuple[tuple[float, float], ...] = ()
    nitrogen_untold: bool = False

    @property
    def pure(self) -> bool:
        """Whether its charges balance."""
        return bool(self.formula)

    @property
    def liquid(self) -> bool:
        """Whether it is measured in mL."""
        return self.density_g_per_ml is not None

    @property
    def unit(self) -> str:
        """What it is measured in."""
        return "mL" if self.liquid else "g"

    @property
    def acid_meq_per_g(self) -> float:
        """Alkalinity that a gram neutralises; 0 or less for what is no acid, or by its label alone."""
        return -alkalinity_meq(self.mg_per_g) if self.pure else 0.0

    def measured(self, grams: float) -> float:
        """Grams in the unit that it is measured in."""
        return grams / self.density_g_per_ml if self.density_g_per_ml else grams

    def grams(self, measured: float) -> float:
        """What it weighs, of an amount in the unit that it is measured in."""
        return measured * self.density_g_per_ml if self.density_g_per_ml else measured

    def has(self, *elements: Element) -> bool:
        """Whether it brings any of them."""
        return any(self.mg_per_g.get(element, 0.0) > 0.0 for element in elements)


def by_formula(
    name: str,
    about: str,
    kind: Kind,
    formula: str,
    *,
    percent: float = 100.0,
    density_g_per_ml: float | None = None,
    solubility: tuple[tuple[float, float], ...] = (),
    oxidiser: bool = False,
) -> Product:
    """A substance, or percent by weight of it in water. Raises FormulaError."""
    held = mg_per_g(formula, chelate=kind is Kind.CHELATE)
    return Product(
        name=name,
        about=about,
        kind=kind,
        mg_per_g=scaled(held, percent / 100.0),
        formula=formula,
        percent=percent,
        density_g_per_ml=density_g_per_ml,
        oxidiser=oxidiser,
        solubility=solubility if percent == 100.0 else (),
    )


_NITROGEN_ON_LABEL = {
    "nitrate_N": Element.NITRATE_N,
    "ammonium_N": Element.AMMONIUM_N,
    "urea_N": Element.UREA_N,
    "N": Element.NITRATE_N,
}
_OXIDES = ("P2O5", "K2O", "CaO", "MgO", "SO3")


def by_label(
    name: str, about: str, label_percent: Mapping[str, float], *, density_g_per_ml: float | None = None
) -> Product:
    """A product by its label, in percent by weight: N by its kind, P2O5, K2O, CaO, MgO, SO3 or elements.

    Nitrogen whose kind is not told (N) is taken as nitrate. Raises ValueError for a word no label uses.
    """
    held: dict[Element, float] = {}
    for word, percent in label_percent.items():
        element, share = _on_label(word)
        held[element] = held.get(element, 0.0) + 10.0 * percent * share
    return Product(
        name=name,
        about=about,
        kind=Kind.LABEL,
        mg_per_g=held,
        density_g_per_ml=density_g_per_ml,
        nitrogen_untold=label_percent.get("N", 0.0) > 0.0,
    )


def _on_label(word: str) -> tuple[Element, float]:
    if word in _NITROGEN_ON_LABEL:
        return _NITROGEN_ON_LABEL[word], 1.0
    return of_oxide(word) if word in _OXIDES else (Element(word), 1.0)


def priced(product: Product, *, per_kg: float | None = None, per_l: float | None = None) -> Product:
    """The same with its price. Raises ValueError for a price per litre of what is weighed."""
    if per_l is not None:
        if product.density_g_per_ml is None:
            raise ValueError(f"{product.name}: price_per_l, and it is weighed; tell price_per_kg or its density")
        return replace(product, price_per_g=per_l / 1000.0 / product.density_g_per_ml)
    return replace(product, price_per_g=None if per_kg is None else per_kg / 1000.0)


def dissolves_g_per_kg(product: Product, temperature_c: float) -> float:
    """Grams that dissolve in 1 kg of water, alone; NaN where nothing is known.

    Straight lines between the temperatures of its table. Colder than the first, in proportion to the kelvins
    above -20 °C, which is below every table that has more rows; warmer than the last, as the last.
    """
    if not product.solubility:
        return nan
    warm = [at_c for at_c, _ in product.solubility]
    first_c, first = product.solubility[0]
    if temperature_c <= first_c:
        return first * max(0.0, temperature_c + 20.0) / (first_c + 20.0)
    above = bisect_right(warm, temperature_c)
    low_c, low = product.solubility[above - 1]
    if above == len(warm):
        return low
    high_c, high = product.solubility[above]
    return low + (high - low) * (temperature_c - low_c) / (high_c - low_c)


def mol_per_g(product: Product) -> float:
    """Moles of its formula in a gram of it. Raises FormulaError where it has none."""
    return product.percent / 100.0 / g_per_mol(product.formula)
