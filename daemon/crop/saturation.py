"""What falls out of a solution: gypsum, calcium phosphate, and the salts themselves where a stock is too strong.

Three questions, each answered on the careful side:

    full         salts in a concentrate, by the product of their ions against that of their own saturated solution
    gypsum_at_most, brushite_at_most     in a concentrate, as if nothing were bound in ion pairs
    brushite     in a tank, where ion pairs are reckoned with

A saturation index is the decimal logarithm of what is there over what stays dissolved: above 0 it may fall out.

Sources. Gypsum: log K -4.58 at 25 °C, and the Debye-Hueckel parameters of the ions, as in the public-domain
PHREEQC database (memory; the tests hold them to the program itself). Brushite, CaHPO4·2H2O: 10^-6.59 at 25 °C,
Gregory, Moreno, Patel & Brown 1970, J. Res. NBS 74A:461 (memory). Both change by less than 0.1 from 5 to 35 °C.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import cache
from math import exp, inf, log, log10, sqrt
from typing import NamedTuple

from config.chemistry import ChemistryError, Constants, Equilibrium, Totals, constants_at, equilibrate
from daemon.crop.elements import G_PER_MOL, Element, amounts_of, g_per_mol, mg_per_g
from daemon.crop.products import Kind, Product, dissolves_g_per_kg

_LOG_GYPSUM = -4.58
_LOG_BRUSHITE = -6.59
_SALT_ML_PER_G = 0.5  # what a gram of salt adds to the volume (memory, about): a litre of stock is not a kilogram
_NOTHING = -inf
_HIGHEST_PH = 9.0  # beyond it phosphate turns into another, and no tank is there
_MOST_BASE = 0.02  # mol/L
_HALVINGS = 30
_DEBYE_B = 0.3286


class _Ion(NamedTuple):
    """Charge, and a and b of log10 gamma = -A z^2 sqrt(I) / (1 + B a sqrt(I)) + b I."""

    charge: int
    a: float
    b: float


_CALCIUM = _Ion(2, 5.0, 0.165)
_SULFATE = _Ion(2, 5.0, -0.04)
_H2PO4 = _Ion(1, 4.5, 0.0)
_HPO4 = _Ion(2, 4.0, 0.0)


def _log_gamma(ion: _Ion, ionic: float, constants: Constants) -> float:
    root = sqrt(ionic)
    return -constants.davies_a * ion.charge**2 * root / (1.0 + _DEBYE_B * ion.a * root) + ion.b * ionic


def _log(amount: float) -> float:
    return log10(amount) if amount > 0.0 else _NOTHING


def gypsum_at_most(totals: Totals, temperature_c: float) -> float:
    """Saturation index of gypsum if no calcium and no sulfate were bound elsewhere: it is no more than this.

    totals in mol/L. Raises ChemistryError outside 0..50 °C.
    """
    constants, ionic = constants_at(temperature_c), _all_free(totals)
    gammas = _log_gamma(_CALCIUM, ionic, constants) + _log_gamma(_SULFATE, ionic, constants)
    return _log(totals.calcium) + _log(totals.sulfate) + gammas - _LOG_GYPSUM


def brushite_at_most(totals: Totals, temperature_c: float) -> float:
    """Saturation index of calcium hydrogen phosphate if none of both were bound elsewhere, at the solution's pH.

    totals in mol/L. Raises ChemistryError outside 0..50 °C.
    """
    constants, ionic = constants_at(temperature_c), _all_free(totals)
    if not (totals.calcium > 0.0 and totals.phosphate > 0.0):
        return _NOTHING
    first, second = (_log_gamma(ion, ionic, constants) for ion in (_H2PO4, _HPO4))
    try:
        ratio = 10.0 ** (_log(constants.phosphoric_2) + equilibrate(totals, temperature_c).ph + first - second)
        share = ratio / (1.0 + ratio)
    except (ChemistryError, OverflowError):  # far beyond any stock that is sold: the worst is assumed
        share = 1.0
    gammas = _log_gamma(_CALCIUM, ionic, constants) + second
    return _log(totals.calcium) + _log(totals.phosphate * share) + gammas - _LOG_BRUSHITE


def _all_free(totals: Totals) -> float:
    """Ionic strength in mol/L with nothing in ion pairs, phosphate as H2PO4-."""
    single = (
        totals.potassium + totals.sodium + totals.ammonium + totals.nitrate + totals.chloride + totals.phosphate
    )
    return 0.5 * (single + totals.carbonate) + 2.0 * (totals.calcium + totals.magnesium + totals.sulfate)


def brushite(water: Equilibrium, temperature_c: float) -> float:
    """Saturation index of calcium hydrogen phosphate in a solution as weak as a tank's: to 0.1 mol/kg."""
    constants = constants_at(temperature_c)
    gammas = sum(_log_gamma(ion, water.ionic_strength, constants) for ion in (_CALCIUM, _HPO4))
    return _log(water.calcium) + _log(water.hydrogenphosphate) + gammas - _LOG_BRUSHITE


def clear_up_to_ph(totals: Totals, temperature_c: float) -> float:
    """The pH above which calcium phosphate begins to fall out of a tank; infinite where it never does to pH 9.

    totals in mol/L; base is thought added until it does. Where it does already, the pH as it is.
    """

    def with_base(base: float) -> Equilibrium:
        return equilibrate(totals._replace(potassium=totals.potassium + base), temperature_c)

    def clear(base: float) -> bool:
        return brushite(with_base(base), temperature_c) < 0.0

    most = _last(0.0, _MOST_BASE, lambda base: with_base(base).ph < _HIGHEST_PH)
    if clear(most):
        return inf
    return with_base(_last(0.0, most, clear)).ph


def _last(low: float, high: float, holds: Callable[[float], bool]) -> float:
    """Between low and high, where what holds at low ceases to hold."""
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if holds(middle) else (low, middle)
    return low


class Full(NamedTuple):
    """How full a concentrate is: `share` 1 is where the salt `of` begins to fall out."""

    share: float
    of: str


def full(totals: Totals, salts: Iterable[Product], temperature_c: float) -> Full:
    """The salt of these that is nearest to falling out of a concentrate of these totals (mol/L), as a share of 1.

    Any of them may form, whichever salts its ions came from: potassium sulfate from potassium nitrate and
    magnesium sulfate. As if ideal, which overstates it: in a mixture ions hold each other in solution.
    """
    there = amounts_of(totals)
    mol = {element: mg / G_PER_MOL[element] / 1000.0 for element, mg in there.items()}
    shares = [Full(_share(salt, mol, temperature_c), salt.name) for salt in salts if salt.kind is Kind.SALT]
    return max(shares, default=Full(0.0, ""))


def _share(salt: Product, mol: dict[Element, float], temperature_c: float) -> float:
    """(Ion product / that of the saturated solution)^(1 / number of ions): c/s where the salt is there alone."""
    parts = _ions(salt.formula)
    if any(not mol.get(element, 0.0) > 0.0 for element, _ in parts):
        return 0.0
    saturated = most_g_per_l(salt, temperature_c) / g_per_mol(salt.formula)
    logs = sum(count * log(mol[element] / (count * saturated)) for element, count in parts)
    return exp(logs / sum(count for _, count in parts))


@cache
def _ions(formula: str) -> tuple[tuple[Element, float], ...]:
    """How many of each a formula falls apart into."""
    whole = g_per_mol(formula)
    return tuple((element, mg * whole / 1000.0 / G_PER_MOL[element]) for element, mg in mg_per_g(formula).items())


def most_g_per_l(salt: Product, temperature_c: float) -> float:
    """Grams of a salt alone that dissolve in a litre of stock; NaN where nothing is known."""
    in_water = dissolves_g_per_kg(salt, temperature_c)
    return in_water / (1.0 + in_water * _SALT_ML_PER_G / 1000.0)
