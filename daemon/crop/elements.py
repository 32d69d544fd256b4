"""Elements of plant food: their masses, what a formula or an oxide on a label holds, and amounts of them.

    formula  ->  mg of each element per g  ->  mg/L in the tank  ->  totals in mol/L, for the water's chemistry

Amounts are a mapping from Element to mg (per gram, per litre: the name says which); one left out is 0. Nitrogen
is kept by its kind, since a plant takes ammonium otherwise than nitrate. Masses: standard atomic masses (IUPAC,
abridged).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from enum import StrEnum
from functools import cache

from config.chemistry import Totals

ATOM_G_PER_MOL = {
    **{"H": 1.008, "B": 10.81, "C": 12.011, "N": 14.007, "O": 15.999, "Na": 22.990, "Mg": 24.305, "P": 30.974},
    **{"S": 32.06, "Cl": 35.45, "K": 39.098, "Ca": 40.078, "Mn": 54.938, "Fe": 55.845, "Cu": 63.546},
    **{"Zn": 65.38, "Mo": 95.95},
    **{"NH4": 14.007 + 4.0 * 1.008},  # kept together: nitrogen of another kind than nitrate's
}
MG_CACO3_PER_MEQ = 50.043
_ATOM = re.compile(r"(NH4|[A-Z][a-z]?)(\d*)")


class Element(StrEnum):
    """What a solution is told by; nitrogen by its kind."""

    NITRATE_N = "NO3-N"
    AMMONIUM_N = "NH4-N"
    UREA_N = "urea-N"
    P = "P"
    K = "K"
    CA = "Ca"
    MG = "Mg"
    S = "S"
    FE = "Fe"
    MN = "Mn"
    ZN = "Zn"
    B = "B"
    CU = "Cu"
    MO = "Mo"
    NA = "Na"
    CL = "Cl"
    CARBONATE_C = "CO3-C"


Amounts = Mapping[Element, float]

NITROGEN = (Element.NITRATE_N, Element.AMMONIUM_N, Element.UREA_N)
TRACES = (Element.FE, Element.MN, Element.ZN, Element.B, Element.CU, Element.MO)

G_PER_MOL: Mapping[Element, float] = {
    element: ATOM_G_PER_MOL[{"NO3-N": "N", "NH4-N": "N", "urea-N": "N", "CO3-C": "C"}.get(element, element)]
    for element in Element
}
# Charges that an element brings to the balance that decides pH: phosphate as H2PO4-, which is nearly all of it
# below pH 6.5. Chelated iron, boric acid and urea bring none.
_CHARGE: Mapping[Element, int] = {
    **{Element.CA: 2, Element.MG: 2, Element.MN: 2, Element.ZN: 2, Element.CU: 2},
    **{Element.K: 1, Element.NA: 1, Element.AMMONIUM_N: 1},
    **{Element.NITRATE_N: -1, Element.CL: -1, Element.P: -1, Element.S: -2, Element.MO: -2},
}


class FormulaError(ValueError):
    """A formula that cannot be read."""


def atoms_in(formula: str) -> dict[str, int]:
    """How many atoms of each kind a formula has, as "5Ca(NO3)2·NH4NO3·10H2O"; NH4 counts as one atom.

    Raises FormulaError.
    """
    counted: dict[str, int] = {}
    for part in formula.split("·"):
        leading = re.match(r"\d*", part)
        often = int((leading and leading[0]) or 1)
        for atom, count in _one_part(part.lstrip("0123456789"), formula).items():
            counted[atom] = counted.get(atom, 0) + count * often
    return counted


def _one_part(text: str, formula: str) -> dict[str, int]:
    """The atoms of a formula without dots; its brackets are written out from within."""
    while inner := re.search(r"\(([^()]*)\)(\d*)", text):
        text = text[: inner.start()] + inner[1] * int(inner[2] or 1) + text[inner.end() :]
    counted: dict[str, int] = {}
    at = 0
    while not at or at < len(text):
        found = _ATOM.match(text, at)
        if found is None or found[1] not in ATOM_G_PER_MOL:
            raise FormulaError(f"formula {formula!r}: cannot be read from {text[at:]!r} on; as Ca(NO3)2·4H2O")
        counted[found[1]] = counted.get(found[1], 0) + int(found[2] or 1)
        at = found.end()
    return counted


@cache
def g_per_mol(formula: str) -> float:
    """Molar mass of a formula. Raises FormulaError."""
    return sum(count * ATOM_G_PER_MOL[atom] for atom, count in atoms_in(formula).items())


def mg_per_g(formula: str, *, chelate: bool = False) -> dict[Element, float]:
    """What a gram of it holds of each element. NH4 is ammonium, other nitrogen nitrate; carbon is carbonate.

    chelate: nitrogen, carbon and sodium belong to what holds the metal, and feed nothing. Raises FormulaError.
    """
    counted = atoms_in(formula)
    moles = {Element(atom): count for atom, count in counted.items() if atom in set(Element)}
    moles[Element.AMMONIUM_N] = counted.get("NH4", 0)
    moles[Element.NITRATE_N] = counted.get("N", 0)
    moles[Element.CARBONATE_C] = counted.get("C", 0)
    if chelate:
        moles = {element: count for element, count in moles.items() if element in TRACES}
    share = 1000.0 / g_per_mol(formula)
    return {element: share * count * G_PER_MOL[element] for element, count in moles.items() if count}


def of_oxide(oxide: str) -> tuple[Element, float]:
    """The element of an oxide on a label and its share of the mass, as P2O5 -> P, 0.4364. Raises FormulaError."""
    element = next(Element(atom) for atom in atoms_in(oxide) if atom != "O")
    return element, mg_per_g(oxide)[element] / 1000.0


def added(*parts: Amounts) -> dict[Element, float]:
    """The sum of amounts."""
    whole: dict[Element, float] = {}
    for part in parts:
        for element, amount in part.items():
            whole[element] = whole.get(element, 0.0) + amount
    return whole


def scaled(amounts: Amounts, factor: float) -> dict[Element, float]:
    """Amounts, each as many times."""
    return {element: factor * amount for element, amount in amounts.items()}


def nitrogen(amounts: Amounts) -> float:
    """All nitrogen of amounts, in their unit."""
    return sum(amounts.get(kind, 0.0) for kind in NITROGEN)


def ammonium_share(amounts: Amounts) -> float:
    """Of all nitrogen, what is ammonium or becomes it (urea); 0 where there is none."""
    whole = nitrogen(amounts)
    return (whole - amounts.get(Element.NITRATE_N, 0.0)) / whole if whole > 0.0 else 0.0


def alkalinity_meq(amounts_mg: Amounts) -> float:
    """Acid that amounts in mg neutralise down to about pH 5.8, in meq; below 0 for an acid.

    Phosphoric acid counts as one proton: the second leaves above pH 7 (and of K2HPO4 the one that it takes up).
    """
    return sum(_CHARGE.get(element, 0) * mg / G_PER_MOL[element] for element, mg in amounts_mg.items())


def mg_caco3(meq: float) -> float:
    """Alkalinity in the unit of a laboratory, mg CaCO3."""
    return MG_CACO3_PER_MEQ * meq


def totals_of(mg_per_l: Amounts) -> Totals:
    """Amounts in mg/L as the chemistry takes them, in mol/L.

    Manganese, zinc and copper are counted as magnesium, of the same charge and nearly as fast; iron in its
    chelate, boric acid, molybdate and urea conduct next to nothing and are left out.
    """
    mol = {element: mg / G_PER_MOL[element] / 1000.0 for element, mg in mg_per_l.items()}

    def of(*elements: Element) -> float:
        return sum(mol.get(element, 0.0) for element in elements)

    return Totals(
        calcium=of(Element.CA),
        magnesium=of(Element.MG, Element.MN, Element.ZN, Element.CU),
        potassium=of(Element.K),
        sodium=of(Element.NA),
        ammonium=of(Element.AMMONIUM_N),
        nitrate=of(Element.NITRATE_N),
        chloride=of(Element.CL),
        sulfate=of(Element.S),
        phosphate=of(Element.P),
        carbonate=of(Element.CARBONATE_C),
    )


def amounts_of(totals: Totals) -> dict[Element, float]:
    """A water in mol/L as mg/L of each element; its carbonate likewise."""
    mol = {
        **{Element.CA: totals.calcium, Element.MG: totals.magnesium, Element.K: totals.potassium},
        **{Element.NA: totals.sodium, Element.AMMONIUM_N: totals.ammonium, Element.NITRATE_N: totals.nitrate},
        **{Element.CL: totals.chloride, Element.S: totals.sulfate, Element.P: totals.phosphate},
        **{Element.CARBONATE_C: totals.carbonate},
    }
    return {element: 1000.0 * amount * G_PER_MOL[element] for element, amount in mol.items() if amount > 0.0}
