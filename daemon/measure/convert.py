"""From a sample to a reading: electrode mV to pH, conductance to EC at 25 °C. Pure.

What cannot be converted is answered with a `VerdictReason` (one formula) or a `NotRead` (one sample),
never with an exception or a made-up number.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from daemon.values import Numbers, Quantity, Reading, Sample, VerdictReason

GAS_CONSTANT_J_PER_MOL_K = 8.314462618  # exact by definition of the SI (CODATA 2018, rounded to 10 digits)
FARADAY_C_PER_MOL = 96485.33212
ZERO_C_IN_K = 273.15
ISOPOTENTIAL_PH = 7.0  # where a glass electrode gives its offset at any temperature: common practice

ELECTRODE_SPAN_C = (0.0, 50.0)  # where the slope below is checked against published values
ISO_7888_SPAN_C = (0.0, 35.0)  # range of the standard's table
LINEAR_SPAN_C = (0.0, 50.0)
LARGEST_PERCENT_PER_K = 3.0

_SLOPE_MV_PER_PH_K = 1000.0 * GAS_CONSTANT_J_PER_MOL_K * math.log(10.0) / FARADAY_C_PER_MOL


@dataclass(frozen=True, slots=True, kw_only=True)
class PhCalibration:
    """What two or three buffers told about a pH electrode.

    slope_percent: % of the theoretical slope; offset_mv: electrode mV at pH 7; day: ISO date (UTC).
    stop_gap: one buffer told the offset only, and the slope is the old one, or a guess.
    """

    slope_percent: float
    offset_mv: float
    day: str
    stop_gap: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class EcCalibration:
    """What one or two standards told about a conductivity cell.

    cell_constant_per_cm: mS/cm for each mS of conductance; offset_ms: conductance shown where there is
    none; day: ISO date (UTC).
    """

    cell_constant_per_cm: float
    offset_ms: float = 0.0
    day: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TemperatureCalibration:
    """What a reference thermometer told about a temperature probe: offset_k is added to what it shows."""

    offset_k: float
    day: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelCalibration:
    """Of a level sender: share = scale · (what its settings make of it) + offset_share."""

    scale: float
    offset_share: float
    day: str


Calibration = PhCalibration | EcCalibration | TemperatureCalibration | LevelCalibration


@dataclass(frozen=True, slots=True)
class Compensation:
    """How EC is brought to 25 °C: ISO 7888 where `linear_percent_per_k` is None, else that many % per K.

    Raises ValueError outside 0..3 % per K, where a factor could lose its sign.
    """

    linear_percent_per_k: float | None = None

    def __post_init__(self) -> None:
        percent = self.linear_percent_per_k
        if percent is not None and not (0.0 <= percent <= LARGEST_PERCENT_PER_K):
            raise ValueError(f"linear compensation {percent} % per K: must be 0 to {LARGEST_PERCENT_PER_K:g}")


ISO_7888 = Compensation()


@dataclass(frozen=True, slots=True)
class NotRead:
    """No reading this time, and why. `note`: the driver's own message; the sample is kept where there is one."""

    reason: VerdictReason
    note: str = ""
    sample: Sample | None = None
    numbers: Numbers = field(default_factory=dict)


def nernst_slope_mv_per_ph(temperature_c: float) -> float:
    """Theoretical slope of a glass electrode, mV per pH: R·T·ln(10)/F. 59.159 at 25 °C."""
    return _SLOPE_MV_PER_PH_K * (temperature_c + ZERO_C_IN_K)


def ph_from_mv(
    mv: float, calibration: PhCalibration | None, temperature_c: float | None
) -> float | VerdictReason:
    """pH from electrode mV: E = offset − slope(T)·(pH − 7).

    temperature_c: of the water, 0..50. Says NOT_CALIBRATED (also for a slope that is not above zero),
    NO_TEMPERATURE (missing or not a number) or OUT_OF_SPAN (temperature beyond its range, or mV not a
    number) where there is none.
    """
    if calibration is None or not (calibration.slope_percent > 0.0):
        return VerdictReason.NOT_CALIBRATED
    known_c = _within(temperature_c, ELECTRODE_SPAN_C)
    if isinstance(known_c, VerdictReason):
        return known_c
    slope_mv = nernst_slope_mv_per_ph(known_c) * calibration.slope_percent / 100.0
    return _finite(ISOPOTENTIAL_PH + (calibration.offset_mv - mv) / slope_mv)


def iso7888_f25(temperature_c: float) -> float | VerdictReason:
    """Factor that brings the conductivity of a natural water to 25 °C; 1.116 at 20 °C.

    temperature_c: 0..35, OUT_OF_SPAN beyond. Source: ISO 7888:1985 (= EN 27888), the equation behind
    its table of non-linear corrections; it gives 1.0004 at 25 °C where the printed table has 1.000.
    """
    low_c, high_c = ISO_7888_SPAN_C
    if not (low_c <= temperature_c <= high_c):
        return VerdictReason.OUT_OF_SPAN
    viscosity_ratio = -0.198058 + math.exp(-1.992186 + 231.17628 / (temperature_c + 86.39123))
    return float(((1.0 - 0.962144) + 0.962144 * viscosity_ratio**0.965078) * 1.116)


def ec25(
    conductance_ms: float,
    calibration: EcCalibration | None,
    temperature_c: float | None,
    compensation: Compensation,
) -> float | VerdictReason:
    """EC in mS/cm at 25 °C from the conductance of the cell in mS.

    temperature_c: of the water, 0..35 by ISO 7888, 0..50 linear. Says NOT_CALIBRATED, NO_TEMPERATURE
    or OUT_OF_SPAN where there is none, as `ph_from_mv`.
    """
    if calibration is None:
        return VerdictReason.NOT_CALIBRATED
    known_c = _within(temperature_c, compensation_span_c(compensation))
    factor = known_c if isinstance(known_c, VerdictReason) else _factor_to_25(known_c, compensation)
    if isinstance(factor, VerdictReason):
        return factor
    return _finite((conductance_ms - calibration.offset_ms) * calibration.cell_constant_per_cm * factor)


def compensation_span_c(compensation: Compensation) -> tuple[float, float]:
    """Lowest and highest water temperature, °C, that this compensation is good for."""
    return ISO_7888_SPAN_C if compensation.linear_percent_per_k is None else LINEAR_SPAN_C


def to_reading(
    sample: Sample,
    calibration: Calibration | None,
    temperature_c: float | None,
    compensation: Compensation = ISO_7888,
) -> Reading | NotRead:
    """The sample as a reading in its unit, or why there is none.

    Temperature and level need neither calibration nor temperature; one that is there corrects them. A
    calibration made for another quantity counts as none. A clipped or noisy sample still becomes a reading:
    judging is another function's work.
    """
    if sample.quantity is Quantity.PH:
        return _ph_reading(sample, calibration if isinstance(calibration, PhCalibration) else None, temperature_c)
    if sample.quantity is Quantity.EC:
        fitting = calibration if isinstance(calibration, EcCalibration) else None
        return _ec_reading(sample, fitting, temperature_c, compensation)
    return _corrected_reading(sample, calibration)


def _corrected_reading(sample: Sample, calibration: Calibration | None) -> Reading | NotRead:
    value, day = sample.signal, ""
    if sample.quantity is Quantity.TEMPERATURE and isinstance(calibration, TemperatureCalibration):
        value, day = value + calibration.offset_k, calibration.day
    elif sample.quantity is Quantity.LEVEL and isinstance(calibration, LevelCalibration):
        value, day = calibration.scale * value + calibration.offset_share, calibration.day
    if not math.isfinite(value):
        return NotRead(VerdictReason.OUT_OF_SPAN, sample=sample)
    return Reading(sample.quantity, value, sample.at_s, sample, calibration=day)


def _ph_reading(
    sample: Sample, calibration: PhCalibration | None, temperature_c: float | None
) -> Reading | NotRead:
    if calibration is None:
        return NotRead(VerdictReason.NOT_CALIBRATED, sample=sample)
    ph = ph_from_mv(sample.signal, calibration, temperature_c)
    if isinstance(ph, VerdictReason):
        return NotRead(ph, sample=sample, numbers=_beyond(temperature_c, ELECTRODE_SPAN_C))
    day, slope_percent = calibration.day, calibration.slope_percent
    stop_gap = calibration.stop_gap
    return Reading(Quantity.PH, ph, sample.at_s, sample, temperature_c, day, slope_percent, stop_gap)


def _ec_reading(
    sample: Sample, calibration: EcCalibration | None, temperature_c: float | None, compensation: Compensation
) -> Reading | NotRead:
    if calibration is None:
        return NotRead(VerdictReason.NOT_CALIBRATED, sample=sample)
    ec = ec25(sample.signal, calibration, temperature_c, compensation)
    if isinstance(ec, VerdictReason):
        return NotRead(ec, sample=sample, numbers=_beyond(temperature_c, compensation_span_c(compensation)))
    return Reading(Quantity.EC, ec, sample.at_s, sample, temperature_c, calibration.day)


def _within(temperature_c: float | None, span_c: tuple[float, float]) -> float | VerdictReason:
    """The temperature itself, or why nothing can be compensated with it."""
    if temperature_c is None or not math.isfinite(temperature_c):
        return VerdictReason.NO_TEMPERATURE
    low_c, high_c = span_c
    return temperature_c if low_c <= temperature_c <= high_c else VerdictReason.OUT_OF_SPAN


def _beyond(temperature_c: float | None, span_c: tuple[float, float]) -> Numbers:
    """The temperature and the range it is beyond; empty where it is not the temperature's fault."""
    if temperature_c is None or _within(temperature_c, span_c) is not VerdictReason.OUT_OF_SPAN:
        return {}
    return {"temperature_c": temperature_c, "lowest_c": span_c[0], "highest_c": span_c[1]}


def _factor_to_25(temperature_c: float, compensation: Compensation) -> float | VerdictReason:
    if compensation.linear_percent_per_k is None:
        return iso7888_f25(temperature_c)
    return 1.0 / (1.0 + compensation.linear_percent_per_k / 100.0 * (temperature_c - 25.0))


def _finite(value: float) -> float | VerdictReason:
    return value if math.isfinite(value) else VerdictReason.OUT_OF_SPAN
