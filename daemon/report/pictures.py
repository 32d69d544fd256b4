"""What a reservoir's water did while a batch stood in it, made ready for `daemon.page.chart`."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import ceil

from config.settings import Reservoir
from daemon.page.chart import Ends, Line
from daemon.report.facts import Plot
from daemon.store.trend import Band, Bucket, Event, Trends, grid_of
from daemon.values import Entry, Quantity, Role

HOUR = timedelta(hours=1)
POINTS = 200  # of a picture: as many as it has room for
TOLD = (Quantity.PH, Quantity.EC, Quantity.TEMPERATURE, Quantity.AIR_TEMPERATURE)
MARKED: Mapping[Quantity, tuple[Role, ...]] = {
    Quantity.PH: (Role.PH_DOWN, Role.PH_UP),
    Quantity.EC: (Role.STOCK_A, Role.TOP_UP),
}
"""Whose doses are marked below which picture."""


@dataclass(frozen=True, slots=True)
class Scene:
    """A reservoir from `begin` to `end`, its doses and what happened in it. reservoir: None if not known."""

    name: str
    reservoir: Reservoir | None
    begin: datetime
    end: datetime
    doses: tuple[Entry, ...]
    events: tuple[Event, ...]


def plots(scene: Scene, trends: Trends) -> Iterator[Plot]:
    """A picture for each quantity of which something was read. Raises HistoryError."""
    for quantity in TOLD:
        buckets = trends.buckets((scene.name, quantity.value), scene.begin, scene.end, POINTS)
        if buckets:
            bands = trends.bands((scene.name, quantity.value), scene.begin, scene.end)
            line = _line(scene, quantity, buckets, bands)
            read = hours(trends, scene.name, quantity, scene.begin, scene.end)
            yield Plot(line, _in_band(read, line.steps))


def hours(
    trends: Trends, reservoir: str, quantity: Quantity, begin: datetime, end: datetime
) -> tuple[Bucket, ...]:
    """One quantity hour by hour. Raises HistoryError."""
    if not begin < end:
        return ()
    return trends.buckets((reservoir, quantity.value), begin, end, ceil((end - begin) / HOUR))


def _line(scene: Scene, quantity: Quantity, buckets: tuple[Bucket, ...], bands: tuple[Band, ...]) -> Line:
    return Line(
        quantity,
        buckets,
        scene.begin,
        scene.end,
        step=grid_of(scene.begin, scene.end, POINTS).step,
        band=None if scene.reservoir is None else _band(scene.reservoir, quantity),
        doses=[dose.utc for dose in scene.doses if dose.pump in MARKED.get(quantity, ())],
        alarms=[event.at for event in scene.events if event.what == "raised"],
        bands=bands,
    )


def _band(reservoir: Reservoir, quantity: Quantity) -> Ends | None:
    """Today's, for a history that was kept without bands."""
    bands = reservoir.bands
    return {
        Quantity.PH: (bands.ph_low, bands.ph_high),
        Quantity.EC: (bands.ec_low_ms_per_cm, bands.ec_high_ms_per_cm),
        Quantity.TEMPERATURE: (bands.temperature_low_c, bands.temperature_high_c),
    }.get(quantity)


def _in_band(read: Iterable[Bucket], steps: Sequence[Band]) -> float | None:
    """Of the hours that were to be relied on, the share whose mean was in the band of then; None without any."""
    sound = [hour for hour in read if not hour.is_doubted]
    inside = [band.low <= hour.mean <= band.high for hour in sound for band in _holding(steps, hour.begins)]
    return sum(inside) / len(inside) if inside else None


def _holding(steps: Sequence[Band], moment: datetime) -> Sequence[Band]:
    """The band of that moment, by itself; the first one for what came before it."""
    return [step for step in steps if step.begins <= moment][-1:] or steps[:1]
