"""Thermometers in the water, as a wire sees them."""

from __future__ import annotations

from math import cbrt, exp, sqrt
from random import Random

from sim_hw.faults import FaultName
from sim_hw.probes import AnalogProbe, Probe
from sim_hw.standards import KELVIN
from sim_hw.tables import (
    DividerTable,
    Ds18b20Table,
    NtcSteinhartTable,
    NtcTable,
    PlatinumSourceTable,
    Pt1000Table,
)

PT_A, PT_B = 3.9083e-3, -5.775e-7  # IEC 60751, from 0 °C up
NTC_NOMINAL_C = 25.0


class Divider(AnalogProbe):
    """A resistive thermometer and a fixed resistor between supply and ground; the input is between them."""

    def __init__(self, table: DividerTable, random: Random) -> None:
        super().__init__(table, random)
        self._series_ohm = table.series_ohm
        self._error_c = table.error_c
        self._to_ground = table.sensor_to == "ground"

    def volts_from(self, signal: float) -> float:
        """signal: °C."""
        ohm = self.ohm(signal + self._error_c)
        to_ground = ohm if self._to_ground else self._series_ohm
        return self._supply_v * to_ground / (ohm + self._series_ohm)

    def open_volts(self, since_s: float) -> float:
        """Pulled by the resistor to the end that it is on."""
        return (self._supply_v if self._to_ground else 0.0) + self._random.gauss(0.0, self._noise_v)

    def ohm(self, celsius: float) -> float:
        """The sensor's resistance."""
        raise NotImplementedError


class NtcDivider(Divider):
    """A thermistor."""

    def __init__(self, table: NtcTable, random: Random) -> None:
        super().__init__(table, random)
        self._table = table

    def ohm(self, celsius: float) -> float:
        """The beta equation."""
        per_k = 1.0 / (celsius + KELVIN) - 1.0 / (NTC_NOMINAL_C + KELVIN)
        return self._table.nominal_ohm * exp(self._table.beta_k * per_k)


class NtcSteinhartDivider(Divider):
    """A thermistor by the three coefficients of Steinhart and Hart, solved for its resistance."""

    def __init__(self, table: NtcSteinhartTable, random: Random) -> None:
        super().__init__(table, random)
        self._table = table

    def ohm(self, celsius: float) -> float:
        """The cubic in ln R has one real root, c being above 0: Cardano's."""
        a, b, c = self._table.steinhart_a, self._table.steinhart_b, self._table.steinhart_c
        half, third = (a - 1.0 / (celsius + KELVIN)) / (2.0 * c), b / (3.0 * c)
        root = sqrt(half * half + third**3)
        return exp(cbrt(root - half) - cbrt(root + half))


class PlatinumSource(AnalogProbe):
    """A platinum sensor and its leads, fed by a constant current."""

    def __init__(self, table: PlatinumSourceTable, random: Random) -> None:
        super().__init__(table, random)
        self._table = table

    def volts_from(self, signal: float) -> float:
        """signal: °C."""
        table = self._table
        ohm = table.nominal_ohm * (1.0 + PT_A * signal + PT_B * signal * signal) + table.lead_ohm
        return table.zero_v + table.gain * table.current_ma / 1000.0 * ohm

    def open_volts(self, since_s: float) -> float:
        """The source's current finds no way: its output goes to the supply."""
        return self._supply_v


class Pt1000Divider(Divider):
    """A platinum sensor."""

    def __init__(self, table: Pt1000Table, random: Random) -> None:
        super().__init__(table, random)
        self._table = table

    def ohm(self, celsius: float) -> float:
        """IEC 60751, from 0 °C up."""
        return self._table.nominal_ohm * (1.0 + PT_A * celsius + PT_B * celsius * celsius)


class Ds18b20(Probe):
    """A one-wire thermometer; `sim_hw.one_wire` writes its files."""

    def __init__(self, table: Ds18b20Table, random: Random) -> None:
        super().__init__(table, random)
        self.sensor_id = table.sensor_id
        self._error_c = table.error_c

    def celsius(self) -> float | None:
        """What it would answer, None where it does not answer."""
        return None if FaultName.PROBE_UNPLUGGED in self.faults else self.true_signal + self._error_c
