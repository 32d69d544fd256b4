"""What a head weighs: the lettuce model driven by this garden's hours, corrected by its own scale. Pure.

    hours (air °C, light)  ->  grown       ->  g per head, day by day, as the model has it
    weighings beside it    ->  corrected   ->  a factor for this batch, and how far to believe it
    earlier batches        ->  learned     ->  the factor to begin the next batch with

The model (daemon/crop/lettuce.py) knows one kind of lettuce in one greenhouse. What it cannot know, the variety,
the spacing, weak or strong water, shows as a factor between its grams and those on the scale. Factors are
reckoned in logarithms, so that twice and half are equally far off.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from math import ceil, exp, floor, hypot, isfinite, log
from statistics import fmean
from typing import NamedTuple

from daemon.crop.lettuce import Weather, fresh_g_per_head, grown, planted

HOUR_S = 3600.0
HOURS_OF_DAY = 24
STEP_S = 900.0  # within which the model's midpoint rule holds 1e-4
STEPS_OF_HOUR = round(HOUR_S / STEP_S)

UMOL_PER_J = (
    4.57  # of photosynthetic light: sunlight (Thimijan & Heins 1983, HortScience 18:818); white LEDs 4.6..5
)
OUTSIDE_CO2_PPM = 420.0  # of outside air (memory); a closed room of plants in light has less, one of people more

MODEL_SD = 0.4  # before anything was weighed: a factor of 1.5 either way, two times in three (own choice)
BATCH_SD = 0.15  # one batch and the next of the same garden (own choice)
HEAD_SD = 0.2  # heads of one batch among each other: a fifth (common practice)
SCALE_SD = 0.05  # water on the leaves, a kitchen scale (own choice)
DRIFT_PER_DAY = 0.01  # what was weighed says less of a day further away (own choice)


class Hour(NamedTuple):
    """Means of an hour: the air in °C, the light in µmol/(m² s), 0 or more."""

    air_c: float
    light_umol: float


class Lamp(NamedTuple):
    """A lamp by its timetable.

    umol: at the leaves, in µmol/(m² s). on_h: when it comes on, 0..24 by the clock. hours: lit a day, 0..24.
    """

    umol: float
    on_h: float
    hours: float

    def light_umol(self, hour_of_day: int) -> float:
        """Mean over the hour that begins then, 0..23, in µmol/(m² s)."""
        begins = (hour_of_day - self.on_h) % HOURS_OF_DAY
        on_h = max(0.0, min(1.0, self.hours - begins))
        comes_on_h = min(self.hours, max(0.0, begins + 1.0 - HOURS_OF_DAY))
        return self.umol * (on_h + comes_on_h)


class Scale(NamedTuple):
    """How this garden's grams stand to the model's: the logarithm of the factor, and its standard deviation."""

    log_mean: float
    log_sd: float

    @property
    def factor(self) -> float:
        """Likely grams for each gram of the model."""
        return exp(self.log_mean)

    def ahead(self, days: float) -> Scale:
        """As it will be believed so many days (0 or more) from the day it is of: no better, and less sure."""
        return Scale(self.log_mean, hypot(self.log_sd, DRIFT_PER_DAY * days))


class Weighing(NamedTuple):
    """Heads on the scale: g a head by the model on that day, g a head weighed, how many, how many days ago."""

    modelled_g: float
    weighed_g: float
    heads: int
    days_ago: float


UNKNOWN = Scale(0.0, MODEL_SD)
"""Of a garden that never weighed anything: as the model has it, and hardly to be believed."""


def g_per_head(
    hours: Iterable[Hour], plants_per_m2: float, co2_ppm: float = OUTSIDE_CO2_PPM
) -> tuple[float, ...]:
    """Fresh weight of a head by the model, in g: planted out as a seedling of 2 g, then after each whole day.

    plants_per_m2: of the bed, above 0. hours: from planting out on, without a gap; what is left of a day is not
    counted. Raises ValueError where an hour is not a number.
    """
    stand = planted(plants_per_m2)
    curve = [fresh_g_per_head(stand, plants_per_m2)]
    for number, hour in enumerate(hours, start=1):
        if not (isfinite(hour.air_c) and hour.light_umol >= 0.0 and isfinite(hour.light_umol)):
            raise ValueError(
                f"hour {number}: {hour.air_c} °C, {hour.light_umol} µmol/(m² s): not what air can be"
            )
        weather = Weather(hour.air_c, hour.light_umol / UMOL_PER_J, co2_ppm)
        for _ in range(STEPS_OF_HOUR):
            stand = grown(stand, STEP_S, weather)
        if number % HOURS_OF_DAY == 0:
            curve.append(fresh_g_per_head(stand, plants_per_m2))
    return tuple(curve)


def at_day(curve: Sequence[float], day: float) -> float:
    """Of a curve by whole days, its value on a day between; beyond its ends, the value there."""
    day = min(max(0.0, day), len(curve) - 1.0)
    before, after = curve[floor(day)], curve[ceil(day)]
    return before + (after - before) * (day - floor(day))


def corrected(prior: Scale, weighings: Iterable[Weighing]) -> Scale:
    """What is believed of the factor once heads of the batch were weighed.

    Each weighing counts by how many heads were on the scale and how long ago; what was believed before counts
    too, so that one light head moves a season's experience little. Weighings of 0 g or less are passed over.
    """
    weight, total = prior.log_sd**-2, prior.log_mean * prior.log_sd**-2
    for one in weighings:
        if not (one.modelled_g > 0.0 and one.weighed_g > 0.0 and one.heads > 0):
            continue
        sd = hypot(HEAD_SD / one.heads**0.5, SCALE_SD, DRIFT_PER_DAY * one.days_ago)
        weight += sd**-2
        total += log(one.weighed_g / one.modelled_g) * sd**-2
    return Scale(total / weight, weight**-0.5)


def learned(earlier: Iterable[Scale]) -> Scale:
    """The factor to begin a batch with, after earlier ones of the same garden, in any order."""
    weight, total = 1.0 / (MODEL_SD**2 - BATCH_SD**2), 0.0
    for one in earlier:
        of_garden = 1.0 / (one.log_sd**2 + BATCH_SD**2)
        weight += of_garden
        total += of_garden * one.log_mean
    return Scale(total / weight, hypot(weight**-0.5, BATCH_SD))


def filled(known: Mapping[int, float], hours: int) -> tuple[float, ...]:
    """So many hours from number 0 on; one that is not known is as the same hour of the days on which it is.

    known: a value by the number of its hour. Where no day knows that hour, the mean of all. Empty where nothing
    is known.
    """
    if not known:
        return ()
    mean = fmean(known.values())
    ordinary = [
        fmean([value for number, value in known.items() if number % HOURS_OF_DAY == hour] or [mean])
        for hour in range(HOURS_OF_DAY)
    ]
    return tuple(known.get(number, ordinary[number % HOURS_OF_DAY]) for number in range(hours))


def as_lately(hours: Sequence[Hour], days: int = 7) -> tuple[Hour, ...]:
    """An ordinary day, hour by hour, after the last whole days of `hours`; empty while there is no whole day.

    It begins at the same time of day as what would follow on `hours`.
    """
    whole = min(days, len(hours) // HOURS_OF_DAY)
    lately = hours[len(hours) - whole * HOURS_OF_DAY :]
    return tuple(_mean(lately[first::HOURS_OF_DAY]) for first in range(HOURS_OF_DAY if whole else 0))


def _mean(hours: Sequence[Hour]) -> Hour:
    return Hour(fmean(hour.air_c for hour in hours), fmean(hour.light_umol for hour in hours))


def over_and_over(day: Sequence[Hour], hours: int) -> Iterator[Hour]:
    """So many hours of one day after the other."""
    return (day[number % len(day)] for number in range(hours))
