"""Points make a calibration, or a reason why not. Pure.

    pH            two or three buffers; one alone gives an offset as a stop-gap
    EC            one or two standards

Temperature and level, which need no solutions, are in `by_reference`.

The limits for a pH electrode (slope 85 to 105 % of theory, offset within ±30 mV) are common practice
for glass electrodes; at 25 °C they are 50.3 to 62.1 mV per pH.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from enum import StrEnum
from itertools import pairwise
from typing import Generic, TypeVar

from daemon.measure.convert import (
    ISOPOTENTIAL_PH,
    EcCalibration,
    LevelCalibration,
    PhCalibration,
    TemperatureCalibration,
    nernst_slope_mv_per_ph,
)
from daemon.measure.lines import line
from daemon.measure.settling import allowed
from daemon.measure.standards import ph_standard
from daemon.values import Numbers, Quality, Quantity

SLOPE_PERCENT = (85.0, 105.0)  # accepted, both ends included
SLOPE_WORN_BELOW_PERCENT = 95.0  # accepted with a warning
OFFSET_MV = (-30.0, 30.0)
CELL_NOMINAL_PER_CM = 1.0
CELL_CONSTANT_PER_CM = (0.5 * CELL_NOMINAL_PER_CM, 2.0 * CELL_NOMINAL_PER_CM)
CELL_ODD_SHARE = 0.25  # further than this from nominal is accepted with a warning
EC_OFFSET_MS = (-0.15, 0.15)  # a clean cell in air shows a few µS
CELL_CHANGED_SHARE = 0.10  # further than this from the old one is accepted with a warning
WEAK_MS_PER_CM = 0.5  # a standard below this shows the offset, and too little of the cell constant
TEMPERATURE_C = (5.0, 40.0)
TEMPERATURE_STEP_K = 5.0  # largest difference between points
CLOSEST_PH = 2.0
CLOSEST_EC_RATIO = 1.5
NO_RESPONSE_PERCENT = 20.0  # less slope than this: the probe does not see the buffers at all
OFF_THE_LINE_PH = 0.05  # a third buffer may miss the line through all by this; 6.86 for 7.00 misses it by 0.09
THOUSAND = 1000.0  # between µS and mS
_DECIMALS = 6  # of a fitted number: limits hold exactly in spite of binary fractions


class FitReason(StrEnum):
    """Why a calibration is not simply good. Words are made at the edge, from these and the numbers."""

    FINE = "fine"
    """Nothing to say against it."""

    POINT_COUNT = "point_count"
    """Too few or too many points. Numbers: points, fewest, most."""

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

    CELL_CHANGED = "cell_changed"
    """Accepted, but far from the last one: coated cell, or another standard. Numbers: change_share."""

    TOO_WEAK = "too_weak"
    """Only weak standards, far from a nutrient solution's strength. Numbers: reference, least_ms_per_cm."""

    STOP_GAP = "stop_gap"
    """Accepted for watching: one buffer shows neither the slope nor that the probe answers at all."""

    PERHAPS_686 = "perhaps_686"
    """What was called 7.00 fits far better as the 6.86 buffer. Numbers: off_ph, off_ph_exchanged."""

    PERHAPS_700 = "perhaps_700"
    """What was called 6.86 fits far better as the 7.00 buffer. Numbers as PERHAPS_686."""

    LEVEL_SCALE = "level_scale"
    """A level far from what empty_v and full_v of the settings make of it. Numbers: scale, offset_share."""

    THOUSANDFOLD = "thousandfold"
    """The standard was given in µS/cm where mS/cm are meant, or the other way round. Numbers: ratio."""


@dataclass(frozen=True, slots=True)
class Point:
    """One look at one standard.

    standard: its name; reference: its pH, or mS/cm, at its own temperature; signal: mean electrode mV or
    conductance in mS (of temperature and level: °C and share, before any calibration); spread: largest minus
    smallest signal while it was taken; utc: when (aware); settled_s: how long it took to come to rest, where
    that is known.
    """

    standard: str
    reference: float
    signal: float
    spread: float
    temperature_c: float
    utc: datetime
    settled_s: float | None = None


C = TypeVar("C", PhCalibration, EcCalibration, TemperatureCalibration, LevelCalibration)


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
TemperatureFit = Fit[TemperatureCalibration]
LevelFit = Fit[LevelCalibration]
AnyFit = PhFit | EcFit | TemperatureFit | LevelFit
Finding = tuple[FitReason, dict[str, float]]
Against = Callable[[Sequence[Point]], Iterable[Finding]]


def fit_ph(points: Sequence[Point], before: PhCalibration | None = None) -> PhFit:
    """Slope (% of theory at each point's own temperature) and offset (mV at pH 7) from two or three buffers."""
    against = against_points(points, Quantity.PH, fewest=2, most=3, apart=_against_ph_references)
    if against:
        return refused(against)
    slope_percent, offset_mv = electrode(points)
    numbers = {"slope_percent": slope_percent, "offset_mv": offset_mv}
    odd = list(_mixed_up(points, before))
    against = list(_against_ph(points, slope_percent, offset_mv))
    if against:
        return refused([*against, *odd], numbers)
    calibration = PhCalibration(slope_percent=slope_percent, offset_mv=offset_mv, day=day_of(points))
    if slope_percent < SLOPE_WORN_BELOW_PERCENT:
        odd.append((FitReason.SLOPE_WORN, {}))
    return accepted(calibration, odd, numbers)


def fit_stop_gap(points: Sequence[Point], before: PhCalibration | None = None) -> PhFit:
    """The offset alone, from one buffer; the slope is the old one, or 100 % where there is none.

    Never better than UNCERTAIN: a cracked bulb gives 0 mV in every buffer, which in 7.00 looks perfect.
    """
    against = against_points(points, Quantity.PH, fewest=1, most=1)
    if against:
        return refused(against)
    slope_percent = 100.0 if before is None else before.slope_percent
    (point,) = points
    offset_mv = round(point.signal - slope_percent / 100.0 * ideal_mv(point), _DECIMALS)
    numbers = {"slope_percent": slope_percent, "offset_mv": offset_mv}
    if against := list(_against_offset(offset_mv)):
        return refused(against, numbers)
    calibration = PhCalibration(
        slope_percent=slope_percent, offset_mv=offset_mv, day=day_of(points), stop_gap=True
    )
    return accepted(calibration, [(FitReason.STOP_GAP, {}), *_mixed_up(points, before)], numbers)


def electrode(points: Sequence[Point]) -> tuple[float, float]:
    """Slope (% of theory) and offset (mV at pH 7) of the line through two or more buffers."""
    slope, offset_mv = line([ideal_mv(point) for point in points], [point.signal for point in points])
    return round(100.0 * slope, _DECIMALS), round(offset_mv, _DECIMALS)


def ideal_mv(point: Point) -> float:
    """What a perfect electrode would give."""
    return nernst_slope_mv_per_ph(point.temperature_c) * (ISOPOTENTIAL_PH - point.reference)


def fit_ec(points: Sequence[Point], before: EcCalibration | None = None) -> EcFit:
    """Cell constant (per cm), and with two standards the offset (mS). One standard takes the offset as zero."""
    against = against_points(points, Quantity.EC, fewest=1, most=2, apart=_against_ec_references)
    if against:
        return refused(against)
    constant, offset_ms = _cell(points)
    constant, offset_ms = round(constant, _DECIMALS), round(offset_ms, _DECIMALS)
    numbers = {"cell_constant_per_cm": constant, "offset_ms": offset_ms}
    against = list(_against_ec(constant, offset_ms))
    if against:
        return refused(against, numbers)
    calibration = EcCalibration(cell_constant_per_cm=constant, offset_ms=offset_ms, day=day_of(points))
    return accepted(calibration, list(_odd_cell(constant, before)), numbers)


def _odd_cell(constant: float, before: EcCalibration | None) -> Iterable[Finding]:
    if abs(constant / CELL_NOMINAL_PER_CM - 1.0) > CELL_ODD_SHARE:
        yield FitReason.CELL_ODD, {}
    if before is not None and abs(constant / before.cell_constant_per_cm - 1.0) > CELL_CHANGED_SHARE:
        yield FitReason.CELL_CHANGED, {"change_share": constant / before.cell_constant_per_cm - 1.0}


# What the label says, and what may be in the cup


_EXCHANGE = (("7.00", "6.86", FitReason.PERHAPS_686), ("6.86", "7.00", FitReason.PERHAPS_700))
MIXED_UP_PH = 0.06  # so far off as named, and not half as far as the other: half of what lies between the two


def _mixed_up(points: Sequence[Point], before: PhCalibration | None) -> Iterable[Finding]:
    """Whether 6.86 was taken for 7.00, or the other way: by a third buffer, or by the calibration before."""
    if len(points) < 3 and (before is None or before.stop_gap):
        return
    off_ph = _misfit_ph(points, before)
    for named, other, reason in _EXCHANGE:
        if any(point.standard == named for point in points) and off_ph >= MIXED_UP_PH:
            exchanged_ph = _misfit_ph([_as_if(point, named, other) for point in points], before)
            if exchanged_ph <= off_ph / 2.0:
                yield reason, {"off_ph": off_ph, "off_ph_exchanged": exchanged_ph}


def _as_if(point: Point, named: str, other: str) -> Point:
    if point.standard != named:
        return point
    return replace(point, standard=other, reference=ph_standard(other, point.temperature_c))


def _misfit_ph(points: Sequence[Point], before: PhCalibration | None) -> float:
    """How far three buffers miss their line, or fewer the calibration before; in pH."""
    if len(points) > 2:
        slope_percent, offset_mv = electrode(points)
        return max(_off_ph(point, slope_percent, offset_mv) for point in points)
    if before is None:
        return 0.0
    return max(_off_ph(point, before.slope_percent, before.offset_mv) for point in points)


def accepted(calibration: C, odd: Sequence[Finding], numbers: Numbers) -> Fit[C]:
    """GOOD, or UNCERTAIN where something about it is odd."""
    gathered = dict(numbers)
    for _, more in odd:
        gathered.update(more)
    if odd:
        return Fit(calibration, Quality.UNCERTAIN, tuple(reason for reason, _ in odd), gathered)
    return Fit(calibration, Quality.GOOD, (FitReason.FINE,), gathered)


def refused(against: Iterable[Finding], numbers: Numbers | None = None) -> Fit[C]:
    """BAD: no calibration, and why."""
    found = list(against)
    gathered = dict(numbers or {})
    for _, more in found:
        gathered.update(more)
    return Fit(None, Quality.BAD, tuple(dict.fromkeys(reason for reason, _ in found)), gathered)


def against_points(
    points: Sequence[Point], quantity: Quantity, *, fewest: int, most: int, apart: Against | None = None
) -> list[Finding]:
    """What speaks against the points before anything is fitted. apart: what their references have against it."""
    if not (fewest <= len(points) <= most):
        return [(FitReason.POINT_COUNT, {"points": len(points), "fewest": fewest, "most": most})]
    if not all(math.isfinite(n) for p in points for n in (p.reference, p.signal, p.spread, p.temperature_c)):
        return [(FitReason.NOT_A_NUMBER, {})]
    among = apart(points) if apart is not None else ()
    warmth = () if quantity is Quantity.LEVEL else _against_temperatures(points)  # a level has none of its own
    return [*_against_rest(points, quantity), *warmth, *among]


def _against_rest(points: Sequence[Point], quantity: Quantity) -> Iterable[Finding]:
    for point in points:
        most = allowed(quantity, point.signal).spread
        if not (0.0 <= point.spread <= most):
            yield FitReason.UNSTABLE, {"spread": point.spread, "allowed_spread": most}


def _against_temperatures(points: Sequence[Point]) -> Iterable[Finding]:
    lowest_c, highest_c = TEMPERATURE_C
    for point in points:
        if not (lowest_c <= point.temperature_c <= highest_c):
            numbers = {"temperature_c": point.temperature_c, "lowest_c": lowest_c, "highest_c": highest_c}
            yield FitReason.TEMPERATURE_RANGE, numbers
    apart_k = max(p.temperature_c for p in points) - min(p.temperature_c for p in points)
    if not (apart_k <= TEMPERATURE_STEP_K):
        yield FitReason.TEMPERATURES_DIFFER, {"apart_k": apart_k, "most_k": TEMPERATURE_STEP_K}


def _against_ph_references(points: Sequence[Point]) -> Iterable[Finding]:
    if len({p.standard for p in points}) < len(points):
        yield FitReason.SAME_STANDARD, {}
        return
    references = sorted(p.reference for p in points)
    apart = min(high - low for low, high in pairwise(references))
    if not (round(apart, _DECIMALS) >= CLOSEST_PH):
        yield FitReason.TOO_CLOSE, {"apart_ph": apart, "least_ph": CLOSEST_PH}


def _against_ec_references(points: Sequence[Point]) -> Iterable[Finding]:
    for point in points:
        yield from _against_ec_reference(point)
    if len({p.standard for p in points}) < len(points):
        yield FitReason.SAME_STANDARD, {}
        return
    low, high = min(p.reference for p in points), max(p.reference for p in points)
    if len(points) > 1 and not (high >= CLOSEST_EC_RATIO * low):
        yield FitReason.TOO_CLOSE, {"ratio": high / low, "least_ratio": CLOSEST_EC_RATIO}
    if not (high >= WEAK_MS_PER_CM) and not any(list(_against_ec_reference(point)) for point in points):
        yield FitReason.TOO_WEAK, {"reference": high, "least_ms_per_cm": WEAK_MS_PER_CM}


def _against_ec_reference(point: Point) -> Iterable[Finding]:
    """One standard against its signal: no signal at all, or a factor of a thousand between them."""
    least, most = CELL_CONSTANT_PER_CM
    if not (point.reference > 0.0) or not (point.signal * most * THOUSAND >= point.reference):
        yield FitReason.NO_RESPONSE, {"signal": point.signal, "reference": point.reference}
        return
    ratio = point.reference / point.signal
    if least <= ratio / THOUSAND <= most or least <= ratio * THOUSAND <= most:
        yield FitReason.THOUSANDFOLD, {"ratio": ratio}


def _against_ph(points: Sequence[Point], slope_percent: float, offset_mv: float) -> Iterable[Finding]:
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
) -> Iterable[Finding]:
    yield from _against_offset(offset_mv)
    off_ph = max(_off_ph(p, slope_percent, offset_mv) for p in points)
    if not (off_ph <= OFF_THE_LINE_PH):
        yield FitReason.OFF_THE_LINE, {"off_ph": off_ph, "most_ph": OFF_THE_LINE_PH}


def _against_offset(offset_mv: float) -> Iterable[Finding]:
    if not (OFFSET_MV[0] <= offset_mv <= OFFSET_MV[1]):
        yield FitReason.OFFSET, {"lowest_mv": OFFSET_MV[0], "highest_mv": OFFSET_MV[1]}


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


def _against_ec(constant: float, offset_ms: float) -> Iterable[Finding]:
    lowest, highest = CELL_CONSTANT_PER_CM
    if constant < 0.0:
        yield FitReason.SWAPPED, {}
    elif not (lowest <= constant <= highest):
        yield FitReason.CELL_CONSTANT, {"lowest_per_cm": lowest, "highest_per_cm": highest}
    elif not (EC_OFFSET_MS[0] <= offset_ms <= EC_OFFSET_MS[1]):
        yield FitReason.OFFSET, {"lowest_ms": EC_OFFSET_MS[0], "highest_ms": EC_OFFSET_MS[1]}


def day_of(points: Sequence[Point]) -> str:
    """The day the last of them was taken (ISO date, UTC)."""
    return max(p.utc for p in points).astimezone(UTC).date().isoformat()
