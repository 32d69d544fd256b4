"""How much light fell in a day: the daily light integral. Pure; nothing is dosed by it."""

from __future__ import annotations

from dataclasses import dataclass
from math import floor, isfinite
from statistics import fmean
from typing import NamedTuple

QUARTER_S = 900.0
QUARTERS = 96  # of a day
LEAST_QUARTERS = 87  # nine in ten: so much may be missing, as during a restart of the sensor
DAY_S = QUARTER_S * QUARTERS
UMOL_PER_MOL = 1e6


class Quarter(NamedTuple):
    """A quarter of an hour: which since the clock began, and the mean of its looks in µmol/(m² s)."""

    number: int
    mean_umol: float
    looks: int


@dataclass(frozen=True, slots=True)
class LightDay:
    """The quarters of an hour of the last day that there was a look in, oldest first."""

    quarters: tuple[Quarter, ...] = ()


def lit(day: LightDay, umol_per_m2_s: float, at_s: float) -> LightDay:
    """With one more look. at_s: monotonic; what is not a number, or older than the newest, is passed over."""
    if not (isfinite(umol_per_m2_s) and isfinite(at_s)):
        return day
    number = floor(at_s / QUARTER_S)
    last = day.quarters[-1] if day.quarters else Quarter(number - 1, 0.0, 0)
    if number < last.number:
        return day
    if number > last.number:
        kept = tuple(one for one in day.quarters if one.number >= number - QUARTERS)
        return LightDay((*kept, Quarter(number, max(0.0, umol_per_m2_s), 1)))
    mean = last.mean_umol + (max(0.0, umol_per_m2_s) - last.mean_umol) / (last.looks + 1)
    return LightDay((*day.quarters[:-1], Quarter(number, mean, last.looks + 1)))


def integral_mol(day: LightDay, now_s: float) -> float | None:
    """Light of the 24 whole hours up to the last quarter, mol/m²; None until nine tenths of them were seen.

    Mean flux times a day: 200 µmol/(m² s) for 16 h are 11.52 mol/m².
    """
    now = floor(now_s / QUARTER_S)
    whole = [one.mean_umol for one in day.quarters if now - QUARTERS <= one.number < now]
    return mol_per_m2(fmean(whole), DAY_S) if len(whole) >= LEAST_QUARTERS else None


def mol_per_m2(mean_umol: float, seconds: float) -> float:
    """Light that fell in that time at a mean of so many µmol/(m² s), in mol/m²."""
    return mean_umol * seconds / UMOL_PER_MOL
