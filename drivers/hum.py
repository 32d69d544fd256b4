"""Several conversions of one input become one voltage: timed so that mains hum cancels, outliers left out. Pure.

Hum goes round once in 20 ms (50 Hz) or in 16.7 ms (60 Hz). Two conversions half a period apart carry the same hum
with opposite signs, so their mean carries none:

    0 and 10 ms     half a period of 50 Hz              the same pair again 25 ms later:
    0 and 25 ms     one and a half of 60 Hz             0, 10, 25, 35 ms: neither 50 nor 60 Hz is left

Odd harmonics cancel with them. The even ones are rectified hum, 100 and 120 Hz; they lose 12 and 24 dB to the
conversion itself, which averages over its 8 ms, and 100 Hz cancels too (25 ms are two and a half periods).
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from math import fsum
from statistics import median
from typing import Final

STARTS_OF_SET_S: Final = (0.0, 0.010, 0.025, 0.035)
SET: Final = len(STARTS_OF_SET_S)
SET_EVERY_S: Final = 0.050  # the next set begins as far from the last of this one as two of it are apart

# An outlier is further from the median than this many median distances: three standard deviations of normal
# noise (Hampel's identifier; 1.4826 turns a median distance into a standard deviation). Hum alone reaches 2.
REACH_IN_DISTANCES: Final = 3.0 * 1.4826


@lru_cache
def starts_s(conversions: int) -> tuple[float, ...]:
    """When each of so many conversions should start, seconds after the first."""
    return tuple(place // SET * SET_EVERY_S + STARTS_OF_SET_S[place % SET] for place in range(conversions))


def without_outliers(values: Sequence[float], least_reach: float) -> list[float]:
    """The values that belong together: Hampel's identifier, one in four may be left out at most.

    least_reach: what is never an outlier, in the values' unit. Where more stick out, all are kept: that is no
    outlier but noise, and its width has to be seen. Empty in, empty out.
    """
    if not values:
        return []
    middle = median(values)
    distances = [abs(value - middle) for value in values]
    reach = max(least_reach, REACH_IN_DISTANCES * median(distances))
    if max(distances) <= reach:
        return list(values)
    kept = [value for value, distance in zip(values, distances, strict=True) if distance <= reach]
    return kept if len(values) - len(kept) <= len(values) // SET else list(values)


def settled(values: Sequence[float], least_reach: float) -> tuple[float, float]:
    """Mean, and largest minus smallest, of the values that belong together. values: at least one."""
    kept = without_outliers(values, least_reach)
    return fsum(kept) / len(kept), max(kept) - min(kept)
