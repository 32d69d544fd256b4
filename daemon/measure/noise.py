"""How much a probe's volts tremble from look to look: its noise floor, learned from what it shows. Pure.

What water does in a few passes is nearly a straight line. From three looks in a row it cancels in the second
difference a − 2b + c, and noise of standard deviation s leaves one of s·√6. The median of many of those makes
nothing of a dose, a jump or a splash now and then.
"""

from __future__ import annotations

from bisect import bisect_left, insort
from math import isfinite, sqrt
from typing import NamedTuple

from daemon.values import Sample

KEPT_LOOKS = 62  # ten minutes of passes every 10 s: 60 second differences tell the floor within some 15 %
LEAST_LOOKS = 17

_SIGMA_PER_MEDIAN = 1.4826 / sqrt(6.0)  # of normal noise: median of |second difference| to standard deviation


class Noise(NamedTuple):
    """What is remembered of one probe. A tuple, as each look makes a new one.

    volts: its newest, oldest first; differences: of each three of them in a row the size of the second
    difference, in volts, the smallest first.
    """

    volts: tuple[float, ...] = ()
    differences: tuple[float, ...] = ()

    @property
    def floor_v(self) -> float | None:
        """Standard deviation of one look, in volts; None until there are enough looks."""
        if len(self.volts) < LEAST_LOOKS:
            return None
        last = len(self.differences) - 1
        least, most = self.differences[last // 2], self.differences[(last + 1) // 2]
        return _SIGMA_PER_MEDIAN * (least + most) / 2.0


NO_LOOKS = Noise()


def heard(noise: Noise, sample: Sample) -> Noise:
    """With one more look. Begun anew where the true voltage is not known; a digital probe has no noise."""
    if sample.volts is None or not isfinite(sample.volts) or sample.clipped:
        return NO_LOOKS
    volts, differences = (*noise.volts, sample.volts), list(noise.differences)
    if len(volts) >= 3:
        insort(differences, _second_difference(*volts[-3:]))
    if len(volts) > KEPT_LOOKS:
        del differences[bisect_left(differences, _second_difference(*volts[:3]))]
    return Noise(volts[-KEPT_LOOKS:], tuple(differences))


def _second_difference(one: float, two: float, three: float) -> float:
    return abs(one - 2.0 * two + three)
