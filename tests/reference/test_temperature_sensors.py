"""Thermometers against IEC 60751 and published thermistor tables; temperature_sensors.csv names each source."""

from __future__ import annotations

import math

import pytest

from drivers.thermometers import (
    PT_A,
    PT_B,
    PT_C,
    PlatinumSource,
    ntc_celsius,
    ntc_ohm,
    platinum_celsius,
    platinum_ohm,
    steinhart_celsius,
)
from tests.reference.published import by_temperature, rows

TABLE = "temperature_sensors.csv"
PT100 = by_temperature(TABLE, quantity="Pt100 resistance")
PT1000 = by_temperature(TABLE, quantity="Pt1000 resistance")
BETA_3950 = by_temperature(TABLE, quantity="NTC resistance beta model beta=3950 R25=10000")
GENERIC_NTC = by_temperature(TABLE, quantity="NTC resistance from the generic Steinhart-Hart set")


@pytest.mark.parametrize(
    ("name", "ours"),
    [("coefficient A", PT_A), ("coefficient B", PT_B), ("coefficient C (t<0 only)", PT_C)],
)
def test_coefficients_of_iec_60751(name: str, ours: float) -> None:
    """A, B and C are the standard's."""
    (row,) = rows(TABLE, quantity=f"IEC 60751 {name}")
    assert ours == float(row["value"])


@pytest.mark.parametrize("celsius", PT100)
def test_pt100_resistance_of_iec_60751(celsius: float) -> None:
    """Resistance within 0.0001 ohm of the standard's, from -80 to 100 °C (a row printed to 0.001 within that)."""
    printed_to = 1e-3 if celsius == -80 else 1e-4
    assert platinum_ohm(celsius, 100.0) == pytest.approx(PT100[celsius], abs=printed_to)


@pytest.mark.parametrize("celsius", PT1000)
def test_pt1000_resistance_of_iec_60751(celsius: float) -> None:
    """Resistance within 0.001 ohm of the standard's: a Pt1000 is ten Pt100."""
    assert platinum_ohm(celsius) == pytest.approx(PT1000[celsius], abs=1e-3)


@pytest.mark.parametrize("celsius", PT100)
def test_platinum_temperature_of_iec_60751(celsius: float) -> None:
    """And back: °C within 0.01 K from the published resistance."""
    assert platinum_celsius(PT100[celsius], 100.0) == pytest.approx(celsius, abs=0.01)


@pytest.mark.parametrize("celsius", BETA_3950)
def test_thermistor_of_beta_3950(celsius: float) -> None:
    """The beta equation of a common catalogue thermistor, both ways (0.1 ohm as printed; 0.02 K)."""
    assert ntc_ohm(celsius, 10000.0, 3950.0) == pytest.approx(BETA_3950[celsius], abs=0.06)
    assert ntc_celsius(BETA_3950[celsius], 10000.0, 3950.0) == pytest.approx(celsius, abs=0.02)


@pytest.mark.parametrize("celsius", [t for t in GENERIC_NTC if 10.0 <= t <= 35.0])
def test_beta_is_good_enough_for_water(celsius: float) -> None:
    """With the beta that a published three-coefficient table gives at 5 and 40 °C, water reads within 0.3 K."""
    cold, warm = 5.0, 40.0
    per_k = 1.0 / (cold + 273.15) - 1.0 / (warm + 273.15)
    beta_k = math.log(GENERIC_NTC[cold] / GENERIC_NTC[warm]) / per_k
    assert ntc_celsius(GENERIC_NTC[celsius], GENERIC_NTC[25.0], beta_k) == pytest.approx(celsius, abs=0.3)


WORKED = by_temperature(TABLE, quantity="NTC worked example: R(T) pair")
WORKED_FIT = (
    1.10415912e-3,
    2.38917947e-4,
    6.93162653e-8,
)  # through its rows at 0, 25 and 50 °C, as its note says


def generic_coefficients() -> tuple[float, float, float]:
    """A, B and C of the generic 10 kΩ thermistor, as published."""
    a, b, c = (next(rows(TABLE, quantity=f"Steinhart-Hart coefficient {name}, generic 10 k")) for name in "ABC")
    return float(a["value"]), float(b["value"]), float(c["value"])


@pytest.mark.parametrize("celsius", GENERIC_NTC)
def test_steinhart_and_hart_of_the_generic_thermistor(celsius: float) -> None:
    """°C within 0.001 K of the published table, made from the same three coefficients."""
    assert steinhart_celsius(GENERIC_NTC[celsius], *generic_coefficients()) == pytest.approx(celsius, abs=1e-3)


@pytest.mark.parametrize("celsius", WORKED)
def test_steinhart_and_hart_of_a_worked_example(celsius: float) -> None:
    """Fitted through three points of a printed table, the others come out within 0.01 K."""
    assert steinhart_celsius(WORKED[celsius], *WORKED_FIT) == pytest.approx(celsius, abs=0.01)


@pytest.mark.parametrize("celsius", [t for t in PT100 if -40.0 <= t <= 100.0])
def test_a_fed_pt100_reads_the_published_temperature(celsius: float) -> None:
    """1 mA and a gain of 20: the volts of the standard's resistance are its temperature, within 0.01 K."""
    source = PlatinumSource(input=0, current_ma=1.0, gain=20.0)
    assert source.signal(PT100[celsius] * 1e-3 * 20.0) == pytest.approx(celsius, abs=0.01)
