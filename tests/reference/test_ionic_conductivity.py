"""Each ion's conductivity against two published tables.

ionic_conductivity.csv: coefficients of McCleskey, Nordstrom, Ryan & Ball 2012, Geochim. Cosmochim. Acta 77:369,
and limiting molar conductivities at 25 °C of the CRC Handbook (Vanysek), divalent ions per mole.
"""

from __future__ import annotations

from math import sqrt

import pytest

from config.chemistry import Equilibrium, conductivity_ms_per_cm
from tests.reference.published import rows

FIELDS = {
    **{"H+": "hydrogen", "OH-": "hydroxide", "Ca++": "calcium", "Mg++": "magnesium", "K+": "potassium"},
    **{"Na+": "sodium", "NH4+": "ammonium", "NO3-": "nitrate", "Cl-": "chloride", "SO4--": "sulfate"},
    **{
        "HCO3-": "bicarbonate",
        "CO3--": "carbonate",
        "H2PO4-": "dihydrogenphosphate",
        "HPO4--": "hydrogenphosphate",
    },
}
BY_MCCLESKEY = ["H+", "OH-", "Ca++", "Mg++", "K+", "Na+", "NH4+", "NO3-", "Cl-", "SO4--", "HCO3-"]
NOTHING = Equilibrium(7.0, *[0.0] * (len(Equilibrium._fields) - 1))
MOL_PER_KG = 0.001


def s_cm2_per_mol(ion: str, temperature_c: float, ionic_strength: float) -> float:
    """Molar conductivity of one ion as our chemistry has it."""
    water = NOTHING._replace(ionic_strength=ionic_strength, **{FIELDS[ion]: MOL_PER_KG})
    return conductivity_ms_per_cm(water, temperature_c) / MOL_PER_KG


@pytest.mark.parametrize("ion", BY_MCCLESKEY)
def test_an_ion_of_mccleskeys_table_follows_it(ion: str) -> None:
    """Through its formula at 0..50 °C and any ionic strength; sqrt(I) over the whole solution."""
    prefix = "McCleskey 2012 "
    c = {
        row["quantity"].removeprefix(prefix): float(row["value"])
        for row in rows("ionic_conductivity.csv", ion=ion)
    }
    for t in (0.0, 18.5, 25.0, 50.0):
        for ionic_strength in (0.0, 0.005, 0.05):
            root = sqrt(ionic_strength)
            slowed = (c["A2"] * t * t + c["A1"] * t + c["A0"]) * root / (1.0 + c["B"] * root)
            expected = c["lam2"] * t * t + c["lam1"] * t + c["lam0"] - slowed
            assert s_cm2_per_mol(ion, t, ionic_strength) == pytest.approx(expected, rel=1e-9)


def test_every_limiting_conductivity_is_met_within_2_percent() -> None:
    """At 25 °C, of all ions that the chemistry knows; McCleskey's own lie within that of the handbook's."""
    checked = 0
    for row in rows("ionic_conductivity.csv", quantity="limiting molar conductivity 25 C"):
        if row["ion"] in FIELDS:
            assert s_cm2_per_mol(row["ion"], 25.0, 0.0) == pytest.approx(float(row["value"]), rel=0.02), row[
                "ion"
            ]
            checked += 1
    assert checked == len(FIELDS)
