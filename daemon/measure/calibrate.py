"""Two points make a calibration, or a reason why not. Pure.

The limits for a pH electrode (slope 85 to 105 % of theory, offset within ±30 mV) are common practice
for glass electrodes; at 25 °C they are 50.3 to 62.1 mV per pH.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from enum import StrEnum
from itertools import pairwise
from typing import Generic, TypeVar

from daemon.measure.convert import (
    ISOPOTENTIAL_PH,
    EcCalibration,
    PhCalibration,
    nernst_slope_mv_per_ph,
)
from daemon.measure.settling import allowed_spread
from daemon.values import Numbers, Quality, Quantity

SLOPE_PERCENT = (85.0, 105.0)  # accepted, both ends included
SLOPE_WORN_BELOW_PERCENT = 95.0  # accepted with a warning
OFFSET_MV = (-30.0, 30.0)
CELL_NOMINAL_PER_CM = 1.0
CELL_CONSTANT_PER_CM = (0.5 * CELL_NOMINAL_PER_CM, 2.0 * CELL_NOMINAL_PER_CM)
CELL_ODD_SHARE = 0.25  # further than this from nominal is accepted with a warning
EC_OFFSET_MS = (-0.15, 0.15)  # a clean cell in air shows a few µS
TEMPERATURE_C = (5.0, 40.0)
TEMPERATURE_STEP_K = 5.0  # largest difference between points
CLOSEST_PH = 2.0
CLOSEST_EC_RATIO = 1.5
NO_RESPONSE_PERCENT = 20.0  # less slope than this: the probe does not see the buffers at all
OFF_THE_LINE_PH = 0.1  # a third buffer may miss the line through all by this
THOUSAND = 1000.0  # between µS and mS
_DECIMALS = 6  # of a fitted number: limits hold exactly in spite of binary fractions


class FitReason(StrEnum):
    """Why a calibration is not simply good. Words are made at the edge, from these and the numbers."""

    FINE = "fine"
    """Nothing to say against it."""

    POINT_COUNT = "point_count"
    """Too few or too many points: pH takes two or three, EC one or two. Numbers: points, fewest, most."""

    NOT_A_NUMBER = "not_a_number"
    """A reference, signal, spread or temperature is not a finite number."""

    SAME_STANDARD = "same_standard"
    """One solution was used twice."""

    TOO_CLOSE = "too_close"
    """The standards lie too near each other to give a slope. Numbers: apart_ph or ratio, and the least."""

    UNSTABLE = "unstable"
    """The signal had not come to rest: wait longer, stir less. Numbers: spread, allowed_spread."""

    TEMPERATURES_DIFFER = "temperatures_differ"
    """The points were taken too many kelvin apart. Numbers: apart_k, most_k."""

    TEMPERATURE_RANGE = "temperature_range"
    """A standard too cold or too warm to be trusted. Numbers: temperature_c, lowest_c, highest_c."""

    SWAPPED = "swapped"
    """The signal moved the wrong way: the standards were swapped. Numbers: slope_percent or cell constant."""

    NO_RESPONSE = "no_response"
    """Hardly any signal, or hardly any change: same cup twice, cracked bulb, dry or unplugged probe."""

    SLOPE_LOW = "slope_low"
    """Slope too low: worn or dirty electrode, or an old buffer. Numbers: slope_percent, lowest_percent."""

    SLOPE_HIGH = "slope_high"
    """Slope above what physics allows: a wrong or spoiled buffer. Numbers: slope_percent, highest_percent."""

    SLOPE_WORN = "slope_worn"
    """Accepted, but the electrode is ageing: clean it, have a new one ready. Numbers: slope_percent."""

    OFFSET = "offset"
    """Offset too large: old reference, or a buffer that is not what its label says. Numbers: offset_mv or _ms."""

    OFF_THE_LINE = "off_the_line"
    """Three buffers do not lie on one line, so one of them is wrong. Numbers: off_ph, most_ph."""

    CELL_CONSTANT = "cell_constant"
    """Cell constant too far from nominal: dirty cell, bubble, wrong standard. Numbers: cell_constant_per_cm."""

    CELL_ODD = "cell_odd"
    """Accepted, but far from nominal: check which standard it was. Numbers: cell_constant_per_cm."""

    THOUSANDFOLD = "thousandfold"
    """The standard was given in µS/cm where mS/cm are meant, or the other way round. Numbers: ratio."""


@dataclass(frozen=True, slots=True)
class Point:
    """One look at one standard.

    standard: its name; reference: its pH, or mS/cm, at its own temperature; signal: mean electrode mV or
    conductance in mS; spread: largest minus smallest signal while it was taken; utc: when (aware).
    """

    standard: str
    reference: float
    signal: float
    spread: float
    temperature_c: float
    utc: datetime


C = TypeVar("C", PhCalibration, EcCalibration)


@dataclass(frozen=True, slots=True)
class Fit(Generic[C]):
    """A calibration or None, with the verdict on it.

    quality: GOOD, UNCERTAIN (kept, with a warning) or BAD (no calibration; the old one stays).
    reasons: never empty; the numbers a person can check each by are named in `FitReason`.
    """

    calibration: C | None
    quality: Quality
    reasons: tuple[FitReason, ...]
    numbers: Numbers = field(default_factory=dict)


PhFit = Fit[PhCalibration]
EcFit = Fit[EcCalibration]
_Finding = tuple[FitReason, dict[str, float]]


def fit_ph(points: Sequence[Point]) -> PhFit:
    """Slope (% of theory at each point's own temperature) and offset (mV at pH 7) from two or three buffers."""
    against = _against_points(points, Quantity.PH, fewest=2, most=3)
    if against:
        return _refused(against)
    ideal_mv = [nernst_slope_mv_per_ph(p.temperature_c) * (ISOPOTENTIAL_PH - p.reference) for p in points]
    slope, offset_mv = _line(ideal_mv, [p.signal for p in points])
    slope_percent, offset_mv = round(100.0 * slope, _DECIMALS), round(offset_mv, _DECIMALS)
    numbers = {"slope_percent": slope_percent, "offset_mv": offset_mv}
    against = list(_against_ph(points, slope_percent, offset_mv))
    if against:
        return _refused(against, numbers)
    calibration = PhCalibration(slope_percent=slope_percent, offset_mv=offset_mv, day=_day(points))
    if slope_percent < SLOPE_WORN_BELOW_PERCENT:
        return Fit(calibration, Quality.UNCERTAIN, (FitReason.SLOPE_WORN,), numbers)
    return Fit(calibration, Quality.GOOD, (FitReason.FINE,), numbers)


def fit_ec(points: Sequence[Point]) -> EcFit:
    """Cell constant (per cm), and with two standards the offset (mS). One standard takes the offset as zero."""
    against = _against_points(points, Quantity.EC, fewest=1, most=2)
    if against:
        return _refused(against)
    constant, offset_ms = _cell(points)
    constant, offset_ms = round(constant, _DECIMALS), round(offset_ms, _DECIMALS)
    numbers = {"cell_constant_per_cm": constant, "offset_ms": offset_ms}
    against = list(_against_ec(constant, offset_ms))
    if against:
        return _refused(against, numbers)
    calibration = EcCalibration(cell_constant_per_cm=constant, offset_ms=offset_ms, day=_day(points))
    if abs(constant / CELL_NOMINAL_PER_CM - 1.0) > CELL_ODD_SHARE:
        return Fit(calibration, Quality.UNCERTAIN, (FitReason.CELL_ODD,), numbers)
    return Fit(calibration, Quality.GOOD, (FitReason.FINE,), numbers)


def _refused(against: Iterable[_Finding], numbers: Numbers | None = None) -> Fit[C]:
    found = list(against)
    gathered = dict(numbers or {})
    for _, more in found:
        gathered.update(more)
    return Fit(None, Quality.BAD, tuple(dict.fromkeys(reason for reason, _ in found)), gathered)


def _against_points(points: Sequence[Point], quantity: Quantity, *, fewest: int, most: int) -> list[_Finding]:
    """What speaks against the points before anything is fitted."""
    if not (fewest <= len(points) <= most):
        return [(FitReason.POINT_COUNT, {"points": len(points), "fewest": fewest, "most": most})]
    if not all(math.isfinite(n) for p in points for n in (p.reference, p.signal, p.spread, p.temperature_c)):
        return [(FitReason.NOT_A_NUMBER, {})]
    apart = _against_ph_references if quantity is Quantity.PH else _against_ec_references
    return [*_against_rest(points, quantity), *_against_temperatures(points), *apart(points)]


def _against_rest(points: Sequence[Point], quantity: Quantity) -> Iterable[_Finding]:
    for point in points:
        allowed = allowed_spread(quantity, point.signal)
        if not (0.0 <= point.spread <= allowed):
            yield FitReason.UNSTABLE, {"spread": point.spread, "allowed_spread": allowed}


def _against_temperatures(points: Sequence[Point]) -> Iterable[_Finding]:
    lowest_c, highest_c = TEMPERATURE_C
    for point in points:
        if not (lowest_c <= point.temperature_c <= highest_c):
            numbers = {"temperature_c": point.temperature_c, "lowest_c": lowest_c, "highest_c": highest_c}
            yield FitReason.TEMPERATURE_RANGE, numbers
    apart_k = max(p.temperature_c for p in points) - min(p.temperature_c for p in points)
    if not (apart_k <= TEMPERATURE_STEP_K):
        yield FitReason.TEMPERATURES_DIFFER, {"apart_k": apart_k, "most_k": TEMPERATURE_STEP_K}


def _against_ph_references(points: Sequence[Point]) -> Iterable[_Finding]:
    if len({p.standard for p in points}) < len(points):
        yield FitReason.SAME_STANDARD, {}
        return
    references = sorted(p.reference for p in points)
    apart = min(high - low for low, high in pairwise(references))
    if not (round(apart, _DECIMALS) >= CLOSEST_PH):
        yield FitReason.TOO_CLOSE, {"apart_ph": apart, "least_ph": CLOSEST_PH}


def _against_ec_references(points: Sequence[Point]) -> Iterable[_Finding]:
    for point in points:
        yield from _against_ec_reference(point)
    if len({p.standard for p in points}) < len(points):
        yield FitReason.SAME_STANDARD, {}
        return
    low, high = min(p.reference for p in points), max(p.reference for p in points)
    if len(points) > 1 and not (high >= CLOSEST_EC_RATIO * low):
        yield FitReason.TOO_CLOSE, {"ratio": high / low, "least_ratio": CLOSEST_EC_RATIO}


def _against_ec_reference(point: Point) -> Iterable[_Finding]:
    """One standard against its signal: no signal at all, or a factor of a thousand between them."""
    least, most = CELL_CONSTANT_PER_CM
    if not (point.reference > 0.0) or not (point.signal * most * THOUSAND >= point.reference):
        yield FitReason.NO_RESPONSE, {"signal": point.signal, "reference": point.reference}
        return
    ratio = point.reference / point.signal
    if least <= ratio / THOUSAND <= most or least <= ratio * THOUSAND <= most:
        yield FitReason.THOUSANDFOLD, {"ratio": ratio}


def _against_ph(points: Sequence[Point], slope_percent: float, offset_mv: float) -> Iterable[_Finding]:
    """What speaks against the line. A wrong direction says enough; then slope and offset mean nothing."""
    lowest, highest = SLOPE_PERCENT
    if abs(slope_percent) < NO_RESPONSE_PERCENT:
        yield FitReason.NO_RESPONSE, {}
    elif _rises_with_ph(points):
        yield FitReason.SWAPPED, {}
    elif not (slope_percent >= lowest):
        yield FitReason.SLOPE_LOW, {"lowest_percent": lowest}
    elif not (slope_percent <= highest):
        yield FitReason.SLOPE_HIGH, {"highest_percent": highest}
    else:
        yield from _against_offset_and_line(points, slope_percent, offset_mv)


def _against_offset_and_line(
    points: Sequence[Point], slope_percent: float, offset_mv: float
) -> Iterable[_Finding]:
    if not (OFFSET_MV[0] <= offset_mv <= OFFSET_MV[1]):
        yield FitReason.OFFSET, {"lowest_mv": OFFSET_MV[0], "highest_mv": OFFSET_MV[1]}
    off_ph = max(_off_ph(p, slope_percent, offset_mv) for p in points)
    if not (off_ph <= OFF_THE_LINE_PH):
        yield FitReason.OFF_THE_LINE, {"off_ph": off_ph, "most_ph": OFF_THE_LINE_PH}


def _off_ph(point: Point, slope_percent: float, offset_mv: float) -> float:
    """How far a point lies off the line, in pH."""
    slope_mv = nernst_slope_mv_per_ph(point.temperature_c) * slope_percent / 100.0
    return abs((offset_mv - point.signal) / slope_mv + ISOPOTENTIAL_PH - point.reference)


def _rises_with_ph(points: Sequence[Point]) -> bool:
    """Whether the signal rises anywhere from one buffer to the next higher one: a glass electrode falls."""
    signals = [p.signal for p in sorted(points, key=lambda p: p.reference)]
    return any(not (later < earlier) for earlier, later in pairwise(signals))


def _cell(points: Sequence[Point]) -> tuple[float, float]:
    """Cell constant and offset of reference = constant · (signal − offset). No change gives a constant of 0."""
    first, last = points[0], points[-1]
    if len(points) == 1:
        return first.reference / first.signal, 0.0
    between_ms = last.signal - first.signal
    constant = (last.reference - first.reference) / between_ms if between_ms else 0.0
    return constant, first.signal - first.reference / constant if constant else 0.0


def _against_ec(constant: float, offset_ms: float) -> Iterable[_Finding]:
    lowest, highest = CELL_CONSTANT_PER_CM
    if constant < 0.0:
        yield FitReason.SWAPPED, {}
    elif not (lowest <= constant <= highest):
        yield FitReason.CELL_CONSTANT, {"lowest_per_cm": lowest, "highest_per_cm": highest}
    elif not (EC_OFFSET_MS[0] <= offset_ms <= EC_OFFSET_MS[1]):
        yield FitReason.OFFSET, {"lowest_ms": EC_OFFSET_MS[0], "highest_ms": EC_OFFSET_MS[1]}


def _line(xs: Sequence[float], ys: Sequence[float]) -> tuple[float, float]:
    """Least squares: slope and value at zero. The xs must not all be equal."""
    mean_x, mean_y = sum(xs) / len(xs), sum(ys) / len(ys)
    from_mean = [x - mean_x for x in xs]
    square = sum(x * x for x in from_mean)
    slope = sum(x * (y - mean_y) for x, y in zip(from_mean, ys, strict=True)) / square
    return slope, mean_y - slope * mean_x


def _day(points: Sequence[Point]) -> str:
    return max(p.utc for p in points).astimezone(UTC).date().isoformat()
