"""How a batch grows: what the diary, the history and the settings say of it, put together. Reads only.

history (air, water, light), lamps  ->  lived      ->  its hours so far, and where they are from
diary (set out, weighed)            ->  prospect   ->  g a head now, the days of harvest, what threatens
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from enum import StrEnum

from config.prices import Appliance
from daemon.crop.diary import Batch
from daemon.crop.growth import (
    HOUR_S,
    HOURS_OF_DAY,
    OUTSIDE_CO2_PPM,
    Hour,
    Lamp,
    Scale,
    Weighing,
    as_lately,
    at_day,
    corrected,
    filled,
    g_per_head,
    learned,
    over_and_over,
)
from daemon.crop.harvest import Grams, Window, grams_on, window
from daemon.crop.risk import Day, Risk, Sign, Spread, Threat, risks, signs_of, together, unknown
from daemon.store.trend import Trends
from daemon.values import Quantity

LATELY_DAYS = 7  # what is to come is as these were
WEATHER_DAYS = 3  # what threatens is told by these
AHEAD_DAYS = 60
LIT_UMOL = 10.0  # more than dusk or a lamp next door (own choice)
USUAL_AIR_C = 20.0
DOUBTED_SHARE = 0.5  # of an hour: more, and it counts as not measured
HOUR = timedelta(hours=1)
DAY = timedelta(days=1)


class Source(StrEnum):
    """Where a figure is from."""

    MEASURED = "measured"
    LAMP = "lamp"  # by its timetable
    WATER = "water"  # air taken to be as warm as the water
    ASSUMED = "assumed"


class LightUnknownError(LookupError):
    """No light was measured, and no lamp is named: nothing can be said of growth."""


@dataclass(frozen=True, slots=True)
class Room:
    """What is known of a batch's place beside what was measured.

    air_c: where neither air nor water was measured. lamps: that shine on it. plants_per_m2: of the bed. wanted_g:
    of a head, fresh.
    """

    plants_per_m2: float
    wanted_g: float
    lamps: tuple[Lamp, ...] = ()
    air_c: float = USUAL_AIR_C
    co2_ppm: float = OUTSIDE_CO2_PPM


@dataclass(frozen=True, slots=True)
class Lived:
    """Hours up to now. air_share, light_share: of them, how many were measured, 0..1."""

    hours: tuple[Hour, ...]
    air: Source
    light: Source
    air_share: float
    light_share: float


@dataclass(frozen=True, slots=True)
class Prospect:
    """What is believed of a batch that has been set out.

    day: since it was set out. now: of a head, in g. curve: the model's, from setting out on. weighings: how many
    told of it; earlier: how many batches before it did. ready: days since setting out.
    """

    batch: Batch
    begun: date
    day: float
    now: Grams
    curve: tuple[float, ...]
    scale: Scale
    weighings: int
    earlier: int
    ready: Window
    lived: Lived
    signs: Mapping[Sign, float]
    risks: tuple[Risk, ...]
    unknown: Mapping[Threat, tuple[Sign, ...]]


def lamps_of(appliances: Iterable[Appliance], reservoir: str) -> tuple[Lamp, ...]:
    """The lamps over a reservoir that say how much light they give."""
    return tuple(
        Lamp(one.light_umol_per_m2_s, one.on_at_h, one.hours_per_day)
        for one in appliances
        if one.light_umol_per_m2_s > 0.0 and reservoir in (one.reservoir or (reservoir,))
    )


def lived(trends: Trends | None, reservoir: str, begin: datetime, end: datetime, room: Room) -> Lived:
    """The whole hours from begin to end, in the time zone of begin. trends: None where nothing was kept.

    Raises LightUnknownError; HistoryError where the history cannot be read.
    """
    count = int((end - begin) / HOUR)
    light = _by_hour(trends, (reservoir, Quantity.LIGHT), begin, count)
    air = _by_hour(trends, (reservoir, Quantity.AIR_TEMPERATURE), begin, count)
    water = {} if air else _by_hour(trends, (reservoir, Quantity.TEMPERATURE), begin, count)
    air_c = filled(air or water, count) or (room.air_c,) * count
    umol, light_from = _light(light, begin, count, room)
    return Lived(
        tuple(Hour(*both) for both in zip(air_c, umol, strict=True)),
        Source.MEASURED if air else Source.WATER if water else Source.ASSUMED,
        light_from,
        len(air) / count if count else 0.0,
        len(light) / count if count else 0.0,
    )


def _light(
    measured: Mapping[int, float], begin: datetime, count: int, room: Room
) -> tuple[tuple[float, ...], Source]:
    if not room.lamps:
        if not measured:
            raise LightUnknownError(
                "no light was measured, and no lamp is named: give it by --lamp 200 --lamp-hours 16, or in the "
                "settings as [appliance.NAME] light_umol_per_m2_s"
            )
        return filled(measured, count), Source.MEASURED
    hours = [_clock_hour(begin, number) for number in range(count)]
    by_lamp = [sum(lamp.light_umol(hour) for lamp in room.lamps) for hour in hours]
    umol = tuple(measured.get(number, by_lamp[number]) for number in range(count))
    return umol, Source.MEASURED if measured else Source.LAMP


def _clock_hour(begin: datetime, number: int) -> int:
    return datetime.fromtimestamp(begin.timestamp() + number * HOUR_S, begin.tzinfo).hour


def _by_hour(
    trends: Trends | None, series: tuple[str, Quantity], begin: datetime, count: int
) -> Mapping[int, float]:
    """Means by the number of their hour since begin; without what was doubted."""
    if trends is None or count < 1:
        return {}
    found = trends.buckets((series[0], series[1].value), begin, begin + count * HOUR, count)
    numbered = (((bucket.begins - begin) // HOUR, bucket) for bucket in found)
    return {
        max(0, number): bucket.mean
        for number, bucket in numbered
        if bucket.doubted <= DOUBTED_SHARE and number < count
    }


def days_before(trends: Trends | None, reservoir: str, end: datetime, days: int) -> Iterator[Day]:
    """What was measured on each of the last days, each 24 hours, newest first."""
    told = (Quantity.LIGHT, Quantity.AIR_TEMPERATURE, Quantity.HUMIDITY, Quantity.TEMPERATURE, Quantity.EC)
    for back in range(days if trends is not None else 0):
        until = end - back * DAY
        found = {
            quantity: trends.buckets((reservoir, quantity.value), until - DAY, until, HOURS_OF_DAY)
            for quantity in told
            if trends is not None
        }
        yield {
            quantity: Spread(
                min(one.low for one in buckets),
                sum(one.mean for one in buckets) / len(buckets),
                max(one.high for one in buckets),
            )
            for quantity, buckets in found.items()
            if buckets
        }


def prospect(
    trends: Trends | None, batch: Batch, earlier: Sequence[tuple[Batch, Room]], room: Room, now: datetime
) -> Prospect:
    """What is believed of the batch.

    earlier: batches of its kind, oldest first. now: with the garden's time zone.
    Raises LightUnknownError; HistoryError; ValueError where the batch was not set out, or only later than now.
    """
    begun, reservoir = _set_out(batch, now), _reservoir(batch)
    begin = _midnight(begun, now)
    day = (now - begin) / DAY
    scales = tuple(_scales(trends, earlier, now))
    since = min(begin, _whole_hour(now) - LATELY_DAYS * DAY)
    seen = lived(trends, reservoir, since, now, room)
    lately = as_lately(seen.hours, LATELY_DAYS)
    curve = _curve(seen.hours[int((begin - since) / HOUR) :], lately, room)
    weighed = tuple(_weighings(batch, curve, day))
    scale = corrected(learned(scales), weighed)
    grams = grams_on(curve, day, scale, day)
    signs = _signs(trends, reservoir, now, seen, lately) | {Sign.OVER_WEIGHT: grams.likely / room.wanted_g}
    return Prospect(
        batch=batch,
        begun=begun,
        day=day,
        now=grams,
        scale=scale,
        curve=curve,
        weighings=len(weighed),
        earlier=len(scales),
        ready=window(curve, room.wanted_g, scale, day),
        lived=seen,
        signs=signs,
        risks=risks(signs),
        unknown=unknown(signs),
    )


def _curve(own: Sequence[Hour], lately: Sequence[Hour], room: Room) -> tuple[float, ...]:
    """g per head by the model: through its own hours, then through days like the last."""
    hours = (*own, *over_and_over(lately, AHEAD_DAYS * HOURS_OF_DAY))
    return g_per_head(hours, room.plants_per_m2, room.co2_ppm)


def _set_out(batch: Batch, now: datetime) -> date:
    begun = batch.transplanted_on
    if begun is None or not begun <= now.date():
        raise ValueError(f"batch {batch.name}: is not set out yet; growth is reckoned from then on")
    return begun


def _reservoir(batch: Batch) -> str:
    """Where most of its heads stand."""
    return max(batch.reservoirs, key=lambda each: each[1])[0]


def _midnight(day: date, now: datetime) -> datetime:
    return datetime.combine(day, time(), now.tzinfo)


def _whole_hour(now: datetime) -> datetime:
    return now.replace(minute=0, second=0, microsecond=0)


def _scales(trends: Trends | None, earlier: Sequence[tuple[Batch, Room]], now: datetime) -> Iterator[Scale]:
    """What the weighings of each earlier batch say, each beginning with what those before it taught."""
    done: list[Scale] = []
    for batch, room in earlier:
        days = [day for day, _, _ in _on_the_scale(batch)]
        if batch.transplanted_on is None or not days:
            continue
        begin = _midnight(batch.transplanted_on, now)
        seen = lived(trends, _reservoir(batch), begin, min(now, _midnight(max(days), now) + DAY), room)
        curve = g_per_head(seen.hours, room.plants_per_m2, room.co2_ppm)
        last = (max(days) - batch.transplanted_on).days + 0.5
        scale = corrected(learned(done), _weighings(batch, curve, last))
        done.append(scale)
        yield scale


def _on_the_scale(batch: Batch) -> Iterator[tuple[date, int, float]]:
    """Day, heads and g of everything that was weighed whole."""
    for day, weighed in batch.weighings:
        yield day, weighed.heads, weighed.grams_fresh
    for day, picked in batch.pickings:
        if picked.way == "head" and picked.grams is not None:
            yield day, picked.heads, picked.grams


def _weighings(batch: Batch, curve: Sequence[float], now_day: float) -> Iterator[Weighing]:
    begun = batch.transplanted_on
    for day, heads, grams in _on_the_scale(batch):
        at = 0.0 if begun is None else (day - begun).days + 0.5
        if at >= 0.0:
            yield Weighing(at_day(curve, at), grams / heads, heads, max(0.0, now_day - at))


def _signs(
    trends: Trends | None, reservoir: str, now: datetime, seen: Lived, lately: Sequence[Hour]
) -> dict[Sign, float]:
    """What was measured in the last days, and light by the lamp where it was not."""
    signs = dict(together(signs_of(day) for day in days_before(trends, reservoir, now, WEATHER_DAYS)))
    if lately:
        signs[Sign.HOURS_LIT] = float(sum(1 for hour in lately if hour.light_umol > LIT_UMOL))
        if seen.light is Source.LAMP:
            umol = [hour.light_umol for hour in lately]
            by_lamp = signs_of({Quantity.LIGHT: Spread(min(umol), sum(umol) / len(umol), max(umol))})
            signs[Sign.LIGHT] = by_lamp[Sign.LIGHT]
    return signs
