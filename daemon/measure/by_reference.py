"""Calibrations that need no solutions: temperature beside a thermometer, level by measured water. Pure.

A temperature probe is shifted by what one look at a reference thermometer shows. A level sender is stretched by
two measured amounts of water; what its settings make of the volts is the first guess.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from daemon.measure.calibrate import (
    NO_RESPONSE_PERCENT,
    Finding,
    FitReason,
    LevelFit,
    Point,
    TemperatureFit,
    accepted,
    against_points,
    day_of,
    refused,
)
from daemon.measure.convert import LevelCalibration, TemperatureCalibration
from daemon.values import Quantity

THERMOMETER_K = (-3.0, 3.0)  # a probe further off is broken or of another kind, not uncalibrated
LEVEL_SCALE = (0.5, 2.0)  # of what the settings' volts make of it; further off they are wrong
LEVEL_OFFSET_SHARE = (-0.5, 0.5)
CLOSEST_SHARE = 0.3  # of the full reservoir, between the two amounts
_DECIMALS = 6  # of a fitted number: limits hold exactly in spite of binary fractions


def fit_temperature(points: Sequence[Point]) -> TemperatureFit:
    """What to add to the probe's °C, from one look at a reference thermometer beside it."""
    against = against_points(points, Quantity.TEMPERATURE, fewest=1, most=1)
    if against:
        return refused(against)
    offset_k = round(points[0].reference - points[0].signal, _DECIMALS)
    numbers, (lowest_k, highest_k) = {"offset_k": offset_k}, THERMOMETER_K
    if not (lowest_k <= offset_k <= highest_k):
        return refused([(FitReason.OFFSET, {"lowest_k": lowest_k, "highest_k": highest_k})], numbers)
    return accepted(TemperatureCalibration(offset_k=offset_k, day=day_of(points)), [], numbers)


def fit_level(points: Sequence[Point]) -> LevelFit:
    """Scale and offset of a level sender from two measured amounts, told as shares of the full reservoir."""
    against = against_points(points, Quantity.LEVEL, fewest=2, most=2, apart=_against_shares)
    if against:
        return refused(against)
    low, high = sorted(points, key=lambda point: point.reference)
    risen = high.signal - low.signal
    if not (abs(risen) >= NO_RESPONSE_PERCENT / 100.0 * (high.reference - low.reference)):
        return refused([(FitReason.NO_RESPONSE, {"signal": risen, "reference": high.reference - low.reference})])
    scale = round((high.reference - low.reference) / risen, _DECIMALS)
    offset_share = round(low.reference - scale * low.signal, _DECIMALS)
    numbers = {"scale": scale, "offset_share": offset_share}
    against = list(_against_level(scale, offset_share))
    if against:
        return refused(against, numbers)
    return accepted(LevelCalibration(scale=scale, offset_share=offset_share, day=day_of(points)), [], numbers)


def _against_level(scale: float, offset_share: float) -> Iterable[Finding]:
    if scale < 0.0:
        yield FitReason.SWAPPED, {}
    elif not (LEVEL_SCALE[0] <= scale <= LEVEL_SCALE[1]):
        yield FitReason.LEVEL_SCALE, {"lowest": LEVEL_SCALE[0], "highest": LEVEL_SCALE[1]}
    elif not (LEVEL_OFFSET_SHARE[0] <= offset_share <= LEVEL_OFFSET_SHARE[1]):
        yield FitReason.LEVEL_SCALE, {"lowest": LEVEL_OFFSET_SHARE[0], "highest": LEVEL_OFFSET_SHARE[1]}


def _against_shares(points: Sequence[Point]) -> Iterable[Finding]:
    apart = max(p.reference for p in points) - min(p.reference for p in points)
    if not (round(apart, _DECIMALS) >= CLOSEST_SHARE):
        yield FitReason.TOO_CLOSE, {"apart_share": apart, "least_share": CLOSEST_SHARE}
