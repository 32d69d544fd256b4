"""daemon.crop.elements: what formulas and oxides hold, by tabulated masses; amounts to totals and back.

tests/reference/molar_masses.csv: molar masses and element fractions computed by an independent program.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from config.chemistry import Totals, strong_charge
from daemon.crop.elements import (
    Amounts,
    Element,
    FormulaError,
    added,
    alkalinity_meq,
    ammonium_share,
    amounts_of,
    atoms_in,
    g_per_mol,
    mg_caco3,
    mg_per_g,
    nitrogen,
    of_oxide,
    scaled,
    totals_of,
)
from tests.reference.published import rows

MASSES = list(rows("molar_masses.csv"))


def test_every_tabulated_substance_weighs_what_it_should() -> None:
    """Molar masses within 1e-4."""
    molar = [row for row in MASSES if row["quantity"] == "molar mass"]
    assert len(molar) == 39
    for row in molar:
        assert g_per_mol(row["formula"]) == pytest.approx(float(row["value"]), rel=1e-4), row["substance"]


def test_every_tabulated_share_is_met() -> None:
    """Element fractions within 1e-4 of the value; the nitrogen of a chelate is none that feeds."""
    shares = [row for row in MASSES if row["quantity"].endswith("mass fraction")]
    assert len(shares) == 52
    for row in shares:
        atom = row["quantity"].split()[0]
        held = mg_per_g(row["formula"])
        found = nitrogen(held) if atom == "N" else held[Element(atom)]
        assert found / 10.0 == pytest.approx(float(row["value"]), rel=2e-4), row["substance"]


def test_nitrogen_is_told_apart() -> None:
    """Of the 5:1:10 double salt 1.30 % is ammonium nitrogen, of 15.55 %; ammonium nitrate has half of each."""
    double = mg_per_g("5Ca(NO3)2·NH4NO3·10H2O")
    assert double[Element.AMMONIUM_N] == pytest.approx(13.0, abs=0.05)
    assert nitrogen(double) == pytest.approx(155.54, abs=0.02)
    half = mg_per_g("NH4NO3")
    assert half[Element.AMMONIUM_N] == half[Element.NITRATE_N]
    assert ammonium_share(half) == 0.5
    assert ammonium_share({}) == 0.0
    assert ammonium_share({Element.UREA_N: 1.0, Element.NITRATE_N: 3.0}) == 0.25


def test_a_chelate_feeds_its_metal_only() -> None:
    """11.39 % of iron, and no nitrogen, sodium or carbonate."""
    assert mg_per_g("C14H18FeN3Na2O10", chelate=True) == pytest.approx({Element.FE: 113.94}, rel=1e-4)


# Conversion factors from the molar masses of molar_masses.csv; CaO, MgO and SO3 from standard atomic masses.
@pytest.mark.parametrize(
    ("oxide", "element", "share"),
    [
        ("P2O5", "P", 0.43643),
        ("K2O", "K", 0.83015),
        ("CaO", "Ca", 0.7147),
        ("MgO", "Mg", 0.6030),
        ("SO3", "S", 0.4005),
    ],
)
def test_labels_told_as_oxides(oxide: str, element: str, share: float) -> None:
    """Within 1e-4."""
    found, found_share = of_oxide(oxide)
    assert found == Element(element)
    assert found_share == pytest.approx(share, abs=5e-5)


@pytest.mark.parametrize("formula", ["", "Xx", "ca", "Ca(NO3", "CaNO3)", "Ca NO3", "Ca-NO3", "5", "Fe2+"])
def test_what_is_no_formula_is_refused(formula: str) -> None:
    """With the formula and where it cannot be read."""
    with pytest.raises(FormulaError, match="cannot be read"):
        g_per_mol(formula)


def test_dots_and_brackets_are_counted() -> None:
    """Ten waters, and brackets in brackets."""
    assert atoms_in("5Ca(NO3)2·NH4NO3·10H2O") == {"Ca": 5, "N": 11, "O": 43, "NH4": 1, "H": 20}
    assert atoms_in("Mg(NO3)2(H2O)6") == atoms_in("Mg(NO3)2·6H2O")
    assert atoms_in("Ca((NO3)2)2") == {"Ca": 1, "N": 4, "O": 12}


# What one mole of each does to alkalinity down to pH 5.8, in eq: acids and bases of the trade.
@pytest.mark.parametrize(
    ("formula", "eq"),
    [
        ("HNO3", -1.0),
        ("H2SO4", -2.0),
        ("H3PO4", -1.0),
        ("HCl", -1.0),
        ("KOH", 1.0),
        ("K2CO3", 2.0),
        ("KHCO3", 1.0),
        ("K2HPO4", 1.0),
        ("KH2PO4", 0.0),
        ("NH4H2PO4", 0.0),
        ("Ca(NO3)2·4H2O", 0.0),
        ("5Ca(NO3)2·NH4NO3·10H2O", 0.0),
        ("MgSO4·7H2O", 0.0),
        ("MnSO4·H2O", 0.0),
        ("H3BO3", 0.0),
        ("Na2B4O7·10H2O", 2.0),
        ("Na2MoO4·2H2O", 0.0),
    ],
)
def test_what_neutralises_and_what_does_not(formula: str, eq: float) -> None:
    """Salts leave alkalinity as it is; phosphoric acid takes one proton's worth."""
    assert alkalinity_meq(mg_per_g(formula)) * g_per_mol(formula) / 1000.0 == pytest.approx(eq, abs=1e-3)


def test_alkalinity_as_a_laboratory_tells_it() -> None:
    """50.043 mg CaCO3 is one milliequivalent (tests/reference/alkalinity.csv)."""
    (row,) = rows("alkalinity.csv", quantity="mass of CaCO3 per milliequivalent")
    assert mg_caco3(1.0) == pytest.approx(float(row["value"]), rel=1e-4)


amounts = st.dictionaries(st.sampled_from(list(Element)), st.floats(0.0, 1000.0), max_size=10)


@given(one=amounts, other=amounts, factor=st.floats(0.0, 10.0))
def test_amounts_add_up(one: Amounts, other: Amounts, factor: float) -> None:
    """Whichever comes first, and scaled before or after."""
    whole = added(one, other)
    assert whole == pytest.approx(added(other, one))
    assert scaled(whole, factor) == pytest.approx(added(scaled(one, factor), scaled(other, factor)))


@given(totals=st.builds(Totals, *(st.floats(0.0, 0.1) for _ in Totals._fields)))
def test_water_to_elements_and_back(totals: Totals) -> None:
    """The same totals."""
    assert totals_of(amounts_of(totals)) == pytest.approx(totals)


def test_trace_metals_count_as_magnesium_where_charges_are_balanced() -> None:
    """So that manganese sulfate is no acid."""
    assert strong_charge(totals_of(mg_per_g("MnSO4·H2O"))) == pytest.approx(0.0, abs=1e-6)
