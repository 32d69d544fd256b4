"""The probe drivers by name. A new driver is its module and one line here."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Any, NamedTuple

from drivers.ads1115 import Chips
from drivers.air import Sht3x, Sht3xHumidityWiring, Sht3xTemperatureWiring, Sht3xWiring
from drivers.amplifiers import EcAmplifier, PhAmplifier
from drivers.excitation import ExcitedProbe
from drivers.float_switch import FloatSwitch, FloatSwitchWiring
from drivers.level_sender import LevelSender
from drivers.light_sensor import LightSensor
from drivers.probe import Probe, Quantity
from drivers.rig import Rig
from drivers.thermometers import (
    Ds18b20,
    Ds18b20Wiring,
    NtcDivider,
    NtcSteinhartDivider,
    PlatinumSource,
    Pt1000Divider,
)
from drivers.wiring import AdcWiring, AnalogProbe, PlainVolts, Wiring


class Driver(NamedTuple):
    """What a driver measures, the model of its table, and how its probe is made."""

    quantity: Quantity
    wiring: type[Wiring]
    open: Callable[[Quantity, Any, Rig, Chips], Probe]


def _analog(quantity: Quantity, wiring: AdcWiring, rig: Rig, chips: Chips) -> Probe:
    chip = chips.at(wiring.i2c_bus, wiring.address)
    return AnalogProbe(quantity=quantity, wiring=wiring, chip=chip, clock=rig.clock)


def _ec(quantity: Quantity, wiring: EcAmplifier, rig: Rig, chips: Chips) -> Probe:
    return _switched(_analog(quantity, wiring, rig, chips), wiring, rig)


def _switched(probe: Probe, wiring: EcAmplifier, rig: Rig) -> Probe:
    if wiring.excitation_line is None:
        return probe
    return ExcitedProbe(
        probe=probe,
        line=wiring.excitation_line,
        settle_s=wiring.excitation_settle_s,
        pin_factory=rig.pin_factory(),
        clock=rig.clock,
    )


def _ds18b20(quantity: Quantity, wiring: Ds18b20Wiring, rig: Rig, chips: Chips) -> Probe:
    return Ds18b20(wiring=wiring, one_wire_root=rig.one_wire_root, clock=rig.clock)


def _sht3x(quantity: Quantity, wiring: Sht3xWiring, rig: Rig, chips: Chips) -> Probe:
    return Sht3x(quantity=quantity, wiring=wiring, i2c=rig.i2c(wiring.i2c_bus), clock=rig.clock)


def _float_switch(quantity: Quantity, wiring: FloatSwitchWiring, rig: Rig, chips: Chips) -> Probe:
    return FloatSwitch(wiring=wiring, pin_factory=rig.pin_factory(), clock=rig.clock)


DRIVERS: Mapping[str, Driver] = {
    "ph_amplifier": Driver(Quantity.PH, PhAmplifier, _analog),
    "ec_amplifier": Driver(Quantity.EC, EcAmplifier, _ec),
    "ntc_divider": Driver(Quantity.TEMPERATURE, NtcDivider, _analog),
    "ntc_steinhart_divider": Driver(Quantity.TEMPERATURE, NtcSteinhartDivider, _analog),
    "pt1000_divider": Driver(Quantity.TEMPERATURE, Pt1000Divider, _analog),
    "platinum_source": Driver(Quantity.TEMPERATURE, PlatinumSource, _analog),
    "ds18b20": Driver(Quantity.TEMPERATURE, Ds18b20Wiring, _ds18b20),
    "level_sender": Driver(Quantity.LEVEL, LevelSender, _analog),
    "float_switch": Driver(Quantity.LEVEL, FloatSwitchWiring, _float_switch),
    "sht3x_temperature": Driver(Quantity.AIR_TEMPERATURE, Sht3xTemperatureWiring, _sht3x),
    "sht3x_humidity": Driver(Quantity.HUMIDITY, Sht3xHumidityWiring, _sht3x),
    "light_sensor": Driver(Quantity.LIGHT, LightSensor, _analog),
}


def check_probe(driver: str, table: Mapping[str, Any]) -> Wiring:
    """The table of a probe, checked by its driver's model. The key `driver` in it is passed over.

    Raises ValueError naming the known drivers, or pydantic's ValidationError for the table.
    """
    keys = {key: value for key, value in table.items() if key != "driver"}
    return _driver(driver).wiring.model_validate(keys)


def wiring_of(driver: str, table: Mapping[str, Any]) -> str:
    """How a probe is wired, in one line to keep beside a calibration that is made behind it.

    Raises as check_probe does.
    """
    return f"driver={driver} {check_probe(driver, table).fingerprint()}"


@lru_cache(maxsize=256)  # asked at each look at each probe
def wiring_changes(kept: str, now: str) -> tuple[str, ...]:
    """What of a wiring kept earlier no longer holds, as `gain=5.0`. A key that came later is no change."""
    if kept == now:  # as at nearly every look
        return ()
    parts = now.split()
    return tuple(part for part in kept.split() if part not in parts)


def open_probe(quantity: Quantity, driver: str, table: Mapping[str, Any], rig: Rig, chips: Chips) -> Probe:
    """The probe that measures `quantity`. Nothing is read yet, so a missing converter shows at the first sample.

    Raises as check_probe does, and ValueError where the driver measures something else.
    """
    wiring = check_probe(driver, table)
    check_quantity(quantity, driver)
    return _driver(driver).open(quantity.kind, wiring, rig, chips)


def open_volts(driver: str, table: Mapping[str, Any], rig: Rig, chips: Chips) -> Probe | None:
    """A probe whose signal is the bare volts at its input, switched on where its driver does. None: digital.

    Raises as check_probe does.
    """
    wiring = check_probe(driver, table)
    if not isinstance(wiring, AdcWiring):
        return None
    plain = PlainVolts.model_validate({key: getattr(wiring, key) for key in PlainVolts.model_fields})
    probe = _analog(_driver(driver).quantity, plain, rig, chips)
    return _switched(probe, wiring, rig) if isinstance(wiring, EcAmplifier) else probe


def check_quantity(quantity: Quantity, driver: str) -> None:
    """Raises ValueError where `driver` does not measure `quantity`."""
    measured = _driver(driver).quantity
    if measured is not quantity.kind:
        fit = ", ".join(name for name, row in DRIVERS.items() if row.quantity is quantity.kind)
        raise ValueError(f"driver {driver} measures {measured}, not {quantity}: use one of {fit}")


def _driver(name: str) -> Driver:
    if name not in DRIVERS:
        raise ValueError(f'driver = "{name}": known drivers are {", ".join(DRIVERS)}')
    return DRIVERS[name]
