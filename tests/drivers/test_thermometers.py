"""Thermistor and platinum dividers, and the DS18B20's file."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from drivers.probe import Fault, Quantity, SensorError
from drivers.thermometers import (
    Ds18b20,
    Ds18b20Wiring,
    NtcDivider,
    NtcSteinhartDivider,
    PlatinumSource,
    Pt1000Divider,
    divider_ohm,
    ntc_celsius,
    ntc_ohm,
    platinum_celsius,
    platinum_ohm,
)
from tests.drivers.parts import StepClock

NTC: dict[str, Any] = {
    "input": 2,
    "supply_v": 3.3,
    "series_ohm": 10000.0,
    "nominal_ohm": 10000.0,
    "beta_k": 3950.0,
}
PT: dict[str, Any] = {"input": 2, "supply_v": 3.3, "series_ohm": 1000.0}


@pytest.mark.parametrize(
    ("volts", "ground_ohm", "supply_ohm"), [(1.65, 1e4, 1e4), (1.1, 5e3, 2e4), (2.2, 2e4, 5e3)]
)
def test_resistance_on_either_side(volts: float, ground_ohm: float, supply_ohm: float) -> None:
    """A third of the supply is half the fixed resistor to ground, or twice it to the supply."""
    assert divider_ohm(volts, 3.3, 1e4, "ground") == pytest.approx(ground_ohm)
    assert divider_ohm(volts, 3.3, 1e4, "supply") == pytest.approx(supply_ohm)


@pytest.mark.parametrize("volts", [0.0, -0.001, 3.3, 3.4, math.nan])
def test_no_resistance_at_the_ends_of_the_supply(volts: float) -> None:
    """Open, shorted or not a number: there is no resistance."""
    assert divider_ohm(volts, 3.3, 1e4, "ground") is None


@given(st.floats(-39.0, 124.0), st.sampled_from(["ground", "supply"]))
def test_ntc_divider_there_and_back(celsius: float, sensor_to: str) -> None:
    """Any temperature of water, as volts of the circuit, is read back on either side."""
    ohm = ntc_ohm(celsius, 10000.0, 3950.0)
    low = ohm if sensor_to == "ground" else 10000.0
    wiring = NtcDivider(**NTC | {"sensor_to": sensor_to})
    assert wiring.signal(3.3 * low / (ohm + 10000.0)) == pytest.approx(celsius, abs=1e-6)


@given(st.floats(-39.0, 124.0), st.sampled_from(["ground", "supply"]))
def test_pt1000_divider_there_and_back(celsius: float, sensor_to: str) -> None:
    """The same for platinum, through the inverse of its equation."""
    ohm = platinum_ohm(celsius)
    low = ohm if sensor_to == "ground" else 1000.0
    wiring = Pt1000Divider(**PT | {"sensor_to": sensor_to})
    assert wiring.signal(3.3 * low / (ohm + 1000.0)) == pytest.approx(celsius, abs=1e-4)


@given(st.floats(-100.0, 850.0))
def test_platinum_there_and_back(celsius: float) -> None:
    """The inverse holds to 0.0001 K from -100 °C to the end of the standard's range."""
    assert platinum_celsius(platinum_ohm(celsius)) == pytest.approx(celsius, abs=1e-4)


@pytest.mark.parametrize("volts", [0.0, 0.002, 3.2995, 3.3, 3.5, -0.1, math.nan])
@pytest.mark.parametrize("wiring", [NtcDivider(**NTC), Pt1000Divider(**PT)])
def test_a_broken_wire_or_a_short_circuit_is_no_temperature(
    wiring: NtcDivider | Pt1000Divider, volts: float
) -> None:
    """Volts at either end of the supply raise, with the volts and what to look at."""
    with pytest.raises(SensorError, match=r"V of 3\.3 V supply is no temperature.*broken wire") as caught:
        wiring.signal(volts)
    assert caught.value.fault is Fault.IMPOSSIBLE


def test_no_temperature_where_the_curves_end() -> None:
    """A thermistor of no resistance and a platinum sensor of far too much have no temperature."""
    assert ntc_celsius(1e-9, 10000.0, 2000.0) is None
    assert platinum_celsius(1e6) is None


@pytest.mark.parametrize(
    ("model", "table"),
    [
        (NtcDivider, NTC | {"beta_k": 39.5}),
        (NtcDivider, NTC | {"beta_k": math.nan}),
        (NtcDivider, NTC | {"series_ohm": 10.0}),
        (NtcDivider, NTC | {"supply_v": 12.0}),
        (NtcDivider, NTC | {"sensor_to": "plus"}),
        (Pt1000Divider, PT | {"nominal_ohm": 0.0}),
        (Pt1000Divider, PT | {"beta_k": 3950.0}),
        (Ds18b20Wiring, {"sensor_id": "28-0316A2795CFF"}),
        (Ds18b20Wiring, {"sensor_id": "../28-0316a2795cff"}),
        (Ds18b20Wiring, {"sensor_id": "28-0316a2795cff/x"}),
        (Ds18b20Wiring, {}),
    ],
)
def test_refuses_implausible_wiring(model: Any, table: dict[str, Any]) -> None:
    """Slips of unit, unknown keys and numbers that are no sensor's."""
    with pytest.raises(ValidationError):
        model.model_validate(table)


# The one-wire driver's file

ID = "28-0316a2795cff"
BYTES = "72 01 4b 46 7f ff 0e 10 57"


def ds18b20(root: Path, text: str | None) -> Ds18b20:
    if text is not None:
        (root / ID).mkdir()
        (root / ID / "w1_slave").write_text(text, encoding="ascii")
    return Ds18b20(wiring=Ds18b20Wiring(sensor_id=ID), one_wire_root=root, clock=StepClock())


@pytest.mark.parametrize(("t", "celsius"), [("23125", 23.125), ("-1250", -1.25), ("0", 0.0), ("125000", 125.0)])
def test_reads_the_temperature(tmp_path: Path, t: str, celsius: float) -> None:
    """°C from the file's thousandths, with no volts beside it."""
    sample = ds18b20(tmp_path, f"{BYTES} : crc=57 YES\n{BYTES} t={t}\n").sample()
    assert (sample.quantity, sample.signal, sample.volts) == (Quantity.TEMPERATURE, celsius, None)
    assert sample.at_s == 100.0


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        (None, Fault.NO_ANSWER),
        ("", Fault.NO_ANSWER),
        (f"{BYTES} : crc=58 NO\n{BYTES} t=23125\n", Fault.CHECKSUM),
        ("00 00 00 00 00 00 00 00 00 : crc=00 YES\n00 00 00 00 00 00 00 00 00 t=0\n", Fault.IMPOSSIBLE),
        (f"{BYTES} : crc=57 YES\n{BYTES} t=85000\n", Fault.IMPOSSIBLE),
        (f"{BYTES} : crc=57 YES\n{BYTES} t=-127000\n", Fault.IMPOSSIBLE),
        (f"{BYTES} : crc=57 YES\n{BYTES} t=127937\n", Fault.IMPOSSIBLE),
        (f"{BYTES} : crc=57 YES\n{BYTES} t=\n", Fault.IMPOSSIBLE),
        (f"{BYTES} : crc=57 YES\n", Fault.IMPOSSIBLE),
    ],
)
def test_a_sensor_that_does_not_measure_is_told(tmp_path: Path, text: str | None, fault: Fault) -> None:
    """Gone, garbled, held low, at its power-on 85 °C, at -127 °C: each with its fault and what to look at."""
    with pytest.raises(SensorError, match=rf"DS18B20 {ID} .*4\.7 kΩ") as caught:
        ds18b20(tmp_path, text).sample()
    assert caught.value.fault is fault


def test_claims_its_sensor() -> None:
    """Two probes may not name one sensor."""
    assert Ds18b20Wiring(sensor_id=ID).claims() == {f"onewire:{ID}"}


# a Pt100 fed by a current, a thermistor by three coefficients

FED: dict[str, Any] = {"input": 0, "current_ma": 1.0, "gain": 20.0, "zero_v": 0.05}
STEINHART: dict[str, Any] = {
    "input": 2,
    "supply_v": 3.3,
    "series_ohm": 10000.0,
    "steinhart_a": 1.129148e-3,
    "steinhart_b": 2.34125e-4,
    "steinhart_c": 8.76741e-8,
}


@given(st.floats(-39.0, 124.0))
def test_a_fed_sensor_there_and_back(celsius: float) -> None:
    """Any temperature of water, as volts of source and amplifier, is read back."""
    volts = 0.05 + platinum_ohm(celsius, 100.0) * 1e-3 * 20.0
    assert PlatinumSource(**FED).signal(volts) == pytest.approx(celsius, abs=1e-3)


@pytest.mark.parametrize("volts", [0.05, 0.0, -1.0, 3.3, math.nan])
def test_a_fed_sensor_that_is_shorted_or_open_is_no_temperature(volts: float) -> None:
    """0 ohm, less, far too much, not a number: an error with what to look at."""
    with pytest.raises(SensorError, match="current_ma, gain and zero_v") as caught:
        PlatinumSource(**FED).signal(volts)
    assert caught.value.fault is Fault.IMPOSSIBLE


@pytest.mark.parametrize("volts", [0.0, 3.3, 0.001, 3.2999, math.nan])
def test_a_thermistor_of_three_coefficients_that_is_shorted_or_open_is_no_temperature(volts: float) -> None:
    """As one of a beta."""
    with pytest.raises(SensorError) as caught:
        NtcSteinhartDivider(**STEINHART).signal(volts)
    assert caught.value.fault is Fault.IMPOSSIBLE


def test_a_thermistor_of_three_coefficients_reads_25_degrees_at_half_the_supply() -> None:
    """10 kΩ in series with 10 kΩ."""
    assert NtcSteinhartDivider(**STEINHART).signal(1.65) == pytest.approx(25.0, abs=0.001)
