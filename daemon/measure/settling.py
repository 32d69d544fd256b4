"""Whether a probe in a standard has come to rest. Pure.

Common practice for glass electrodes: wait until the reading moves less than a few hundredths of pH
over half a minute, and no longer drifts. The newest samples are judged, so many that they span
`WINDOW_S` and are at least `WINDOW`: at a pass each second as well as each minute.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite
from statistics import fmean
from typing import NamedTuple

from daemon.measure.lines import slope
from daemon.values import Quantity

WINDOW = 6  # samples that must agree, at least
WINDOW_S = 45.0  # and what they must span, at least
LONGEST_WINDOW = 64  # samples: WINDOW_S at the fastest pass, and some
MINUTE_S = 60.0


class Seen(NamedTuple):
    """One sample of the probe: when (monotonic s), and its signal (electrode mV, mS, °C or share)."""

    at_s: float
    signal: float


class Restless(NamedTuple):
    """How much a settled signal may still move: largest minus smallest, and its drift."""

    spread: float
    per_min: float


@dataclass(frozen=True, slots=True)
class Settling:
    """How far a probe has settled: the mean signal of the window, its spread and drift, and what is allowed.

    drift_per_min: by least squares, signed; None with fewer than two samples.
    """

    settled: bool
    samples: int
    mean: float | None = None
    spread: float | None = None
    allowed_spread: float | None = None
    drift_per_min: float | None = None
    allowed_per_min: float | None = None
    span_s: float = 0.0


def allowed(quantity: Quantity, mean: float) -> Restless:
    """What a settled window may still do.

    pH 3 mV (0.05 pH) and 1.5 mV/min; EC 2 % (5 µS for less than 0.25 mS) and half of that per minute;
    temperature 0.3 K and 0.2 K/min; level 2 % of the full reservoir and 1 %/min.
    """
    if quantity is Quantity.PH:
        return Restless(3.0, 1.5)
    if quantity is Quantity.EC:
        spread_ms = max(0.02 * abs(mean), 0.005)
        return Restless(spread_ms, spread_ms / 2.0)
    return Restless(0.3, 0.2) if quantity is Quantity.TEMPERATURE else Restless(0.02, 0.01)


def newest(seen: Sequence[Seen]) -> list[Seen]:
    """The newest samples that make a window: WINDOW of them, and more until they span WINDOW_S."""
    if not seen:
        return []
    from_s = seen[-1].at_s - WINDOW_S
    older = [one for one in seen if one.at_s <= from_s]
    count = max(WINDOW, len(seen) - max(0, len(older) - 1))
    return list(seen)[-count:]


def settle(quantity: Quantity, seen: Sequence[Seen]) -> Settling:
    """Judge the newest window. Fewer samples than `WINDOW`, or a span below `WINDOW_S`, are never settled."""
    window = newest(seen)
    if not window:
        return Settling(False, 0)
    signals, span_s = [one.signal for one in window], window[-1].at_s - window[0].at_s
    mean, spread = fmean(signals), max(signals) - min(signals)
    may = allowed(quantity, mean)
    drift = slope([one.at_s / MINUTE_S for one in window], signals)
    enough = len(window) >= WINDOW and span_s >= WINDOW_S
    calm = isfinite(mean) and spread <= may.spread and drift is not None and abs(drift) <= may.per_min
    return Settling(enough and calm, len(window), mean, spread, may.spread, drift, may.per_min, span_s)
