"""The air sensor, through its bytes on a simulated bus."""

from __future__ import annotations

from typing import Any

import pytest

from drivers.air import Sht3x, Sht3xHumidityWiring, Sht3xTemperatureWiring, celsius_of, crc8, humidity_of
from drivers.probe import Fault, Quantity, SensorError
from drivers.registry import check_probe
from sim_hw.air_chip import AirChip
from sim_hw.bus import Bus
from sim_hw.clock import BenchClock


class Spoiled(AirChip):
    """Gives its bytes with some changed, as a bad wire does."""

    def __init__(self, clock: BenchClock, change: dict[int, int]) -> None:
        super().__init__(clock, lambda: (21.5, 60.0))
        self._change = change

    def give(self, count: int) -> bytes:
        whole = bytearray(super().give(count))
        for place, value in self._change.items():
            whole[place] = value
        return bytes(whole)


def on_a_bus(chip: AirChip | None = None, clock: BenchClock | None = None) -> tuple[Bus, dict[Quantity, Sht3x]]:
    clock = clock or BenchClock()
    bus = Bus(clock, {}, {0x44: chip or AirChip(clock, lambda: (21.5, 60.0))})
    wirings = {
        Quantity.AIR_TEMPERATURE: Sht3xTemperatureWiring(),
        Quantity.HUMIDITY: Sht3xHumidityWiring(),
    }
    probes = {of: Sht3x(quantity=of, wiring=one, i2c=bus, clock=clock) for of, one in wirings.items()}
    return bus, probes


def test_reads_what_the_air_is() -> None:
    """Each of the two probes of one sensor its own, to the sensor's steps."""
    _, probes = on_a_bus()
    assert probes[Quantity.AIR_TEMPERATURE].sample().signal == pytest.approx(21.5, abs=0.003)
    sample = probes[Quantity.HUMIDITY].sample()
    assert sample.signal == pytest.approx(60.0, abs=0.002)
    assert (sample.quantity, sample.volts, sample.clipped) == (Quantity.HUMIDITY, None, False)


def test_the_checksum_is_the_data_sheets() -> None:
    """Its example: 0xBEEF gives 0x92 (SHT3x-DIS data sheet, section 4.12; from memory)."""
    assert crc8(bytes([0xBE, 0xEF])) == 0x92


@pytest.mark.parametrize(("count", "celsius", "percent"), [(0, -45.0, 0.0), (65535, 130.0, 100.0)])
def test_the_ends_of_the_scale_are_the_data_sheets(count: int, celsius: float, percent: float) -> None:
    """-45 to 130 °C and 0 to 100 %."""
    assert (celsius_of(count), humidity_of(count)) == pytest.approx((celsius, percent))


@pytest.mark.parametrize("change", [{0: 0x12}, {2: 0x00}, {4: 0x01}, {5: 0xFF}, dict.fromkeys(range(6), 0)])
@pytest.mark.parametrize("quantity", [Quantity.AIR_TEMPERATURE, Quantity.HUMIDITY])
def test_a_byte_that_is_wrong_is_no_reading(change: dict[int, int], quantity: Quantity) -> None:
    """Either checksum, whichever of the two is asked for; nor are six zeros."""
    clock = BenchClock()
    _, probes = on_a_bus(Spoiled(clock, change), clock)
    with pytest.raises(SensorError, match="fails its checksum") as caught:
        probes[quantity].sample()
    assert caught.value.fault is Fault.CHECKSUM


def test_a_data_line_held_high_is_no_reading() -> None:
    """Every bit 1 is 130 °C; the checksum of that is another."""
    bus, probes = on_a_bus()
    bus.line_high = True
    with pytest.raises(SensorError) as caught:
        probes[Quantity.AIR_TEMPERATURE].sample()
    assert caught.value.fault is Fault.CHECKSUM


def test_a_sensor_that_is_pulled_out_is_told_with_what_to_do() -> None:
    """And is read again once it is back."""
    clock = BenchClock()
    there = True
    bus, probes = on_a_bus(AirChip(clock, lambda: (20.0, 50.0) if there else None), clock)
    there = False
    with pytest.raises(SensorError, match=r"0x44 on I2C bus 1 does not answer .*i2cdetect -y 1") as caught:
        probes[Quantity.HUMIDITY].sample()
    assert caught.value.fault is Fault.NO_ANSWER
    there = True
    assert probes[Quantity.HUMIDITY].sample().signal == pytest.approx(50.0, abs=0.01)
    assert bus.try_lock(), "the bus is given back whatever happens"


def test_a_bus_that_another_holds_is_given_up() -> None:
    """Within half a second."""
    clock = BenchClock()
    bus, probes = on_a_bus(clock=clock)
    bus.held = True
    with pytest.raises(SensorError) as caught:
        probes[Quantity.HUMIDITY].sample()
    assert caught.value.fault is Fault.TIMED_OUT
    assert clock.monotonic_s() < 0.6


@pytest.mark.parametrize(
    ("driver", "more", "claims"),
    [
        ("sht3x_temperature", {}, {"sht3x1:0x44:temperature"}),
        ("sht3x_humidity", {"address": 0x45, "i2c_bus": 3}, {"sht3x3:0x45:humidity"}),
    ],
)
def test_claims_one_quantity_of_its_sensor(driver: str, more: dict[str, Any], claims: set[str]) -> None:
    """So that both may share it, and none is read twice."""
    assert check_probe(driver, more).claims() == claims
