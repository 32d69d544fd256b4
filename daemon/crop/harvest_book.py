"""What became of each batch: plants, grams, days, losses, and what was eaten of it. Pure.

    the diary's entries  ->  one Record a batch; and the heads that stood in each reservoir, day by day

Shares are 0..1. What the diary does not tell is None, never 0.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from math import fsum

from daemon.crop.costs import DAY, Standing, days_between
from daemon.crop.diary import (
    Batch,
    Composted,
    Eaten,
    Line,
    Lost,
    Picked,
    Shared,
    Transplanted,
    Used,
    batches,
    standing,
)


@dataclass(frozen=True, slots=True)
class Became:
    """What was done with the harvest of a batch, as shares of it; what is left to 1 nobody told."""

    eaten: float
    shared: float
    composted: float


@dataclass(frozen=True, slots=True)
class Record:
    """One batch's line in the harvest book.

    until: the day its last plant was gone, None while any stands. first_picked, last_picked: None before any was.
    grams: of all that was weighed; unweighed: pickings that were not. grams_per_head: of the heads that were
    weighed when cut. became: None while nothing is picked, or where amounts cannot be compared.
    wasted: of the heads set out that stand no more, the share lost or composted; None while all stand.
    """

    batch: Batch
    until: date | None
    first_picked: date | None
    last_picked: date | None
    unweighed: int
    grams_per_head: float | None
    became: Became | None
    wasted: float | None

    @property
    def days_to_harvest(self) -> int | None:
        """From sowing to the first picking."""
        return None if self.first_picked is None else (self.first_picked - self.batch.sown_on).days

    @property
    def used(self) -> float | None:
        """Of the harvest, the share that was eaten, given away or sold."""
        return None if self.became is None else self.became.eaten + self.became.shared

    @property
    def lost(self) -> int:
        """Seedlings and heads, whatever the cause."""
        return sum(count for _, count in (*self.batch.lost_seedlings, *self.batch.lost_heads))


def book(lines: Iterable[Line]) -> Mapping[str, Record]:
    """Each batch's record by its name, in the order of sowing."""
    every = tuple(lines)
    kept = standing(every)
    return {name: _record(batch, kept) for name, batch in batches(every).items()}


def _record(batch: Batch, kept: Iterable[Line]) -> Record:
    mine = [line for line in kept if getattr(line.event, "batch", None) == batch.name]
    days, pickings = [day for day, _ in batch.pickings], [picked for _, picked in batch.pickings]
    became = _became(pickings, (line.event for line in mine if isinstance(line.event, Used)))
    leaving = [line.day for line in mine if isinstance(line.event, Picked | Lost)]
    return Record(
        batch,
        until=max(leaving, default=batch.sown_on) if batch.over else None,
        first_picked=min(days, default=None),
        last_picked=max(days, default=None),
        unweighed=sum(1 for picked in pickings if picked.grams is None),
        grams_per_head=_grams_per_head(pickings),
        became=became,
        wasted=_wasted(batch, became),
    )


def _became(pickings: Iterable[Picked], used: Iterable[Used]) -> Became | None:
    """By weight where that is known of all, else by heads; None where neither is, or nobody told anything."""
    picked, told = tuple(pickings), tuple(used)
    per_head = _grams_per_head(picked)
    for whole, amounts in (
        (_grams_picked(picked), [_grams(one, per_head) for one in told]),
        (_heads_picked(picked), [one.heads for one in told]),
    ):
        if whole and amounts and None not in amounts:
            parts = [(type(one), amount / whole) for one, amount in zip(told, amounts, strict=True) if amount]
            return Became(
                *(fsum(part for kind, part in parts if kind is of) for of in (Eaten, Shared, Composted))
            )
    return None


def _grams_per_head(pickings: Iterable[Picked]) -> float | None:
    cut = [(picked.heads, picked.grams) for picked in pickings if picked.way == "head" and picked.grams]
    return fsum(grams for _, grams in cut) / sum(heads for heads, _ in cut) if cut else None


def _grams_picked(pickings: Iterable[Picked]) -> float | None:
    """None where a picking was not weighed."""
    weights = [picked.grams for picked in pickings]
    return fsum(grams for grams in weights if grams is not None) if None not in weights else None


def _heads_picked(pickings: Iterable[Picked]) -> float | None:
    """None where leaves were picked, of which heads tell no amount."""
    every = tuple(pickings)
    return float(sum(picked.heads for picked in every)) if all(one.way == "head" for one in every) else None


def _grams(used: Used, per_head: float | None) -> float | None:
    if used.grams is not None or used.heads is None or per_head is None:
        return used.grams
    return used.heads * per_head


def _wasted(batch: Batch, became: Became | None) -> float | None:
    gone = batch.planted - batch.heads
    if gone <= 0:
        return None
    lost = sum(count for _, count in batch.lost_heads)
    return (lost + (became.composted if became else 0.0) * batch.picked) / gone


# where heads stood


def heads_standing(lines: Iterable[Line], until: date) -> Standing:
    """How many heads of each batch stood in each reservoir on each day before `until`.

    A head stands on the day it is set out and on the day it is cut or lost. Of a batch in several reservoirs each
    lost or cut head is taken from all of them, by how many were set out there.
    """
    kept = standing(lines)
    found: dict[tuple[str, date], dict[str, float]] = defaultdict(dict)
    for batch in dict.fromkeys(line.event.batch for line in kept if isinstance(line.event, Transplanted)):
        for day, reservoir, heads in _stood(batch, kept, until):
            found[reservoir, day][batch] = heads
    return found


def _stood(batch: str, kept: Iterable[Line], until: date) -> Iterator[tuple[date, str, float]]:
    """Day, reservoir and heads, above 0, of one batch."""
    come, gone = _moves(batch, kept)
    planted: dict[str, int] = defaultdict(int)
    left = 0
    for day in days_between(min(day for day, _, _ in come), min(until, _gone_by(come, gone))):
        for _, reservoir, heads in (one for one in come if one[0] == day):
            planted[reservoir] += heads
        stands = sum(planted.values()) - left
        for reservoir, heads in planted.items():
            if stands > 0:
                yield day, reservoir, stands * heads / sum(planted.values())
        left += gone.get(day, 0)


def _moves(batch: str, kept: Iterable[Line]) -> tuple[list[tuple[date, str, int]], Mapping[date, int]]:
    """Heads set out: day, reservoir and how many; heads that went: how many by day."""
    come: list[tuple[date, str, int]] = []
    gone: dict[date, int] = defaultdict(int)
    for line in kept:
        match line.event:
            case Transplanted(batch=of) if of == batch:
                come.append((line.day, line.event.reservoir, line.event.heads))
            case Picked(batch=of, way="head") | Lost(batch=of) if of == batch and come:  # before that, seedlings
                gone[line.day] += line.event.heads
    return come, gone


def _gone_by(come: list[tuple[date, str, int]], gone: Mapping[date, int]) -> date:
    """The day after the last head was gone; the end of all days where some stand."""
    if sum(gone.values()) < sum(heads for _, _, heads in come):
        return date.max
    return max(*gone, *(day for day, _, _ in come)) + DAY


# all batches together


@dataclass(frozen=True, slots=True)
class Season:
    """All batches together. became: of all that was picked, also by entries that name no batch; wasted: of the
    heads set out that stand no more, None before any is gone.
    """

    batches: int
    plugs: int
    planted: int
    picked: int
    grams: float
    lost: Mapping[str, int]
    became: Became | None
    wasted: float | None


def season(lines: Iterable[Line]) -> Season:
    """The sums of the book."""
    kept = tuple(lines)
    every = list(book(kept).values())
    lost: dict[str, int] = defaultdict(int)
    for record in every:
        for cause, count in (*record.batch.lost_seedlings, *record.batch.lost_heads):
            lost[cause] += count
    gone = [(one.wasted, one.batch.planted - one.batch.heads) for one in every if one.wasted is not None]
    heads_gone = sum(heads for _, heads in gone)
    return Season(
        batches=len(every),
        plugs=sum(one.batch.plugs for one in every),
        planted=sum(one.batch.planted for one in every),
        picked=sum(one.batch.picked for one in every),
        grams=fsum(one.batch.grams for one in every),
        lost=lost,
        became=_became(
            (picked for one in every for _, picked in one.batch.pickings),
            (line.event for line in standing(kept) if isinstance(line.event, Used)),
        ),
        wasted=fsum(share * heads for share, heads in gone) / heads_gone if heads_gone else None,
    )
