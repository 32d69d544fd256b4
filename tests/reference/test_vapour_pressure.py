"""Vapour pressure of the air against FAO's paper 56; vapour_pressure.csv names each source."""

from __future__ import annotations

import re

import pytest

from daemon.measure.air import deficit_kpa, saturation_kpa
from tests.reference.published import rows

TABLE = "vapour_pressure.csv"
SATURATED = [
    (float(re.findall(r"-?[0-9.]+", row["condition"])[0]), float(row["value"]))
    for row in rows(TABLE, quantity="saturation vapour pressure")
]
DEFICITS = [
    (*map(float, re.findall(r"[0-9.]+", row["condition"])), float(row["value"]))
    for row in rows(TABLE, quantity="VPD (air, leaf temperature = air)")
]


@pytest.mark.parametrize(("celsius", "kpa"), SATURATED)
def test_saturated_air_of_fao_56(celsius: float, kpa: float) -> None:
    """Equation 11, as printed to 0.0001 kPa."""
    assert saturation_kpa(celsius) == pytest.approx(kpa, abs=6e-5)


@pytest.mark.parametrize(("condition", "celsius"), [("e(15 C)", 15.0), ("e(24.5 C)", 24.5)])
def test_the_worked_example_of_fao_56(condition: str, celsius: float) -> None:
    """Example 3, to 0.001 kPa."""
    (row,) = rows(TABLE, quantity="FAO-56 Example 3", condition=condition)
    assert saturation_kpa(celsius) == pytest.approx(float(row["value"]), abs=6e-4)


@pytest.mark.parametrize(("celsius", "percent", "kpa"), DEFICITS)
def test_the_deficit_of_fao_56(celsius: float, percent: float, kpa: float) -> None:
    """From temperature and relative humidity, as printed to 0.0001 kPa."""
    assert deficit_kpa(celsius, percent) == pytest.approx(kpa, abs=6e-5)


def test_there_is_something_to_compare() -> None:
    """No table went missing."""
    assert (len(SATURATED), len(DEFICITS)) == (15, 6)
