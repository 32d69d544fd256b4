"""The `[rig]` table of a simulated bench: tanks, the probes in them, the pumps at them, and faults to come.

    [rig]                               clock, chance, socket
    [rig.tank.bed1]                     the water, plants and system: keys of TankSettings, in tank_settings.py
    [[rig.tank.bed1.probe]]             kind = "ph_amplifier", where it is wired, how it truly is
    [[rig.tank.bed1.pump]]              role = "ph_down", line, true rate, what is in the bottle
    [[rig.fault]]                       name, target = "bed1/ph", start_s, end_s

What a probe or pump truly is stands here; what the daemon believes of it stands in its own tables. They differ.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from math import inf
from typing import Annotated, Any, ClassVar, Literal, Self

from pydantic import AwareDatetime, Field, ValidationError, model_validator

from config.complaint import complaints_of
from drivers.rig import RigError
from sim_hw.clock import DEFAULT_START_UTC, REAL_TIME
from sim_hw.faults import FaultName
from sim_hw.strict import Table
from sim_hw.tank_settings import TankSettings


class ProbeTable(Table):
    """Any probe. `response_s`: time until 63 % of a sudden change shows."""

    called: ClassVar[str]
    name: str = ""  # in its tank, as in "bed1/ph"; the quantity where left out
    response_s: float = Field(default=2.0, gt=0.0, le=3600.0)

    def name_in_tank(self) -> str:
        """What a person calls it."""
        return self.name or self.called


class AnalogTable(ProbeTable):
    """A probe at a converter. With `minus_input`, its volts stand above `minus_v`, wired to that input."""

    i2c_bus: int = Field(default=1, ge=0, le=31)
    address: int = Field(default=0x48, ge=0x48, le=0x4B)
    input: int = Field(ge=0, le=3)
    minus_input: int | None = Field(default=None, ge=0, le=3)
    minus_v: float = Field(default=1.65, ge=0.0, le=5.5)
    supply_v: float = Field(default=3.3, ge=1.0, le=5.5)
    noise_mv: float = Field(default=0.5, ge=0.0, le=500.0)  # standard deviation of one conversion
    mains_hz: float = Field(default=50.0, ge=45.0, le=65.0)  # of the hum, where the fault probe_hum brings some


class PhTable(AnalogTable):
    """A glass electrode: a few mV off and a few percent flat, as they come."""

    called: ClassVar[str] = "ph"
    kind: Literal["ph_amplifier"]
    response_s: float = Field(default=5.0, gt=0.0, le=3600.0)
    zero_v: float = Field(ge=-6.144, le=6.144)
    gain: float = Field(ge=-100.0, le=100.0)
    slope_percent: float = Field(default=97.0, ge=1.0, le=120.0)  # of Nernst's
    offset_mv: float = Field(default=6.0, ge=-200.0, le=200.0)


class EcTable(AnalogTable):
    """A conductivity cell whose constant is not quite the nominal 1."""

    called: ClassVar[str] = "ec"
    kind: Literal["ec_amplifier"]
    zero_v: float = Field(default=0.0, ge=-6.144, le=6.144)
    ms_per_v: float = Field(gt=0.0, le=1000.0)
    cell_constant_per_cm: float = Field(default=0.98, ge=0.01, le=20.0)
    excitation_line: int | None = Field(default=None, ge=0, le=27)  # high: its current flows; None: always
    disturbs_ph_mv: float = Field(default=0.0, ge=-500.0, le=500.0)  # of a pH electrode in its tank, meanwhile


class DividerTable(AnalogTable):
    """A resistive thermometer in series with a fixed resistor."""

    called: ClassVar[str] = "temperature"
    response_s: float = Field(default=8.0, gt=0.0, le=3600.0)
    series_ohm: float = Field(ge=100.0, le=1e6)
    sensor_to: Literal["ground", "supply"] = "ground"
    error_c: float = Field(default=0.1, ge=-20.0, le=20.0)  # how much too warm it is


class NtcTable(DividerTable):
    """A thermistor."""

    kind: Literal["ntc_divider"]
    nominal_ohm: float = Field(ge=100.0, le=1e6)
    beta_k: float = Field(ge=2000.0, le=6000.0)


class NtcSteinhartTable(DividerTable):
    """A thermistor by three coefficients."""

    kind: Literal["ntc_steinhart_divider"]
    steinhart_a: float = Field(ge=1e-4, le=1e-2)
    steinhart_b: float = Field(ge=1e-5, le=1e-3)
    steinhart_c: float = Field(ge=1e-9, le=1e-5)


class PlatinumSourceTable(AnalogTable):
    """A platinum sensor fed by a constant current; `lead_ohm` in series with it."""

    called: ClassVar[str] = "temperature"
    kind: Literal["platinum_source"]
    response_s: float = Field(default=8.0, gt=0.0, le=3600.0)
    current_ma: float = Field(ge=0.05, le=5.0)
    gain: float = Field(default=1.0, ge=0.5, le=200.0)
    zero_v: float = Field(default=0.0, ge=-6.144, le=6.144)
    nominal_ohm: float = Field(default=100.0, ge=10.0, le=10000.0)
    lead_ohm: float = Field(default=0.02, ge=0.0, le=100.0)


class Pt1000Table(DividerTable):
    """A platinum sensor."""

    kind: Literal["pt1000_divider"]
    nominal_ohm: float = Field(default=1000.0, ge=100.0, le=10000.0)


class Ds18b20Table(ProbeTable):
    """A one-wire thermometer."""

    called: ClassVar[str] = "temperature"
    kind: Literal["ds18b20"]
    response_s: float = Field(default=8.0, gt=0.0, le=3600.0)
    sensor_id: str = Field(pattern=r"^28-[0-9a-f]{12}$")
    error_c: float = Field(default=0.1, ge=-20.0, le=20.0)


class FloatSwitchTable(ProbeTable):
    """A contact to ground that changes at `switches_at_share` of the volume at the start."""

    called: ClassVar[str] = "level"
    kind: Literal["float_switch"]
    line: int = Field(ge=0, le=27)
    closed_means: Literal["enough", "low"] = "enough"
    switches_at_share: float = Field(default=0.5, gt=0.0, lt=1.0)


class LevelTable(AnalogTable):
    """A level sender; its volts run straight from empty to the volume at the start."""

    called: ClassVar[str] = "level"
    kind: Literal["level_sender"]
    response_s: float = Field(default=5.0, gt=0.0, le=3600.0)
    empty_v: float = Field(default=0.5, ge=-6.144, le=6.144)
    full_v: float = Field(default=2.5, ge=-6.144, le=6.144)


class LightTable(AnalogTable):
    """A light sensor: daylight of the tank's hours, `mean_umol` over the whole day."""

    called: ClassVar[str] = "light"
    kind: Literal["light_sensor"]
    dark_v: float = Field(default=0.0, ge=-6.144, le=6.144)
    umol_per_v: float = Field(gt=0.0, le=1e5)
    mean_umol: float = Field(default=150.0, ge=0.0, le=2000.0)
    on_h: float = Field(default=6.0, ge=0.0, lt=24.0)
    off_h: float = Field(default=20.0, gt=0.0, le=24.0)


class AirTable(ProbeTable):
    """One of the two quantities of an SHT3x, in the room's air: `air_c` on average, the same vapour all day."""

    response_s: float = Field(default=8.0, gt=0.0, le=3600.0)
    i2c_bus: int = Field(default=1, ge=0, le=31)
    address: int = Field(default=0x44, ge=0x44, le=0x45)
    air_c: float = Field(default=22.0, ge=-10.0, le=60.0)
    air_swing_c: float = Field(default=3.0, ge=0.0, le=20.0)  # above and below the average, in a day
    humidity_percent: float = Field(default=60.0, ge=1.0, le=100.0)  # at the average temperature


class AirTemperatureTable(AirTable):
    """Its thermometer."""

    called: ClassVar[str] = "air_temperature"
    kind: Literal["sht3x_temperature"]


class HumidityTable(AirTable):
    """Its hygrometer."""

    called: ClassVar[str] = "humidity"
    kind: Literal["sht3x_humidity"]


class ContactTable(ProbeTable):
    """A contact to ground that is closed as long as its wire is whole: pump running, tray dry."""

    called: ClassVar[str] = "contact"
    kind: Literal["contact"]
    line: int = Field(ge=0, le=27)


class SteadyVoltageTable(AnalogTable):
    """A shunt reference on a spare input, a little off as they come."""

    called: ClassVar[str] = "reference"
    kind: Literal["steady_voltage"]
    volts: float = Field(default=2.503, ge=0.0, le=5.5)
    noise_mv: float = Field(default=0.1, ge=0.0, le=500.0)


AnyProbeTable = Annotated[
    PhTable
    | EcTable
    | NtcTable
    | NtcSteinhartTable
    | PlatinumSourceTable
    | Pt1000Table
    | Ds18b20Table
    | LevelTable
    | FloatSwitchTable
    | ContactTable
    | LightTable
    | AirTemperatureTable
    | HumidityTable
    | SteadyVoltageTable,
    Field(discriminator="kind"),
]


class PumpTable(Table):
    """A pump: its GPIO line, its true rate, and what its bottle holds at the start."""

    role: Literal["ph_down", "ph_up", "stock_a", "stock_b", "top_up"]
    line: int = Field(ge=0, le=27)
    ml_per_s: float = Field(default=1.03, gt=0.0, le=20.0)
    bottle_ml: float = Field(default=1000.0, ge=0.0, le=20000.0)


class TankTable(TankSettings):
    """A tank's water (see TankSettings), the probes in it and the pumps at it."""

    probe: tuple[AnyProbeTable, ...] = Field(default=(), strict=False)
    pump: tuple[PumpTable, ...] = Field(default=(), strict=False)


class FaultTable(Table):
    """A fault to come: seconds of bench time since the bench was opened."""

    name: FaultName = Field(strict=False)
    target: str = Field(pattern=r"^[^/]+/[^/]+$", description="tank/probe or tank/role, as bed1/ph")
    start_s: float = Field(ge=0.0)
    end_s: float = Field(default=inf, gt=0.0, allow_inf_nan=True)
    size: float | None = None

    @model_validator(mode="after")
    def _ends_after_start(self) -> Self:
        if not self.start_s < self.end_s:
            raise ValueError(f"end_s = {self.end_s:g}: must be after start_s = {self.start_s:g}")
        return self


class BenchTable(Table):
    """The whole `[rig]` table."""

    open: str
    time_factor: float = Field(default=0.0, ge=0.0, le=100_000.0)  # bench seconds per real second; 0: stepped
    seed: int = 1
    start_utc: AwareDatetime = DEFAULT_START_UTC  # of a stepped clock
    socket: str | None = Field(default=None, min_length=1)
    pins_file: str | None = Field(default=None, min_length=1)
    cut_out_line: int | None = Field(default=None, ge=0, le=27)  # of a relay in series with the pumps' supply
    tank: dict[str, TankTable] = Field(min_length=1)
    fault: tuple[FaultTable, ...] = Field(default=(), strict=False)

    @model_validator(mode="after")
    def _pins_in_real_time(self) -> Self:
        if self.pins_file is not None and self.time_factor != REAL_TIME:
            raise ValueError(
                f"pins_file with time_factor = {self.time_factor:g}: another process keeps real time, so set "
                "time_factor = 1 or leave pins_file out"
            )
        return self

    @model_validator(mode="after")
    def _nothing_twice(self) -> Self:
        for what, count in Counter(self._claims()).items():
            if count > 1:
                raise ValueError(f"{what} is there {count} times: each may be there once")
        return self

    def _claims(self) -> Iterator[str]:
        if self.cut_out_line is not None:
            yield f"line {self.cut_out_line}"
        for tank_name, tank in self.tank.items():
            for probe in tank.probe:
                yield f"probe {tank_name}/{probe.name_in_tank()}"
                yield _wire_of(probe)
            for pump in tank.pump:
                yield f"pump {tank_name}/{pump.role}"
                yield f"line {pump.line}"


def _wire_of(probe: ProbeTable) -> str:
    if isinstance(probe, AnalogTable):
        return f"input {probe.input} of address 0x{probe.address:02x} on bus {probe.i2c_bus}"
    if isinstance(probe, FloatSwitchTable | ContactTable):
        return f"line {probe.line}"
    if isinstance(probe, AirTable):
        return f"{probe.called} of address 0x{probe.address:02x} on bus {probe.i2c_bus}"
    return f"sensor {getattr(probe, 'sensor_id', '')}"


def check(table: Mapping[str, Any]) -> BenchTable:
    """The table, checked. Raises RigError with one line for each thing wrong."""
    try:
        return BenchTable.model_validate(dict(table))
    except ValidationError as error:
        lines = [complaint.line("the simulated bench:") for complaint in complaints_of(error, BenchTable, "rig")]
        raise RigError("\n".join(lines)) from error
