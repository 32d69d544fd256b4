"""How well a calibration is known, by the way of the GUM: each doubt carried through the reckoning. Pure.

JCGM 100:2008 (the GUM), 4.3.7: a value known to ± a, no more, has the standard uncertainty a/√3; 5.1.3, note 2:
one input moved by its standard uncertainty moves the result by that input's share; the shares add in squares.
tests/uncertainty.py holds it against a Monte Carlo by the product's own fit.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from math import isfinite, sqrt
from statistics import fmean

from daemon.measure.calibrate import Point, electrode, ideal_mv
from daemon.measure.convert import ISOPOTENTIAL_PH, PhCalibration, nernst_slope_mv_per_ph, ph_from_mv

AT_PH = 5.8
BUFFER_PH = 0.02  # a bottle is worth what its label says within this: common practice
THERMOMETER_K = 0.5  # the probe's thermometer, the same in the bottles and in the water
SLOPE_PERCENT = 5.0  # of a stop-gap, whose slope is the old one or a guess
RECTANGLE = sqrt(3.0)


def propagated(result: Callable[[Sequence[float]], float], uncertainties: Sequence[float]) -> float:
    """Standard uncertainty of `result`, a function of the deviations of inputs that are so uncertain."""

    def share(place: int) -> float:
        up, down = [0.0] * len(uncertainties), [0.0] * len(uncertainties)
        up[place], down[place] = uncertainties[place], -uncertainties[place]
        return (result(up) - result(down)) / 2.0

    return sqrt(sum(share(place) ** 2 for place in range(len(uncertainties))))


def of_ph(points: Sequence[Point], calibration: PhCalibration) -> float | None:
    """Standard uncertainty of a pH of 5.8 read by this calibration, from the points it was made of.

    Buffers ± 0.02, thermometer ± 0.5 K, each signal within the spread that it had; of a stop-gap also ± 5 % of
    slope. The noise of a later reading is not in it. None without points.
    """
    if not points:
        return None
    at_c = fmean(point.temperature_c for point in points)
    slope_mv = nernst_slope_mv_per_ph(at_c) * calibration.slope_percent / 100.0
    signal_mv = calibration.offset_mv - slope_mv * (AT_PH - ISOPOTENTIAL_PH)

    def read(off: Sequence[float]) -> float:
        moved = [
            replace(
                point,
                reference=point.reference + off[2 * place],
                signal=point.signal + off[2 * place + 1],
                temperature_c=point.temperature_c + off[-2],
            )
            for place, point in enumerate(points)
        ]
        by = _by(moved, calibration, off[-1])
        ph = ph_from_mv(signal_mv, by, at_c + off[-2])
        return ph if isinstance(ph, float) else float("nan")

    each = [u for point in points for u in (BUFFER_PH / RECTANGLE, point.spread / (2.0 * RECTANGLE))]
    slope = SLOPE_PERCENT / RECTANGLE if len(points) == 1 else 0.0
    found = propagated(read, [*each, THERMOMETER_K / RECTANGLE, slope])
    return found if isfinite(found) else None


def _by(points: Sequence[Point], calibration: PhCalibration, slope_off_percent: float) -> PhCalibration:
    """The calibration that these points would have made."""
    if len(points) > 1:
        slope_percent, offset_mv = electrode(points)
        return replace(calibration, slope_percent=slope_percent, offset_mv=offset_mv)
    slope_percent = calibration.slope_percent + slope_off_percent
    offset_mv = points[0].signal - slope_percent / 100.0 * ideal_mv(points[0])
    return replace(calibration, slope_percent=slope_percent, offset_mv=offset_mv)
