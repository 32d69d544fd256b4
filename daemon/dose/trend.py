"""Where pH stands and how fast it drifts, from many noisy readings. Pure.

A line follows the readings: a level in pH and a drift in pH per hour, each with its variance (a Kalman filter of
two states, a local linear trend). How noisy the probe is shows in the differences of neighbouring readings, which
the slow drift hardly touches. One wild reading is held to CLIP times what noise explains; several in a row on one
side are the water, and the level begins anew there.

    after a dose   the level is not known until the water has mixed; the drift is, a little less well
    after a break  neither is the level; the drift stays
"""

from __future__ import annotations

from math import inf, isfinite, sqrt
from typing import NamedTuple

from daemon.dose.windows import HOUR_S

LEAST_NOISE_PH, FIRST_NOISE_PH, MOST_NOISE_PH = 0.0015, 0.01, 0.2  # of one reading, standard deviation
NOISE_SHARE = 0.05  # of each new difference, in what is known of the noise
CLIP = 3.0  # standard deviations that one reading may pull
ODD_IN_A_ROW = 4  # readings beyond that on one side: the water has moved
UNKNOWN_PH = 1.0  # standard deviation of a level that is not known
WANDER_PH2_PER_H = 2e-5  # how the level strays from its line: swirls, plants, an electrode that breathes
DRIFT_CHANGE2_PER_H = 9e-4  # how the drift changes, (pH/h)² per hour: light, temperature, CO2 that leaves
FIRST_DRIFT_SD = 0.1  # pH/h, before anything is known
MOST_DRIFT = 1.0  # pH/h; what moves faster is no drift


class Trend(NamedTuple):
    """The line at `at_s`, monotonic; -inf before the first reading. A tuple, as each look makes new ones.

    ph ± sqrt(ph_var); drift in pH per hour ± sqrt(drift_var); cov between them. noise: of one reading, standard
    deviation. last: the newest reading; readings: how many the level rests on; odd: how many of the newest lie
    far off it, below zero on the low side.
    """

    at_s: float = -inf
    ph: float = 7.0
    drift: float = 0.0
    ph_var: float = UNKNOWN_PH**2
    cov: float = 0.0
    drift_var: float = FIRST_DRIFT_SD**2
    noise: float = FIRST_NOISE_PH
    last: float = 7.0
    readings: int = 0
    odd: int = 0

    @property
    def ph_sd(self) -> float:
        """How well the level is known, standard deviation in pH."""
        return sqrt(self.ph_var)

    @property
    def drift_sd(self) -> float:
        """How well the drift is known, standard deviation in pH per hour."""
        return sqrt(self.drift_var)


def follow(trend: Trend, at_s: float, ph: float) -> Trend:
    """The line with one more usable reading. What is no number, or not newer, changes nothing."""
    if not (isfinite(at_s) and isfinite(ph) and at_s > trend.at_s):
        return trend
    if trend.at_s == -inf:
        return trend._replace(at_s=at_s, ph=ph, ph_var=trend.noise**2, last=ph, readings=1)
    noise = _noise(trend, ph) if trend.readings else trend.noise
    return _corrected(_carried(trend, at_s), ph, noise)


def unsure(trend: Trend, more_drift_sd: float = 0.0) -> Trend:
    """The line when its level is no longer known: after a dose, a break, a person's hand. The drift stays."""
    drift_var = min(trend.drift_var + more_drift_sd**2, FIRST_DRIFT_SD**2)
    return trend._replace(ph_var=UNKNOWN_PH**2, cov=0.0, drift_var=drift_var, readings=0, odd=0)


def level_at(trend: Trend, at_s: float) -> tuple[float, float]:
    """Where the line goes through at that time, and its variance."""
    carried = _carried(trend, at_s)
    return carried.ph, carried.ph_var


def _carried(trend: Trend, at_s: float) -> Trend:
    """The line carried on to `at_s`, less sure."""
    hours = (at_s - trend.at_s) / HOUR_S
    if not 0.0 < hours < inf:
        return trend
    ph_var = trend.ph_var + hours * (2.0 * trend.cov + hours * trend.drift_var) + WANDER_PH2_PER_H * hours
    return trend._replace(
        at_s=at_s,
        ph=trend.ph + trend.drift * hours,
        ph_var=min(ph_var, UNKNOWN_PH**2),
        cov=trend.cov + hours * trend.drift_var,
        drift_var=min(trend.drift_var + DRIFT_CHANGE2_PER_H * hours, FIRST_DRIFT_SD**2),
    )


def _corrected(trend: Trend, ph: float, noise: float) -> Trend:
    """The line after a reading at its own time. noise: of one reading, this one taken into account."""
    if not trend.readings:
        return trend._replace(ph=ph, ph_var=noise**2, cov=0.0, noise=noise, last=ph, readings=1)
    off = ph - trend.ph
    spread = trend.ph_var + noise**2
    most = CLIP * sqrt(spread)
    odd = _odd(trend.odd, off, most)
    if abs(odd) >= ODD_IN_A_ROW:
        return unsure(trend, FIRST_DRIFT_SD)._replace(ph=ph, ph_var=noise**2, noise=noise, last=ph, readings=1)
    off = max(-most, min(most, off))
    for_ph, for_drift = trend.ph_var / spread, trend.cov / spread
    drift = trend.drift + for_drift * off
    return trend._replace(
        ph=trend.ph + for_ph * off,
        drift=max(-MOST_DRIFT, min(MOST_DRIFT, drift)),
        ph_var=(1.0 - for_ph) * trend.ph_var,
        cov=(1.0 - for_ph) * trend.cov,
        drift_var=max(0.0, trend.drift_var - for_drift * trend.cov),
        noise=noise,
        last=ph,
        readings=trend.readings + 1,
        odd=odd,
    )


def _odd(odd: int, off: float, most: float) -> int:
    """How many of the newest readings lie far off, on the side of this one."""
    if abs(off) <= most:
        return 0
    side = 1 if off > 0.0 else -1
    return odd + side if odd * side >= 0 else side


def _noise(trend: Trend, ph: float) -> float:
    """The noise of one reading: half the mean square of differences, a wild one held to CLIP of them."""
    step = min(abs(ph - trend.last), CLIP * 1.5 * trend.noise)
    variance = (1.0 - NOISE_SHARE) * trend.noise**2 + NOISE_SHARE * step**2 / 2.0
    return max(LEAST_NOISE_PH, min(MOST_NOISE_PH, sqrt(variance)))
