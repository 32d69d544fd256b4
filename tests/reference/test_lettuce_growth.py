"""The growth model of lettuce against its check values.

lettuce_growth.csv: parameters and equations after Van Henten 1994, Agric. Syst. 45:55, two sets of them in public
copies, each with derivatives and trajectories computed independently (scipy, relative tolerance 1e-10); the first
two rows of set B are printed in a public copy itself. lettuce_water.csv: Barbosa et al. 2015, IJERPH 12:6879.
"""

from __future__ import annotations

import re

import pytest

from daemon.crop.lettuce import Parameters, Stand, Weather, grown, rates
from sim_hw.crop import CropTable
from tests.reference.published import rows

SET_A = Parameters()
SET_B = Parameters(c_alpha=30.0 / 44.0, c_gamma=1.1981, c_tau=0.15, g_bnd=0.00071987, g_stm=0.005)
TABLE = [row for row in rows("lettuce_growth.csv") if row["kind"] not in ("parameter", "equation")]
FIRST_OF_B = "dXsdw/dt at Xsdw=10 Xnsdw=10 T=25 PAR=0 CO2=400"


def given(kind: str) -> Parameters:
    """The set that a row belongs to."""
    return SET_A if "set A" in kind else SET_B


def numbers(text: str) -> dict[str, float]:
    """`T=22 PAR=150` as figures by name."""
    return {name: float(value) for name, value in re.findall(r"(\w+)=([\d.]+)", text)}


def test_the_parameters_are_those_of_the_table() -> None:
    """All twenty, to the last digit."""
    printed = {row["quantity"]: float(row["value"]) for row in rows("lettuce_growth.csv", kind="parameter")}
    assert SET_A._asdict() == printed


def test_every_derivative_is_met() -> None:
    """Both sets, in light and dark: within 1e-6, the precision that is printed."""
    checked = 0
    for row in TABLE:
        if not row["kind"].startswith("check value"):
            continue
        at = numbers(FIRST_OF_B if "same state" in row["quantity"] else row["quantity"])
        weather = Weather(at["T"], at["PAR"], at["CO2"])
        found = rates(Stand(at["Xnsdw"], at["Xsdw"]), weather, given(row["kind"]))
        now = found.non_structural if row["quantity"].startswith("dXnsdw") else found.structural
        assert now == pytest.approx(float(row["value"]), rel=1e-6), row["quantity"]
        checked += 1
    assert checked == 14


@pytest.mark.parametrize("kind", ["set A", "set B"])
def test_fifty_days_run_as_computed(kind: str) -> None:
    """Total dry weight every ten days, in steps of a quarter hour, within 1e-4."""
    printed = [float(row["value"]) for row in TABLE if row["kind"].startswith(f"trajectory {kind}")]
    stand, found = Stand(1.0, 0.1), []
    for step in range(50 * 96 + 1):
        if step % 960 == 0:
            found.append(stand.dry_g_per_m2())
        stand = grown(stand, 900.0, Weather(22.0, 150.0, 600.0), given(kind))
    assert found == pytest.approx(printed, rel=1e-4)


def test_the_usual_thirst_is_the_published_one() -> None:
    """20 litres for each kilogram of fresh lettuce, unless a grower says otherwise."""
    row = next(rows("lettuce_water.csv", quantity="hydroponic water demand"))
    assert CropTable().water_l_per_kg == float(row["value"])
