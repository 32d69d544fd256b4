"""Thermometers: NTC and platinum behind dividers and sources, the DS18B20 through the kernel's folder."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Final, Literal

from pydantic import Field

from drivers.probe import Fault, Quantity, Sample, SensorError
from drivers.rig import Clock
from drivers.wiring import AdcWiring, Wiring

ZERO_C_IN_K: Final = 273.15
NTC_NOMINAL_K: Final = 298.15  # 25 °C, where a thermistor's nominal resistance holds

# IEC 60751, industrial platinum sensors: R = R0 (1 + A t + B t² + C (t - 100) t³), the last term below 0 °C only.
PT_A: Final = 3.9083e-3
PT_B: Final = -5.775e-7
PT_C: Final = -4.183e-12

# What a probe in a water-tight sleeve can be at. Beyond lies a broken wire or a short circuit, not water.
COLDEST_C: Final = -40.0
HOTTEST_C: Final = 125.0

# DS18B20 data sheet (Maxim 19-7487): the value before the first conversion, and the sensor's span.
POWER_ON_C: Final = 85.0
DS18B20_SPAN_C: Final = (-55.0, 125.0)

SensorTo = Literal["ground", "supply"]


class DividerWiring(AdcWiring):
    """A resistive sensor in series with a fixed resistor; the converter looks at the point between them."""

    supply_v: float = Field(ge=1.0, le=5.5, description="what feeds the divider")
    series_ohm: float = Field(ge=100.0, le=1e6, description="the fixed resistor, measured")
    sensor_to: SensorTo = Field(default="ground", description="which end of the divider the sensor is at")

    def _celsius_or_refuse(self, volts: float, celsius: float | None) -> float:
        if celsius is not None and COLDEST_C <= celsius <= HOTTEST_C:
            return celsius
        raise _no_temperature(self, f"{volts:.4f} V of {self.supply_v} V supply", "series_ohm and sensor_to")


class NtcDivider(DividerWiring):
    """A thermistor described by its resistance at 25 °C and its beta."""

    nominal_ohm: float = Field(ge=100.0, le=1e6, description="its resistance at 25 °C")
    beta_k: float = Field(ge=2000.0, le=6000.0, description="from its data sheet")

    def signal(self, volts: float) -> float:
        """°C. Raises SensorError for volts that no water temperature gives."""
        ohm = divider_ohm(volts, self.supply_v, self.series_ohm, self.sensor_to)
        celsius = None if ohm is None else ntc_celsius(ohm, self.nominal_ohm, self.beta_k)
        return self._celsius_or_refuse(volts, celsius)


class NtcSteinhartDivider(DividerWiring):
    """A thermistor described by the three coefficients of Steinhart and Hart, as of its maker's table.

    Over 0 to 50 °C they follow a real thermistor within some 0.02 K, one beta within some 0.3 K.
    """

    steinhart_a: float = Field(ge=1e-4, le=1e-2, description="its constant term, as 1.129148e-3")
    steinhart_b: float = Field(ge=1e-5, le=1e-3, description="the factor of ln(ohm), as 2.34125e-4")
    steinhart_c: float = Field(ge=1e-9, le=1e-5, description="the factor of ln(ohm) cubed, 1/K, as 8.76741e-8")

    def signal(self, volts: float) -> float:
        """°C. Raises SensorError for volts that no water temperature gives."""
        ohm = divider_ohm(volts, self.supply_v, self.series_ohm, self.sensor_to)
        of = (self.steinhart_a, self.steinhart_b, self.steinhart_c)
        return self._celsius_or_refuse(volts, None if ohm is None else steinhart_celsius(ohm, *of))


class PlatinumSource(AdcWiring):
    """A platinum sensor, 100 ohm at 0 °C if nothing else is said, fed by a constant current.

    volts = zero_v + current_ma * ohm * gain / 1000. Where the wires to the sensor carry the current too, their
    resistance reads as warmth: 0.39 ohm of a Pt100 are 1 K. So four wires, or take it into zero_v.
    """

    current_ma: float = Field(ge=0.05, le=5.0, description="through the sensor; 1 mA does not warm a Pt100")
    gain: float = Field(default=1.0, ge=0.5, le=200.0, description="of the amplifier behind it")
    zero_v: float = Field(default=0.0, ge=-6.144, le=6.144, description="output with the sensor shorted")
    nominal_ohm: float = Field(default=100.0, ge=10.0, le=10000.0, description="its resistance at 0 °C")

    def signal(self, volts: float) -> float:
        """°C. Raises SensorError for volts that no water temperature gives."""
        ohm = (volts - self.zero_v) / self.gain / self.current_ma * 1000.0
        celsius = platinum_celsius(ohm, self.nominal_ohm) if ohm > 0.0 else None
        if celsius is not None and COLDEST_C <= celsius <= HOTTEST_C:
            return celsius
        raise _no_temperature(self, f"{ohm:.1f} ohm", "current_ma, gain and zero_v")


class Pt1000Divider(DividerWiring):
    """A platinum sensor to IEC 60751, 1000 ohm at 0 °C if nothing else is said."""

    nominal_ohm: float = Field(default=1000.0, ge=100.0, le=10000.0, description="its resistance at 0 °C")

    def signal(self, volts: float) -> float:
        """°C. Raises SensorError for volts that no water temperature gives."""
        ohm = divider_ohm(volts, self.supply_v, self.series_ohm, self.sensor_to)
        celsius = None if ohm is None else platinum_celsius(ohm, self.nominal_ohm)
        return self._celsius_or_refuse(volts, celsius)


def _no_temperature(wiring: AdcWiring, what: str, keys: str) -> SensorError:
    return SensorError(
        Fault.IMPOSSIBLE,
        f"thermometer at input {wiring.input} of address 0x{wiring.address:02x}: {what} is no temperature "
        f"between {COLDEST_C:.0f} and {HOTTEST_C:.0f} °C: look for a broken wire, a short circuit or a loose "
        f"plug, and at {keys}",
    )


class Ds18b20Wiring(Wiring):
    """The sensor's number, as its folder below /sys/bus/w1/devices is named."""

    sensor_id: str = Field(pattern=r"^28-[0-9a-f]{12}$", description="as 28-0123456789ab")

    def claims(self) -> frozenset[str]:
        """The sensor, as `onewire:28-0316a2795cff`."""
        return frozenset({f"onewire:{self.sensor_id}"})


class Ds18b20:
    """A DS18B20 through the file that the kernel's one-wire driver makes. On real wires a read takes 0.75 s."""

    quantity = Quantity.TEMPERATURE

    def __init__(self, *, wiring: Ds18b20Wiring, one_wire_root: Path, clock: Clock) -> None:
        self._id = wiring.sensor_id
        self._file = one_wire_root / wiring.sensor_id / "w1_slave"
        self._clock = clock

    def sample(self) -> Sample:
        """°C, now. Raises SensorError: no answer, a wrong checksum, or a value that is none."""
        try:
            text = self._file.read_text(encoding="ascii", errors="replace")
        except OSError as error:
            raise self._error(Fault.NO_ANSWER, f"cannot be read ({error})") from error
        return Sample(self.quantity, self._clock.monotonic_s(), self._celsius(text))

    def close(self) -> None:
        """Nothing to give back: the file is open only while it is read."""

    def _celsius(self, text: str) -> float:
        """°C in the two lines of the file, `<9 bytes> : crc=57 YES` and `<9 bytes> t=23125`."""
        first, _, second = text.partition("\n")
        if not first.strip():
            raise self._error(Fault.NO_ANSWER, "gives an empty file")
        if not first.rstrip().endswith("YES"):
            raise self._error(Fault.CHECKSUM, f"fails its checksum ({first.strip()!r})")
        if set(first.partition(":")[0].split()) <= {"00"}:  # a data line held low: nine zeros even sum up right
            raise self._error(Fault.IMPOSSIBLE, "answers only zeros")
        digits = second.partition("t=")[2].strip()
        if not digits.removeprefix("-").isdecimal():
            raise self._error(Fault.IMPOSSIBLE, f"gives no temperature ({second.strip()!r})")
        celsius = int(digits) / 1000.0
        if celsius == POWER_ON_C or not DS18B20_SPAN_C[0] <= celsius <= DS18B20_SPAN_C[1]:
            raise self._error(Fault.IMPOSSIBLE, f"says {celsius} °C, as before its first conversion")
        return celsius

    def _error(self, fault: Fault, what: str) -> SensorError:
        return SensorError(
            fault,
            f"DS18B20 {self._id} {what}: look at its plug, at the 4.7 kΩ resistor between data and 3.3 V, "
            f"and whether {self._file} exists (`dtoverlay=w1-gpio` in config.txt)",
        )


def divider_ohm(volts: float, supply_v: float, series_ohm: float, sensor_to: SensorTo) -> float | None:
    """The sensor's resistance; None where the voltage is not between the supply's two ends (open, or shorted).

    sensor_to: the end the sensor is on; the resistor of series_ohm is on the other. Source: Ohm's law.
    """
    if not 0.0 < volts < supply_v:
        return None
    ratio = volts / (supply_v - volts)
    return series_ohm * ratio if sensor_to == "ground" else series_ohm / ratio


def ntc_celsius(ohm: float, nominal_ohm: float, beta_k: float) -> float | None:
    """°C of a thermistor: 1/T = 1/298.15 K + ln(R / nominal) / beta; None where T has no end (a short circuit).

    ohm: above 0. Source: the beta equation.
    """
    per_k = 1.0 / NTC_NOMINAL_K + math.log(ohm / nominal_ohm) / beta_k
    return 1.0 / per_k - ZERO_C_IN_K if per_k > 0.0 else None


def steinhart_celsius(ohm: float, a: float, b: float, c: float) -> float | None:
    """°C of a thermistor: 1/T = a + b ln R + c (ln R)³; None where T has no end (a short circuit).

    ohm: above 0. Source: Steinhart & Hart, Deep-Sea Research 15 (1968) 497, the equation without the square term.
    """
    logarithm = math.log(ohm)
    per_k = a + b * logarithm + c * logarithm**3
    return 1.0 / per_k - ZERO_C_IN_K if per_k > 0.0 else None


def ntc_ohm(celsius: float, nominal_ohm: float, beta_k: float) -> float:
    """Resistance of a thermistor at this temperature. Source: the beta equation."""
    return nominal_ohm * math.exp(beta_k * (1.0 / (celsius + ZERO_C_IN_K) - 1.0 / NTC_NOMINAL_K))


def platinum_ohm(celsius: float, nominal_ohm: float = 1000.0) -> float:
    """Resistance of a platinum sensor, -200..850 °C. nominal_ohm: at 0 °C. Source: IEC 60751."""
    below_zero = PT_C * (celsius - 100.0) * celsius**3 if celsius < 0.0 else 0.0
    return nominal_ohm * (1.0 + PT_A * celsius + PT_B * celsius**2 + below_zero)


def platinum_celsius(ohm: float, nominal_ohm: float = 1000.0) -> float | None:
    """°C of a platinum sensor, within 0.0001 K from -100 °C up; None above the curve's top. Source: IEC 60751.

    Above 0 °C the equation solves as a quadratic; below, Newton's steps take in the third term.
    """
    root = PT_A**2 - 4.0 * PT_B * (1.0 - ohm / nominal_ohm)
    if not root >= 0.0:
        return None
    celsius = (math.sqrt(root) - PT_A) / (2.0 * PT_B)
    if celsius < 0.0:
        for _ in range(3):
            too_high = platinum_ohm(celsius, nominal_ohm) - ohm
            celsius -= too_high / (nominal_ohm * (PT_A + 2.0 * PT_B * celsius))
    return celsius
