"""Whether a probe in a standard has come to rest. Pure.

Common practice for glass electrodes: wait until the reading moves less than a few hundredths of pH
over half a minute. The window is counted in samples so that it fits any pass interval.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite
from statistics import fmean

from daemon.values import Quantity

WINDOW = 6  # samples that must agree


@dataclass(frozen=True, slots=True)
class Settling:
    """How far a probe has settled: the mean signal of the window, its spread, and the spread allowed."""

    settled: bool
    samples: int
    mean: float | None
    spread: float | None
    allowed_spread: float | None


def allowed_spread(quantity: Quantity, mean: float) -> float:
    """Largest minus smallest signal of a settled window: 3 mV for pH (0.05 pH), 2 % for EC, 0.3 K."""
    if quantity is Quantity.PH:
        return 3.0
    if quantity is Quantity.EC:
        return max(0.02 * abs(mean), 0.005)
    return 0.3


def settle(quantity: Quantity, signals: Sequence[float]) -> Settling:
    """Judge the newest `WINDOW` signals (electrode mV, mS or °C). Fewer than that are never settled."""
    window = list(signals)[-WINDOW:]
    if not window:
        return Settling(False, 0, None, None, None)
    mean, spread = fmean(window), max(window) - min(window)
    allowed = allowed_spread(quantity, mean)
    settled = len(window) == WINDOW and isfinite(mean) and spread <= allowed
    return Settling(settled, len(window), mean, spread, allowed)
