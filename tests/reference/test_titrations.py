"""The simulated water against computed titrations and published equilibrium constants.

titrations.csv: pH of two waters against acid or base added, closed and after equilibration with air; each row
names the independent program and database that computed it (no measured titration of a nutrient solution was
found).
"""

from __future__ import annotations

import csv
from math import log10
from pathlib import Path

import pytest

from config.chemistry import Totals, co2_in_air_equilibrium, constants_at, equilibrate

TITRATIONS = list(csv.DictReader(Path(__file__).with_name("titrations.csv").read_text("utf-8").splitlines()))
BICARBONATE_WATER, NUTRIENT_WATER = "2 mmol/kg NaHCO3", "half Hoagland-1 salts + 1 mmol/kg KHCO3"
START = {
    BICARBONATE_WATER: (Totals(sodium=0.002, carbonate=0.002), 25.0),
    NUTRIENT_WATER: (
        Totals(
            calcium=0.0025,
            magnesium=0.001,
            potassium=0.004,
            nitrate=0.0075,
            sulfate=0.001,
            phosphate=0.0005,
            carbonate=0.001,
        ),
        22.0,
    ),
}
ADDS = {
    "HCl": {"chloride": 1.0},
    "HNO3": {"nitrate": 1.0},
    "H3PO4": {"phosphate": 1.0},
    "KOH": {"potassium": 1.0},
    "K2CO3": {"potassium": 2.0, "carbonate": 1.0},
}
AIR_CO2_PPM = 10.0 ** (6.0 - 3.4)  # the file's log pCO2 of -3.4 atm


def computed_ph(row: dict[str, str]) -> float:
    """pH of our water after the dose of this row."""
    totals, temperature_c = next(start for water, start in START.items() if row["water"].startswith(water))
    dose = float(row["dose_mmol_per_kg"]) / 1000.0
    more = {name: getattr(totals, name) + per_mol * dose for name, per_mol in ADDS[row["reagent"]].items()}
    held = None if row["gas_exchange"] == "closed" else co2_in_air_equilibrium(temperature_c, AIR_CO2_PPM)
    return equilibrate(totals._replace(**more), temperature_c, held_co2=held).ph


def test_every_row_is_met_within_0_05_ph() -> None:
    """All titrations, both waters, five reagents, closed and in air, agree within 0.05 pH."""
    wrong = {
        tuple(list(row.values())[:4]): computed_ph(row)
        for row in TITRATIONS
        if not abs(computed_ph(row) - float(row["value"])) <= 0.05
    }
    assert not wrong


def test_the_table_is_whole() -> None:
    """The file holds 42 rows of bicarbonate water and 80 of nutrient water, none twice."""
    keys = [(row["water"], row["reagent"], row["dose_mmol_per_kg"], row["gas_exchange"]) for row in TITRATIONS]
    assert len(set(keys)) == len(keys)
    assert sum(water.startswith(BICARBONATE_WATER) for water, *_ in keys) == 42
    assert sum(water.startswith(NUTRIENT_WATER) for water, *_ in keys) == 80


# pKw: IAPWS R11-07 (Bandura & Lvov 2006). pK1, pK2, pKH: Plummer & Busenberg 1982. A: from the IAPWS-95 density
# and the IAPWS permittivity of water.
PUBLISHED = [
    (5.0, 14.7341, 6.5163, 10.5544, 1.1921, 0.49396),
    (10.0, 14.5336, 6.4633, 10.4879, 1.2694, 0.49764),
    (15.0, 14.3440, 6.4188, 10.4284, 1.3408, 0.50149),
    (20.0, 14.1645, 6.3819, 10.3756, 1.4069, 0.50554),
    (25.0, 13.9944, 6.3519, 10.3289, 1.4679, 0.50978),
    (30.0, 13.8330, 6.3281, 10.2879, 1.5244, 0.51423),
    (40.0, 13.5343, 6.2974, 10.2217, 1.6249, 0.52375),
]


@pytest.mark.parametrize("row", PUBLISHED)
def test_constants_follow_the_published_tables(row: tuple[float, ...]) -> None:
    """Water, carbonic acid, CO2 solubility within 0.005 in pK and the Debye-Hueckel A within 0.001."""
    temperature_c, pk_water, pk_1, pk_2, pk_co2, davies_a = row
    k = constants_at(temperature_c)
    assert -log10(k.water) == pytest.approx(pk_water, abs=0.005)
    assert -log10(k.carbonic_1) == pytest.approx(pk_1, abs=0.005)
    assert -log10(k.carbonic_2) == pytest.approx(pk_2, abs=0.005)
    assert -log10(k.co2_per_atm) == pytest.approx(pk_co2, abs=0.005)
    assert k.davies_a == pytest.approx(davies_a, abs=0.001)


# pK2 of phosphoric acid: Bates & Acree 1945, J. Res. NBS 34:373 (from memory). The PHREEQC set: 7.207 at 25 °C.
@pytest.mark.parametrize(("temperature_c", "pk"), [(10.0, 7.254), (20.0, 7.213), (25.0, 7.198), (30.0, 7.189)])
def test_phosphate_keeps_near_the_measured_constant(temperature_c: float, pk: float) -> None:
    """The second constant of phosphoric acid, which buffers a reservoir, is within 0.02 at 10..30 °C."""
    assert -log10(constants_at(temperature_c).phosphoric_2) == pytest.approx(pk, abs=0.02)
