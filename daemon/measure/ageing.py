"""How a probe ages from calibration to calibration, and when it will fail. Pure.

    what was made  ->  series since the probe was renewed  ->  a straight line  ->  the day it meets its limit

The line is fitted by least squares; its band of 95 % confidence says how early and how late that day may be. A
probe that suddenly does much better is taken for a new or a cleaned one, and its series begins anew.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from enum import StrEnum
from math import sqrt

from daemon.measure.calibrate import CELL_CONSTANT_PER_CM, OFFSET_MV, SLOPE_WORN_BELOW_PERCENT
from daemon.measure.judge import LIMITS
from daemon.measure.lines import line
from daemon.values import Numbers, Quantity

FEWEST = 3  # calibrations for a line that can be wrong
HORIZON_DAYS = 730
SOON_DAYS = 60.0
SLOW_S = 180.0  # a sound electrode is at rest within a minute or two (common practice)
FAR_OFFSET_MV = 20.0
RENEWED: Mapping[str, float] = {"slope_percent": 4.0, "offset_mv": 15.0, "cell_constant_per_cm": 0.25}
"""A change for the better of the slope, or any of the others, by which a probe is taken for renewed."""

_T_95 = (
    *((1, 12.706), (2, 4.303), (3, 3.182), (4, 2.776), (5, 2.571), (6, 2.447), (7, 2.365), (8, 2.306)),
    *((9, 2.262), (10, 2.228), (12, 2.179), (15, 2.131), (20, 2.086), (30, 2.042), (60, 2.000)),
)
"""Student's t, 95 % two-sided, by degrees of freedom: NIST/SEMATECH e-Handbook 1.3.6.7.2 (memory; its test)."""


@dataclass(frozen=True, slots=True)
class Made:
    """One calibration as it was accepted.

    numbers: those of the calibration, as `slope_percent`; settled_s: the longest of its points, where known.
    """

    utc: datetime
    numbers: Numbers
    standards: tuple[str, ...] = ()
    settled_s: float | None = None
    stop_gap: bool = False

    @property
    def day(self) -> date:
        """In UTC."""
        return self.utc.astimezone(UTC).date()


@dataclass(frozen=True, slots=True)
class Forecast:
    """One number of a probe on its way to its limit.

    per_month: by how much it moves in 30 days, give or take give_or_take (95 %); on: the day it meets the limit;
    from_on, to_on: how early and how late that may be. None: not within two years.
    """

    key: str
    limit: float
    per_month: float
    give_or_take: float
    on: date | None
    from_on: date | None
    to_on: date | None
    made: int


class ProbeNote(StrEnum):
    """What its calibrations say of a probe."""

    FINE = "fine"
    UNKNOWN = "unknown"  # never calibrated, as far as the history goes
    STOP_GAP = "stop_gap"  # the last one was made in one buffer
    WORN = "worn"  # little slope left
    FAR_OFFSET = "far_offset"  # the reference is ageing
    SLOW = "slow"  # takes long to come to rest
    DUE = "due"  # to be calibrated again
    EXPIRED = "expired"  # too old to dose by
    FAILS_SOON = "fails_soon"  # it may meet a limit within SOON_DAYS


def t_95(degrees: int) -> float:
    """Student's t for 95 % two-sided; of the next smaller row where the table has none, which is the wider."""
    place = bisect_right(_T_95, (degrees, float("inf")))
    return _T_95[max(place, 1) - 1][1]


def series(made: Sequence[Made]) -> tuple[Made, ...]:
    """The calibrations since the probe was renewed, oldest first; stop-gaps, which show no slope, left out."""
    whole = sorted((one for one in made if not one.stop_gap), key=lambda one: one.utc)
    begun = 0
    for place in range(1, len(whole)):
        if _renewed(whole[place - 1].numbers, whole[place].numbers):
            begun = place
    return tuple(whole[begun:])


def _renewed(before: Numbers, after: Numbers) -> bool:
    rise = {key: after[key] - before[key] for key in RENEWED if key in before and key in after}
    return rise.pop("slope_percent", 0.0) >= RENEWED["slope_percent"] or any(
        abs(moved) >= RENEWED[key] for key, moved in rise.items()
    )


def forecast(
    key: str, days: Sequence[date], values: Sequence[float], limit: float, today: date
) -> Forecast | None:
    """When the line through these values meets the limit; None where three on three days are not there."""
    xs = [float((day - today).days) for day in days]
    if len(xs) < FEWEST or len(set(xs)) < FEWEST:
        return None
    steep, at_today = line(xs, values)
    mean_x, count = sum(xs) / len(xs), len(xs)
    square = sum((x - mean_x) ** 2 for x in xs)
    rest = sum((y - at_today - steep * x) ** 2 for x, y in zip(xs, values, strict=True))
    wide = t_95(count - 2) * sqrt(rest / (count - 2))

    def meets(side: float) -> date | None:
        for ahead in range(HORIZON_DAYS + 1):
            band = side * wide * sqrt(1.0 / count + (ahead - mean_x) ** 2 / square)
            if _beyond(at_today + steep * ahead + band, limit, values[-1]):
                return today + timedelta(days=ahead)
        return None

    to_it = 1.0 if limit > values[-1] else -1.0
    month = 30.0 * steep, 30.0 * wide / sqrt(square)
    return Forecast(key, limit, *month, meets(0.0), meets(to_it), meets(-to_it), count)


def _beyond(value: float, limit: float, now: float) -> bool:
    """Whether the limit is met, seen from where the number is now."""
    return value >= limit if limit > now else value <= limit


def forecasts(quantity: Quantity, made: Sequence[Made], today: date) -> tuple[Forecast, ...]:
    """Of each number that ages, where there is enough to say something."""
    of = series(made)
    found = [_of_key(key, of, today) for key in _AGES.get(quantity, ())]
    return tuple(one for one in found if one is not None)


_AGES: Mapping[Quantity, tuple[str, ...]] = {
    Quantity.PH: ("slope_percent", "offset_mv", "settled_s"),
    Quantity.EC: ("cell_constant_per_cm",),
}


def _of_key(key: str, of: Sequence[Made], today: date) -> Forecast | None:
    pairs = [(one.day, number) for one in of if (number := _number(one, key)) is not None]
    if len(pairs) < FEWEST:
        return None
    days, values = zip(*pairs, strict=True)
    return forecast(key, days, values, _limit(key, values), today)


def _number(one: Made, key: str) -> float | None:
    return one.settled_s if key == "settled_s" else one.numbers.get(key)


def _limit(key: str, values: Sequence[float]) -> float:
    """Where it ends: of offset and cell constant the limit that it moves towards."""
    rises = values[-1] >= values[0]
    if key == "offset_mv":
        return OFFSET_MV[1] if rises else OFFSET_MV[0]
    if key == "cell_constant_per_cm":
        return CELL_CONSTANT_PER_CM[1] if rises else CELL_CONSTANT_PER_CM[0]
    return SLOW_S if key == "settled_s" else LIMITS[Quantity.PH].least_slope_percent


def notes(
    made: Sequence[Made], ahead: Sequence[Forecast], today: date, warn_days: float, expire_days: float
) -> tuple[ProbeNote, ...]:
    """What is to be said of the probe, by its last calibration and its forecasts; never empty."""
    if not made:
        return (ProbeNote.UNKNOWN,)
    last = max(made, key=lambda one: one.utc)
    age_days = (today - last.day).days
    soon = today + timedelta(days=SOON_DAYS)
    said = {
        ProbeNote.STOP_GAP: last.stop_gap,
        ProbeNote.WORN: last.numbers.get("slope_percent", 100.0) < SLOPE_WORN_BELOW_PERCENT,
        ProbeNote.FAR_OFFSET: abs(last.numbers.get("offset_mv", 0.0)) > FAR_OFFSET_MV,
        ProbeNote.SLOW: last.settled_s is not None and last.settled_s > SLOW_S,
        ProbeNote.DUE: warn_days < age_days <= expire_days,
        ProbeNote.EXPIRED: not age_days <= expire_days,
        ProbeNote.FAILS_SOON: any(one.from_on is not None and one.from_on <= soon for one in ahead),
    }
    return tuple(note for note, holds in said.items() if holds) or (ProbeNote.FINE,)
