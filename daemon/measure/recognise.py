"""Which bottle a probe stands in, by its signal: every one that it may be. Pure.

What an electrode may give in a buffer is bounded by how far it may have aged: from the calibration in force by
DRIFT, else from a perfect electrode by all that a calibration is accepted with. One bottle left is known; several
are asked about, as 6.86 and 7.00 always are; the program never picks one.
"""

from __future__ import annotations

from typing import NamedTuple

from daemon.measure.calibrate import CELL_CONSTANT_PER_CM, OFFSET_MV, SLOPE_PERCENT
from daemon.measure.convert import (
    ISOPOTENTIAL_PH,
    Calibration,
    EcCalibration,
    PhCalibration,
    nernst_slope_mv_per_ph,
)
from daemon.measure.standards import Shelf
from daemon.values import Quantity

DRIFT_PERCENT = 6.0  # of slope, since the calibration in force: our own choice, wide
DRIFT_MV = 15.0
DRIFT_CELL_SHARE = 0.25


class _Span(NamedTuple):
    low: float
    high: float


def recognise(
    quantity: Quantity, signal: float, temperature_c: float, shelf: Shelf, before: Calibration | None = None
) -> tuple[str, ...]:
    """The bottles whose signal this may be, in the shelf's order. Empty where it fits none, or is no number."""
    return tuple(
        name
        for name, value in shelf.bottles(quantity, temperature_c).items()
        if _may_be(quantity, signal, temperature_c, value, before)
    )


def _may_be(
    quantity: Quantity, signal: float, temperature_c: float, value: float, before: Calibration | None
) -> bool:
    if quantity is Quantity.PH:
        span = _of_electrode(value, temperature_c, before if isinstance(before, PhCalibration) else None)
    else:
        span = _of_cell(value, before if isinstance(before, EcCalibration) else None)
    return span.low <= signal <= span.high


def _of_electrode(ph: float, temperature_c: float, before: PhCalibration | None) -> _Span:
    """Lowest and highest mV in this buffer."""
    slopes, offsets = SLOPE_PERCENT, OFFSET_MV
    if before is not None:
        slopes = (before.slope_percent - DRIFT_PERCENT, before.slope_percent + DRIFT_PERCENT)
        offsets = (before.offset_mv - DRIFT_MV, before.offset_mv + DRIFT_MV)
    ideal_mv = nernst_slope_mv_per_ph(temperature_c) * (ISOPOTENTIAL_PH - ph)
    ends = [ideal_mv * slope / 100.0 for slope in slopes]
    return _Span(min(ends) + offsets[0], max(ends) + offsets[1])


def _of_cell(ms_per_cm: float, before: EcCalibration | None) -> _Span:
    """Smallest and largest mS in this standard."""
    if before is None:
        smallest, largest = CELL_CONSTANT_PER_CM
        return _Span(ms_per_cm / largest, ms_per_cm / smallest)
    smallest = before.cell_constant_per_cm * (1.0 - DRIFT_CELL_SHARE)
    largest = before.cell_constant_per_cm * (1.0 + DRIFT_CELL_SHARE)
    return _Span(ms_per_cm / largest + before.offset_ms, ms_per_cm / smallest + before.offset_ms)
