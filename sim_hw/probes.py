"""Probes as a wire sees them: what they are in, through electrode, response time and amplifier, to volts.

Touched -> signal (electrode mV, conductance mS, °C) -> response -> drift -> volts -> noise -> held to the supply
"""

from __future__ import annotations

from math import exp, inf, sin, tau
from random import Random
from typing import ClassVar

from sim_hw import room
from sim_hw.faults import FaultName, Held
from sim_hw.standards import KELVIN, Touched, bath, ec_standard, ph_standard
from sim_hw.tables import (
    AirTable,
    AnalogTable,
    EcTable,
    LevelTable,
    LightTable,
    PhTable,
    ProbeTable,
    SteadyVoltageTable,
)

NERNST_MV_PER_PH_K = 0.198421431  # R ln 10 / F, CODATA 2018
NEUTRAL_PH = 7.0  # where an ideal electrode gives 0 mV
ROOM_C = 21.0
UNWIRED_V = 0.58  # an ADS1115 input with nothing on it (seen on boards; from memory)
S_PER_H = 3600.0

# How faults show where nothing else is given. Own choice, of the size that is seen on a bench.
COATED_RESPONSE_S = 600.0
HUM_V = 0.15
USUAL_HUM_MV = 3.0
EXCITED_S = 0.05  # until 63 % of a conductivity board's output is there
RAILING_S = 3.0
DRY_WANDER_MV, DRY_RESPONSE_S, DRY_NOISE_V = 80.0, 60.0, 0.01

ANY_SENSOR = frozenset(
    {
        FaultName.PROBE_UNPLUGGED,
        FaultName.PROBE_DRY,
        FaultName.PROBE_STUCK,
        FaultName.PROBE_DRIFTING,
        FaultName.PROBE_COATED,
    }
)


def mean_of_sine(hz: float, end_s: float, lasting_s: float) -> float:
    """Mean of a sine of amplitude 1, from lasting_s before end_s until then."""
    half_turn = tau / 2.0 * hz * lasting_s
    share = sin(half_turn) / half_turn if half_turn else 1.0
    return share * sin(tau * hz * (end_s - lasting_s / 2.0))


class Probe:
    """A probe in its tank, or in the standard that a person dipped it in.

    `settle` is called whenever faults or surroundings change, `advance` as time passes.
    """

    can_fail: ClassVar[frozenset[FaultName]] = ANY_SENSOR
    usual_drift_per_h: ClassVar[float] = 1.0

    def __init__(self, table: ProbeTable, random: Random) -> None:
        self.faults: Held = {}
        self.dipped_in = ""
        self._random = random
        self._response_s = table.response_s
        self._standard: Touched | None = None
        self._signal: float | None = None
        self.true_signal = 0.0

    def dip(self, name: str, temperature_c: float) -> None:
        """Into a standard at this temperature. Raises StandardError where this probe has no such standard."""
        self._standard = self.standard(name, temperature_c)
        self.dipped_in = name

    def back(self) -> None:
        """Into the tank again."""
        self.dipped_in = ""

    def advance(self, seconds: float, water: Touched, now_s: float) -> None:
        """Let time pass in what the probe is in; `now_s` is the end of it."""
        if FaultName.PROBE_STUCK in self.faults and self._signal is not None:
            return
        target = self.signal_in(self._surroundings(water))
        if self._signal is None:
            self._signal = target
        elif seconds > 0.0:
            self._signal += (target - self._signal) * (1.0 - exp(-seconds / self._slowness_s()))
        self.true_signal = self._signal + self._drifted(now_s)
        self.settle(now_s)

    def standard(self, name: str, temperature_c: float) -> Touched | None:
        """What a standard of that name is, for this kind of probe. Raises StandardError."""
        return bath(name, temperature_c)

    def signal_in(self, touched: Touched | None) -> float:
        """The signal once settled; None is air. Electrode mV, conductance in mS or °C."""
        return touched.temperature_c if touched else ROOM_C

    def settle(self, now_s: float) -> None:
        """Work out anew what the wire shows."""

    def _surroundings(self, water: Touched) -> Touched | None:
        if FaultName.PROBE_DRY in self.faults:
            return None
        return self._standard if self.dipped_in else water

    def _slowness_s(self) -> float:
        coated = self.faults.get(FaultName.PROBE_COATED)
        return coated.sized(COATED_RESPONSE_S) if coated else self._response_s

    def _drifted(self, now_s: float) -> float:
        drifting = self.faults.get(FaultName.PROBE_DRIFTING)
        if drifting is None:
            return 0.0
        return drifting.sized(self.usual_drift_per_h) * (now_s - drifting.start_s) / S_PER_H


class AnalogProbe(Probe):
    """A probe whose amplifier or divider gives volts to one input of a converter."""

    can_fail = ANY_SENSOR | {FaultName.PROBE_HUM}

    def __init__(self, table: AnalogTable, random: Random) -> None:
        super().__init__(table, random)
        self._supply_v = table.supply_v
        self._noise_v = table.noise_mv / 1000.0
        self._minus_v = 0.0 if table.minus_input is None else table.minus_v
        self._steady_v = 0.0
        self._shown_noise_v = self._noise_v
        self._mains_hz = table.mains_hz
        self._hum_v = 0.0
        self._unplugged_s: float | None = None

    def volts(self, now_s: float, lasting_s: float = 0.0) -> float:
        """Volts at the converter's input against ground, 0 to the supply: the mean over a conversion.

        now_s: its end; lasting_s: how long it took.
        """
        if self._unplugged_s is not None:
            volts = self.open_volts(now_s - self._unplugged_s)
        elif self._shown_noise_v:
            volts = self.output_v(now_s) + self._random.gauss(0.0, self._shown_noise_v)
        else:
            volts = self.output_v(now_s)
        if self._hum_v:
            volts += self._hum_v * mean_of_sine(self._mains_hz, now_s, lasting_s)
        return min(self._supply_v, max(0.0, volts + self._minus_v))

    def settle(self, now_s: float) -> None:
        """Steady volts, and the noise on them, until something changes."""
        self._steady_v = self.volts_from(self.true_signal)
        self._shown_noise_v = 0.0 if FaultName.PROBE_STUCK in self.faults else self.noise_v()
        hum = self.faults.get(FaultName.PROBE_HUM)
        self._hum_v = hum.sized(USUAL_HUM_MV) / 1000.0 if hum else 0.0
        unplugged = self.faults.get(FaultName.PROBE_UNPLUGGED)
        self._unplugged_s = unplugged.start_s if unplugged else None

    def output_v(self, now_s: float) -> float:
        """The circuit's output at this very moment, before noise; the steady one where nothing is switched."""
        return self._steady_v

    def volts_from(self, signal: float) -> float:
        """The circuit's output, before noise."""
        raise NotImplementedError

    def noise_v(self) -> float:
        """Standard deviation of one conversion."""
        return self._noise_v

    def open_volts(self, since_s: float) -> float:
        """The input with nothing plugged in, `since_s` after it was pulled out."""
        raise NotImplementedError


class PhElectrode(AnalogProbe):
    """A glass electrode behind an amplifier: volts = zero_v + gain * electrode volts.

    cells: the conductivity cells in the same water whose current it picks up.
    """

    usual_drift_per_h = 20.0

    def __init__(self, table: PhTable, random: Random) -> None:
        super().__init__(table, random)
        self._table = table
        self.cells: tuple[EcCell, ...] = ()

    def output_v(self, now_s: float) -> float:
        """Beside the signal, what the current of the cells adds."""
        if not self.cells:
            return self._steady_v
        return self._steady_v + self._table.gain * sum(cell.disturbance_mv() for cell in self.cells) / 1000.0

    def standard(self, name: str, temperature_c: float) -> Touched | None:
        """A pH buffer, water or air."""
        return ph_standard(name, temperature_c)

    def signal_in(self, touched: Touched | None) -> float:
        """Electrode mV; in air it wanders."""
        if touched is None:
            return self._random.gauss(0.0, DRY_WANDER_MV)
        kelvin = touched.temperature_c + KELVIN
        slope_mv = self._table.slope_percent / 100.0 * NERNST_MV_PER_PH_K * kelvin
        return self._table.offset_mv + slope_mv * (NEUTRAL_PH - touched.ph)

    def volts_from(self, signal: float) -> float:
        """signal: electrode mV."""
        return self._table.zero_v + self._table.gain * signal / 1000.0

    def noise_v(self) -> float:
        """Much more in air."""
        return DRY_NOISE_V if self._in_air() else super().noise_v()

    def open_volts(self, since_s: float) -> float:
        """The amplifier's input drifts off until its output meets the supply, with mains hum."""
        gone = 1.0 - exp(-max(0.0, since_s) / RAILING_S)
        return (
            self._steady_v + (self._supply_v - self._steady_v) * gone + HUM_V * sin(tau * self._random.random())
        )

    def _slowness_s(self) -> float:
        return DRY_RESPONSE_S if self._in_air() else super()._slowness_s()

    def _in_air(self) -> bool:
        return FaultName.PROBE_DRY in self.faults or (bool(self.dipped_in) and self._standard is None)


class EcCell(AnalogProbe):
    """A conductivity cell behind an amplifier: volts = zero_v + conductance / ms_per_v."""

    usual_drift_per_h = 0.1

    def __init__(self, table: EcTable, random: Random) -> None:
        super().__init__(table, random)
        self._table = table
        self.line = table.excitation_line
        self._on = table.excitation_line is None
        self._switched_s = -inf

    def switch(self, on: bool, now_s: float) -> None:
        """Its line went high or low."""
        self._on = on
        self._switched_s = now_s

    @property
    def disturbs(self) -> bool:
        """Whether its current does anything to a pH electrode in the same water."""
        return self._table.disturbs_ph_mv != 0.0

    def disturbance_mv(self) -> float:
        """What its current does to a pH electrode in the same water."""
        return self._table.disturbs_ph_mv if self._on else 0.0

    def output_v(self, now_s: float) -> float:
        """It rises once the current flows, and is that of a dry cell where none does."""
        zero_v = self._table.zero_v
        if not self._on:
            return zero_v
        return zero_v + (self._steady_v - zero_v) * (1.0 - exp(-max(0.0, now_s - self._switched_s) / EXCITED_S))

    def standard(self, name: str, temperature_c: float) -> Touched | None:
        """A conductivity standard, water or air."""
        return ec_standard(name, temperature_c)

    def signal_in(self, touched: Touched | None) -> float:
        """Conductance in mS; none in air."""
        return touched.ec_ms_per_cm / self._table.cell_constant_per_cm if touched else 0.0

    def volts_from(self, signal: float) -> float:
        """signal: conductance in mS."""
        return self._table.zero_v + signal / self._table.ms_per_v

    def open_volts(self, since_s: float) -> float:
        """No cell, no current."""
        return self._table.zero_v + self._random.gauss(0.0, self._noise_v)


class LevelSender(AnalogProbe):
    """A sender whose volts follow the water's level."""

    usual_drift_per_h = 0.02

    def __init__(self, table: LevelTable, random: Random) -> None:
        super().__init__(table, random)
        self._table = table
        self._share = 1.0

    def stand_at(self, level_share: float) -> None:
        """The water's level, as a share of the volume at the start."""
        self._share = level_share

    def signal_in(self, touched: Touched | None) -> float:
        """Share of the volume at the start; none in air."""
        return self._share if touched else 0.0

    def volts_from(self, signal: float) -> float:
        """signal: share of the volume at the start."""
        return self._table.empty_v + (self._table.full_v - self._table.empty_v) * signal

    def open_volts(self, since_s: float) -> float:
        """A broken wire: the board's own resistor pulls to ground."""
        return self._random.gauss(0.0, self._noise_v)


class SteadyVoltage(AnalogProbe):
    """A known voltage, whatever the water does."""

    can_fail = frozenset({FaultName.PROBE_UNPLUGGED, FaultName.PROBE_DRIFTING})
    usual_drift_per_h = 0.01  # V

    def __init__(self, table: SteadyVoltageTable, random: Random) -> None:
        super().__init__(table, random)
        self._table = table

    def signal_in(self, touched: Touched | None) -> float:
        """Volts."""
        return self._table.volts

    def volts_from(self, signal: float) -> float:
        """signal: volts."""
        return signal

    def open_volts(self, since_s: float) -> float:
        """A broken wire: the converter's own input, which floats."""
        return UNWIRED_V + self._random.gauss(0.0, self._noise_v)


class LightSensor(AnalogProbe):
    """A sensor of the light above a tank."""

    usual_drift_per_h = 1.0

    def __init__(self, table: LightTable, random: Random) -> None:
        super().__init__(table, random)
        self._table = table
        self._umol = 0.0

    def shine(self, day_s: float) -> None:
        """The light at this second of the day."""
        self._umol = self._table.mean_umol * room.daylight(self._table.on_h, self._table.off_h, day_s)

    def signal_in(self, touched: Touched | None) -> float:
        """µmol/(m² s), whatever the water does."""
        return self._umol

    def volts_from(self, signal: float) -> float:
        """signal: µmol/(m² s)."""
        return self._table.dark_v + signal / self._table.umol_per_v

    def open_volts(self, since_s: float) -> float:
        """Nothing drives the input."""
        return self._random.gauss(0.0, self._noise_v)


class AirSensor(Probe):
    """An SHT3x in the room's air: as warm as the hour has it, the vapour in it the same all day."""

    can_fail = frozenset({FaultName.PROBE_UNPLUGGED, FaultName.PROBE_STUCK})

    def __init__(self, table: AirTable, random: Random) -> None:
        super().__init__(table, random)
        self._table = table
        self.celsius, self.percent = table.air_c, table.humidity_percent

    def breathe(self, day_s: float) -> None:
        """The air at this second of the day."""
        if FaultName.PROBE_STUCK not in self.faults:
            self.celsius = room.temperature_c(self._table.air_c, self._table.air_swing_c, day_s)
            held = _saturated(self._table.air_c) * self._table.humidity_percent
            self.percent = min(100.0, held / _saturated(self.celsius))

    def signal_in(self, touched: Touched | None) -> float:
        """°C or %, whatever the water does."""
        return self.celsius if self._table.called == "air_temperature" else self.percent

    def shows(self) -> tuple[float, float] | None:
        """°C and % as the sensor has them; None where it is pulled out."""
        return None if FaultName.PROBE_UNPLUGGED in self.faults else (self.celsius, self.percent)


def _saturated(celsius: float) -> float:
    """Vapour that saturated air holds, in any unit. Source: Magnus' equation, as good as 1 %, from memory."""
    return exp(17.625 * celsius / (celsius + 243.04))
