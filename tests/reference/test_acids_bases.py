"""Strength of bottled acids and bases against printed tables and a published density formula.

acids_bases.csv: percent by weight, density and mol/L, each row with its source (printed reagent tables; Laliberte
2009, J. Chem. Eng. Data 54:1725).
"""

from __future__ import annotations

import re

import pytest

from sim_hw.reagents import PURE, Reagent
from tests.reference.published import rows

# Molar masses in g/mol from standard atomic masses (periodictable 2.1.0).
G_PER_MOL = {
    **{"phosphoric_acid": 97.994, "nitric_acid": 63.012, "sulfuric_acid": 98.072, "hydrochloric_acid": 36.458},
    **{"potassium_hydroxide": 56.105, "sodium_hydroxide": 39.997, "potassium_carbonate": 138.205},
    **{"potassium_bicarbonate": 100.114, "ammonium_nitrate": 80.043, "ammonium_sulfate": 132.134},
}


def printed() -> list[tuple[str, str, float, float]]:
    """Substance, strength, density and molarity of each pair of rows."""
    table: dict[tuple[str, str, str], dict[str, float]] = {}
    for row in rows("acids_bases.csv"):
        key = (row["substance"], row["strength"], row["source"].split(" (Laliberte")[0])
        table.setdefault(key, {})[row["quantity"]] = float(row["value"])
    return [(name, strength, pair["density"], pair["molarity"]) for (name, strength, _), pair in table.items()]


def test_every_strength_is_met_within_1_percent() -> None:
    """Percent and density give the printed mol/L."""
    assert len(printed()) == 48
    for name, strength, density, molarity in printed():
        percent = float(re.match(r"[\d.]+", strength)[0])  # type: ignore[index]
        bottle = {"substance": name.replace(" ", "_"), "percent": percent, "density_g_per_ml": density}
        made = Reagent.model_validate(bottle).mol_per_l("hoagland_1")
        assert made == pytest.approx(molarity, rel=0.01), (name, strength)


def test_every_substance_weighs_what_its_atoms_do() -> None:
    """Within 1e-4 of the tabulated molar masses, and none is without one."""
    assert {name: kind.g_per_mol for name, kind in PURE.items()} == pytest.approx(G_PER_MOL, rel=1e-4)
