"""How much a probe's volts tremble from look to look: its noise floor, learned from what it shows. Pure.

What water does in a few passes is nearly a straight line. From three looks in a row it cancels in the second
difference a − 2b + c, and noise of standard deviation s leaves one of s·√6. The median of many of those makes
nothing of a dose, a jump or a splash now and then.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite, sqrt
from statistics import median

from daemon.values import Sample

KEPT_LOOKS = 62  # ten minutes of passes every 10 s: 60 second differences tell the floor within some 15 %
LEAST_LOOKS = 17

_SIGMA_PER_MEDIAN = 1.4826 / sqrt(6.0)  # of normal noise: median of |second difference| to standard deviation


@dataclass(frozen=True, slots=True)
class Noise:
    """What is remembered of one probe: its newest volts, oldest first."""

    volts: tuple[float, ...] = ()

    @property
    def floor_v(self) -> float | None:
        """Standard deviation of one look, in volts; None until there are enough looks."""
        if len(self.volts) < LEAST_LOOKS:
            return None
        threes = zip(self.volts, self.volts[1:], self.volts[2:], strict=False)
        return _SIGMA_PER_MEDIAN * median([abs(one - 2.0 * two + three) for one, two, three in threes])


def heard(noise: Noise, sample: Sample) -> Noise:
    """With one more look. Begun anew where the true voltage is not known; a digital probe has no noise."""
    if sample.volts is None or not isfinite(sample.volts) or sample.clipped:
        return Noise()
    return Noise((*noise.volts, sample.volts)[-KEPT_LOOKS:])
