"""Reads the diary, the ledger and the history of a state folder, for a report. Nothing is written.

Works while the daemon runs and when it does not. What is not there (no ledger, no history, no settings) is told
in the report as not known.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from pathlib import Path

from config.crop import CropStage, load_crop
from config.gardening import own_crops
from config.settings import Settings
from config.toml_file import SettingsError
from daemon.crop.amounts import Kept, of_batch, uses
from daemon.crop.costs import DAY, Shared, Standing, costs, shared
from daemon.crop.diary import Line, Transplanted, Walked, standing
from daemon.crop.diary_file import FILE_NAME, read
from daemon.crop.harvest_book import Record, book, heads_standing, season
from daemon.dose.ledger_reading import seen
from daemon.report.facts import BatchFacts, Called, Facts, Stay
from daemon.report.pictures import Scene, hours, plots
from daemon.store.history import FILE as HISTORY
from daemon.store.trend import Event, Trends, opened
from daemon.values import Condition, Entry, Quantity, Role

STOOD_STILL = (Condition.HELD.value, Condition.LOCKED.value, Condition.WATCHING.value)


@dataclass(frozen=True, slots=True)
class _Box:
    """What is known of the box, for the time in which heads stood."""

    settings: Settings | None
    trends: Trends | None
    kept: Kept
    events: tuple[Event, ...]
    now: datetime


def gather(folder: Path, settings: Settings | None, chosen: Iterable[str] | None, now: datetime) -> Facts:
    """The facts of these batches, of all where none are chosen.

    Raises DiaryError, LedgerError, HistoryError; LookupError for a batch that was never sown.
    """
    diary = read(folder / FILE_NAME)
    lines = diary.lines
    records = _chosen(book(lines), chosen)
    until = now.date() + DAY
    stood = heads_standing(lines, until)
    with ExitStack() as keep:
        trends = keep.enter_context(opened(folder)) if (folder / HISTORY).exists() else None
        box = _box(folder, settings, trends, stood, now)
        among = shared(uses(box.kept, settings, stood, until), stood)
        return Facts(
            site="" if settings is None else settings.site.name,
            written=now.date(),
            currency=settings.prices.currency if settings is not None and settings.prices is not None else "",
            batches=tuple(_batch(record, standing(lines), among, box) for record in records.values()),
            season=season(lines),
            nobodys=among.nobodys,
            notes=(*diary.torn, *_notes(settings, box, folder)),
        )


def _chosen(records: Mapping[str, Record], chosen: Iterable[str] | None) -> Mapping[str, Record]:
    names = list(records) if chosen is None else list(chosen)
    for name in names:
        if name not in records:
            raise LookupError(f"batch {name}: was never sown; there are: {', '.join(records) or 'none'}")
    return {name: records[name] for name in names}


def _box(folder: Path, settings: Settings | None, trends: Trends | None, stood: Standing, now: datetime) -> _Box:
    """All that was kept since the first head was set out."""
    if not stood:
        return _Box(settings, trends, Kept(), (), now)
    first = min(day for _, day in stood)
    ledger = seen(folder, first)
    changed: dict[str, list[date]] = defaultdict(list)
    for name, at in ledger.new_water:
        changed[name].append(at.date())
    begin, places = _midnight(first), {name for name, _ in stood}
    levels = {} if trends is None else {name: _levels(trends, name, begin, now) for name in places}
    kept = Kept(ledger.doses, {name: tuple(days) for name, days in changed.items()}, levels)
    return _Box(settings, trends, kept, () if trends is None else trends.events(begin, now), now)


def _midnight(day: date) -> datetime:
    return datetime.combine(day, time(), UTC)


def _levels(trends: Trends, reservoir: str, begin: datetime, end: datetime) -> tuple[tuple[date, float], ...]:
    read = hours(trends, reservoir, Quantity.LEVEL, begin, end)
    return tuple((hour.begins.date(), hour.mean) for hour in read)


# one batch


def _batch(record: Record, entries: Iterable[Line], among: Shared, box: _Box) -> BatchFacts:
    batch, prices = record.batch, None if box.settings is None else box.settings.prices
    every = tuple(entries)
    places = {*(name for name, _ in batch.reservoirs), batch.name, "nursery"}
    last = record.until or box.now.date()
    return BatchFacts(
        record,
        costs(of_batch(batch, among, box.kept, box.settings), prices, batch.picked, batch.heads),
        stages=_stages(record, last, box.settings),
        stays=tuple(_stays(record, every, box)),
        diary=tuple(line for line in every if getattr(line.event, "batch", None) == batch.name),
        walks=tuple(
            line
            for line in every
            if isinstance(line.event, Walked) and batch.sown_on <= line.day <= last and line.event.where in places
        ),
    )


def _stages(record: Record, last: date, settings: Settings | None) -> tuple[CropStage, ...]:
    """Those of the crop's file that had begun by the last day; none where there is no such file any more."""
    age_days = (last - record.batch.sown_on).days
    try:
        crop = load_crop(record.batch.crop, None if settings is None else own_crops(settings))
    except SettingsError:
        return ()
    return tuple(stage for stage in crop.stage if stage.from_day <= age_days)


def _stays(record: Record, entries: Iterable[Line], box: _Box) -> Iterator[Stay]:
    """From the day the batch came into a reservoir to the day its last plant was gone, or now."""
    begun: dict[str, date] = {}
    for line in entries:
        if isinstance(line.event, Transplanted) and line.event.batch == record.batch.name:
            begun.setdefault(line.event.reservoir, line.day)
    for name, day in begun.items():
        begin = _midnight(day)
        end = box.now if record.until is None else min(box.now, _midnight(record.until) + DAY)
        if begin < end:
            yield _stay(name, begin, end, box)


def _stay(name: str, begin: datetime, end: datetime, box: _Box) -> Stay:
    reservoir = None if box.settings is None else box.settings.reservoir.get(name)
    doses = [dose for dose in box.kept.doses if dose.reservoir == name and begin <= dose.utc < end]
    events = [event for event in box.events if event.reservoir == name and begin <= event.at < end]
    scene = Scene(name, reservoir, begin, end, tuple(doses), tuple(events))
    return Stay(
        reservoir=name,
        title=name if reservoir is None else reservoir.title,
        begin=begin,
        end=end,
        plots=() if box.trends is None else tuple(plots(scene, box.trends)),
        doses=_summed(doses),
        called=tuple(_called(events)),
    )


def _summed(doses: Iterable[Entry]) -> dict[Role, tuple[int, float]]:
    found: dict[Role, tuple[int, float]] = {}
    for dose in doses:
        count, ml = found.get(dose.pump, (0, 0.0))
        found[dose.pump] = count + 1, ml + dose.ml
    return found


def _called(events: Iterable[Event]) -> Iterator[Called]:
    """Alarms, and dosing that stood still, each kind once."""
    found: dict[str, list[Event]] = defaultdict(list)
    for event in events:
        if event.what == "raised" or event.what in STOOD_STILL:
            found[event.key or event.what].append(event)
    yield from (Called(key, len(each), each[0].at, each[0].text) for key, each in found.items())


# what the reader should know


def _notes(settings: Settings | None, box: _Box, folder: Path) -> Iterator[str]:
    if settings is None:
        yield "No settings file was read, so no prices, volumes and appliances are known: see --settings."
    elif settings.prices is None:
        yield "The settings have no [prices], so no costs are known."
    if box.trends is None:
        yield f"{folder / HISTORY} is not there: nothing is known of what was read."
    if settings is not None:
        yield (
            "Prices, appliances and volumes are those of the settings as they are now. Days of doses are UTC's. "
            "What was given is shared among the heads that stood there, day by day."
        )
