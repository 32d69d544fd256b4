"""What a grower does with a crop, entry by entry, and what is known of each batch from it. Pure.

    sown -> emerged -> thinned -> transplanted -> weighed ... -> picked -> eaten, shared, composted
      |________________________________|__ lost, at any time, heads or seedlings, with the cause

A batch is what was sown together: a name, a crop, a variety. Before it is transplanted, its plants are the
seedlings in the plugs of the nursery; from then on, heads in a reservoir's places. Entries are never changed: a
wrong one is undone by another that names its number. `daemon.crop.diary_file` keeps them.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Annotated, Any, Literal, Self

from pydantic import Field, StringConstraints, model_validator

from config.table import HomieId, Table

MOST_PLUGS = 5000
MOST_GRAMS = 1_000_000.0
Way = Literal["head", "leaves"]
Text = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=400)]
Plants = Annotated[int, Field(ge=1, le=MOST_PLUGS)]
Grams = Annotated[float, Field(gt=0.0, le=MOST_GRAMS)]


class OfBatch(Table):
    """Something that happened to one batch."""

    batch: HomieId = Field(description="the name of the batch, as spring-3")


class Sown(OfBatch):
    """Seeds went into plugs: a batch begins."""

    crop: HomieId = Field(description="the crop's file by its name, as lettuce")
    variety: HomieId = Field(description="one of the crop's varieties, as butterhead")
    plugs: Plants = Field(description="how many plugs were sown")
    seeds_per_plug: int = Field(default=2, ge=1, le=20, description="the seeds in each plug")


class Emerged(OfBatch):
    """Seedlings are up. The last count holds."""

    plugs: int = Field(ge=0, le=MOST_PLUGS, description="in how many plugs a seedling is up")


class Thinned(OfBatch):
    """The strongest seedling of each plug was left."""


class Transplanted(OfBatch):
    """Seedlings went into places of a reservoir; more than once where they went in parts."""

    heads: Plants = Field(description="how many seedlings were set out")
    reservoir: HomieId = Field(description="into which, by the name in the settings")


class Weighed(OfBatch):
    """Heads were on the scale, whether they went back or not."""

    heads: Plants = Field(description="how many heads were on the scale together")
    grams_fresh: Grams = Field(description="what they weighed together, in g, roots and net cup taken off")


class Picked(OfBatch):
    """A harvest: whole heads, whose places are free then, or outer leaves, whose plants go on growing."""

    heads: Plants = Field(description="how many heads were cut, or from how many plants leaves were picked")
    grams: Grams | None = Field(default=None, description="what that weighed, in g; left out, it was not weighed")
    way: Way = Field(default="head", description="head or leaves")


class Used(Table):
    """What became of a harvest: an amount in heads, in g, or both; of a batch, where that is known."""

    batch: HomieId | None = Field(default=None, description="of which batch; left out, it is not known")
    heads: Plants | None = Field(default=None, description="how many heads")
    grams: Grams | None = Field(default=None, description="how much, in g")

    @model_validator(mode="after")
    def _an_amount(self) -> Self:
        if self.heads is None and self.grams is None:
            raise ValueError("says no amount: give heads, grams, or both")
        return self


class Eaten(Used):
    """At the grower's own table."""


class Shared(Used):
    """Given away or sold."""


class Composted(Used):
    """Picked, and not eaten."""


class Lost(OfBatch):
    """Plants that will not be picked: seedlings before transplanting, heads after it."""

    heads: Plants = Field(description="how many seedlings or heads")
    cause: Text = Field(description="why, as bolted, root rot, slugs")


class Finding(Table):
    """What a walk found of one thing that it looked for."""

    what: Text = Field(description="what was looked for, as aphids")
    how_much: Literal["none", "few", "many"] = Field(description="none, few or many")
    note: str = Field(default="", max_length=400, description="where on the plant, what it looked like")


class Walked(Table):
    """A scouting walk: where, what was found, and the advice that was given."""

    where: Text = Field(description="the place, as a reservoir's name or nursery")
    findings: tuple[Finding, ...] = Field(
        default=(), max_length=40, strict=False, description="one for each look"
    )
    advice: tuple[Text, ...] = Field(default=(), max_length=40, strict=False, description="what was said to do")


class Done(Table):
    """A task of the plan that leaves nothing else to write down, by its id."""

    task: HomieId = Field(description="the id that the plan gave it")


class Note(Table):
    """Anything else worth knowing later."""

    text: Text = Field(description="in your own words")
    batch: HomieId | None = Field(default=None, description="of which batch; left out, of none")


class Undone(Table):
    """An entry was wrong and counts no more. It stays where it stands."""

    entry: int = Field(ge=1, description="the number of the entry that was wrong")
    why: str = Field(default="", max_length=400, description="what was wrong with it")


Event = (
    Sown
    | Emerged
    | Thinned
    | Transplanted
    | Weighed
    | Picked
    | Eaten
    | Shared
    | Composted
    | Lost
    | Walked
    | Done
    | Note
    | Undone
)

KINDS: Mapping[str, type[Event]] = {
    model.__name__.lower(): model
    for model in (
        *(Sown, Emerged, Thinned, Transplanted, Weighed, Picked, Lost),
        *(Eaten, Shared, Composted, Walked, Done, Note, Undone),
    )
}
"""Each kind of entry by the word it is written down by."""


@dataclass(frozen=True, slots=True)
class Line:
    """One entry as it was written down.

    number: 1, 2, 3, ... at: when it was written, UTC. day: when it happened, by the grower's own calendar.
    """

    number: int
    at: datetime
    day: date
    event: Event

    @property
    def kind(self) -> str:
        """The word of KINDS."""
        return type(self.event).__name__.lower()


@dataclass(frozen=True, slots=True)
class Batch:
    """What is known of one batch. Days are None until they have come.

    emerged: plugs with a seedling, None before anybody looked. planted: heads set out, in all. transplanted_on:
    the first time. reservoirs: into which, and how many heads each. lost_seedlings, lost_heads: by cause.
    picked: heads that were cut; their places are free. grams: of all that was picked, as far as it was weighed.
    """

    name: str
    crop: str
    variety: str
    sown_on: date
    plugs: int
    seeds_per_plug: int
    emerged_on: date | None = None
    emerged: int | None = None
    thinned_on: date | None = None
    transplanted_on: date | None = None
    planted: int = 0
    reservoirs: tuple[tuple[str, int], ...] = ()
    weighings: tuple[tuple[date, Weighed], ...] = ()
    pickings: tuple[tuple[date, Picked], ...] = ()
    picked: int = 0
    grams: float = 0.0
    lost_seedlings: tuple[tuple[str, int], ...] = ()
    lost_heads: tuple[tuple[str, int], ...] = ()

    @property
    def seedlings(self) -> int:
        """Seedlings (or sown plugs, as long as nobody looked) that still stand in the nursery."""
        up = self.plugs if self.emerged is None else self.emerged
        return max(0, up - self.planted - _heads(self.lost_seedlings))

    @property
    def heads(self) -> int:
        """Heads that still stand in a reservoir's places."""
        return max(0, self.planted - self.picked - _heads(self.lost_heads))

    @property
    def over(self) -> bool:
        """Whether nothing of it stands any more; what is left in the plugs counts until the first planting."""
        return self.heads == 0 and (self.seedlings == 0 or self.planted > 0)


def _heads(pairs: tuple[tuple[str, int], ...]) -> int:
    return sum(count for _, count in pairs)


def standing(lines: Iterable[Line]) -> tuple[Line, ...]:
    """The entries that count, by the day they happened: without those undone, and without the undoing."""
    every = tuple(lines)
    undone = {line.event.entry for line in every if isinstance(line.event, Undone)}
    kept = (line for line in every if line.number not in undone and not isinstance(line.event, Undone))
    return tuple(sorted(kept, key=lambda line: (line.day, line.number)))


def batches(lines: Iterable[Line]) -> Mapping[str, Batch]:
    """What is known of each batch, oldest sowing first. Entries of a batch that was never sown are left out."""
    known: dict[str, Batch] = {}
    for line in standing(lines):
        event = line.event
        if isinstance(event, Sown):
            known.setdefault(event.batch, _sown(line.day, event))
        elif isinstance(event, OfBatch) and (batch := known.get(event.batch)) is not None:
            known[event.batch] = _with(batch, line.day, event)
    return known


def _sown(day: date, event: Sown) -> Batch:
    return Batch(event.batch, event.crop, event.variety, day, event.plugs, event.seeds_per_plug)


def _with(batch: Batch, day: date, event: OfBatch) -> Batch:
    """The batch once this has happened to it."""
    return replace(batch, **_changes(batch, day, event))


def _changes(batch: Batch, day: date, event: OfBatch) -> dict[str, Any]:
    changes: dict[str, Any] = {}
    match event:
        case Emerged():
            changes = {"emerged_on": batch.emerged_on or day, "emerged": event.plugs}
        case Thinned():
            changes = {"thinned_on": day}
        case Transplanted():
            changes = _transplanted(batch, day, event)
        case Weighed():
            changes = {"weighings": (*batch.weighings, (day, event))}
        case Picked():
            changes = _picked(batch, day, event)
        case Lost():
            lost = "lost_seedlings" if batch.transplanted_on is None else "lost_heads"
            changes = {lost: _more(getattr(batch, lost), event.cause, event.heads)}
    return changes


def _transplanted(batch: Batch, day: date, event: Transplanted) -> dict[str, Any]:
    return {
        "transplanted_on": batch.transplanted_on or day,
        "planted": batch.planted + event.heads,
        "reservoirs": _more(batch.reservoirs, event.reservoir, event.heads),
    }


def _picked(batch: Batch, day: date, event: Picked) -> dict[str, Any]:
    return {
        "pickings": (*batch.pickings, (day, event)),
        "picked": batch.picked + (event.heads if event.way == "head" else 0),
        "grams": batch.grams + (event.grams or 0.0),
    }


def _more(pairs: tuple[tuple[str, int], ...], name: str, count: int) -> tuple[tuple[str, int], ...]:
    counts = Counter(dict(pairs))
    counts[name] += count
    return tuple(sorted(counts.items()))


def objection(lines: Iterable[Line], event: Event, day: date) -> str | None:
    """Why this cannot have happened on that day after all that, with what to do; None where it can.

    Counts only: whether it was wise is the grower's.
    """
    every = tuple(lines)
    if isinstance(event, Undone):
        return _not_to_undo(every, event)
    if not isinstance(event, OfBatch):
        return None
    known = batches(every)
    if isinstance(event, Sown):
        taken = event.batch in known
        return f"batch {event.batch}: has been sown already; give this one another name" if taken else None
    if (batch := known.get(event.batch)) is None:
        return f"batch {event.batch}: was never sown{_sown_are(known)}"
    if day < batch.sown_on:
        return f"day = {day}: batch {batch.name} was sown later, on {batch.sown_on}; correct the day or the batch"
    return _too_many(batch, event)


def _sown_are(known: Mapping[str, Batch]) -> str:
    open_ones = [batch.name for batch in known.values() if not batch.over]
    return f"; those standing are: {', '.join(open_ones)}" if open_ones else "; begin it with `sown`"


def _too_many(batch: Batch, event: OfBatch) -> str | None:
    """More plants than there are."""
    at_most, of_what = _most(batch, event)
    count = event.plugs if isinstance(event, Emerged) else getattr(event, "heads", None)
    if count is None or at_most is None or count <= at_most:
        return None
    word = "plugs" if isinstance(event, Emerged) else "heads"
    return (
        f"{word} = {count}: batch {batch.name} has {at_most} {of_what}; correct the number, or what was written "
        "before: undo that entry and write it anew"
    )


def _most(batch: Batch, event: OfBatch) -> tuple[int | None, str]:
    """How many plants such an entry may speak of, and which; None where any number may be."""
    match event:
        case Emerged():
            return batch.plugs, "plugs sown"
        case Transplanted():
            return batch.seedlings, "seedlings in the nursery"
        case Lost() if batch.transplanted_on is None:
            return batch.seedlings, "seedlings in the nursery"
        case Picked() | Lost() | Weighed():
            return batch.heads, "heads standing"
    return None, ""


def _not_to_undo(lines: tuple[Line, ...], event: Undone) -> str | None:
    numbers = {line.number: line for line in lines}
    if event.entry not in numbers:
        return f"entry = {event.entry}: there is no such entry; `evenwater crop diary` lists them"
    if isinstance(numbers[event.entry].event, Undone):
        return f"entry = {event.entry}: undoes another entry; write that one anew instead"
    if any(isinstance(line.event, Undone) and line.event.entry == event.entry for line in lines):
        return f"entry = {event.entry}: has been undone already"
    return None
