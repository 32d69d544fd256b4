"""What to sow when, so that the table is supplied evenly and no place is promised twice. Pure.

    soak -> sow -> seedlings up -> thin -> transplant ............ first good head -> best until
            |______ nursery: plugs _____|_________ reservoir: places _______________|

Reckoned backwards from the weeks (Monday to Sunday) in which heads are wanted. Sown every week, a place is taken
from transplanting until the week's heads are eaten, so `standing` batches stand at once:

    standing = ceil((days to harvest - transplant day + 7) / 7),   rate = min(wanted, places / standing)

and week k gets floor((k + 1) rate) - floor(k rate) heads: whole heads, as even as whole heads can be, and never
more than `places` in any run of `standing` weeks. Where the nursery cannot hold a batch each week, one is sown
every second, third ... week and eaten over as many weeks as it stands at its best; what is left empty is told.
What the diary knows takes the place of what was planned, and what is still to come is reckoned anew around it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum
from fractions import Fraction
from math import ceil, floor

from daemon.crop.diary import Batch

WEEK_DAYS = 7
WEEK = timedelta(days=WEEK_DAYS)
WEEKS_SHOWN = 16
LATEST_SOWING_DAYS = 3  # so late a sowing is still good for its own week
NAMED_WITHIN_DAYS = 6  # so far from it, a batch is still for the week in its name
EARLIEST_MONDAY = date(2001, 1, 1)  # to count weeks from, so that tomorrow's plan is today's


class Why(StrEnum):
    """Why a week gets fewer heads than its share."""

    TOO_LATE = "too_late"  # nothing was sown in time
    FEW_PLACES = "few_places"  # the places hold less than one head a week
    PLACES_TAKEN = "places_taken"  # by what stands there
    NURSERY_FULL = "nursery_full"  # no plug is free at the time of sowing
    PAST_BEST = "past_best"  # between two batches: the one before would stand beyond its best
    LOST = "lost"  # of what was sown for it, some was lost
    LATE = "late"  # what was sown for it comes later
    SELDOM = "seldom"  # less than one head a week is wanted


@dataclass(frozen=True, slots=True)
class Kind:
    """One variety as it is raised here. Days count from sowing, whole days.

    name: of the want, which begins the names of its batches. heads_per_week: 0 for what is raised without a want.
    places: in the reservoir, for this kind alone. look_on_day: when seedlings should be up. germination_c: from
    and to; above warmest_c the seed sleeps.
    """

    name: str
    crop: str
    variety: str
    title: str
    heads_per_week: Fraction
    reservoir: str
    places: int
    look_on_day: int
    thin_on_day: int | None
    transplant_on_day: int
    days_to_harvest: int
    best_days: int
    seeds_per_plug: int = 2
    spare_plugs_share: Fraction = Fraction(1, 5)
    soak_h: float = 1.0
    germination_c: tuple[float, float] = (17.0, 20.0)
    warmest_c: float = 25.0
    spacing_cm: float = 20.0
    keeps_cut_days: float = 7.0
    by_leaves: bool = False

    def plugs_for(self, heads: int) -> int:
        """Plugs to sow for so many heads."""
        return ceil(heads * (1 + self.spare_plugs_share))

    def heads_from(self, plugs: int) -> int:
        """Heads that so many plugs were sown for."""
        return floor(plugs / (1 + self.spare_plugs_share))


@dataclass(frozen=True, slots=True)
class Nursery:
    """What the nursery holds: plugs of all kinds together; of each kind so many batches, as a rule."""

    plugs: int
    batches: int


@dataclass(frozen=True, slots=True)
class Steady:
    """How a kind is sown week in, week out.

    every_weeks: from one sowing to the next. eaten_weeks: over which a batch is eaten. standing: batches in the
    reservoir at once. per_batch: heads, on average. places_wanted: what all that is wanted would take.
    bound: what keeps it below what is wanted, None where nothing does.
    """

    every_weeks: int
    eaten_weeks: int
    standing: int
    per_batch: Fraction
    places_wanted: int
    bound: Why | None = None

    @property
    def per_week(self) -> Fraction:
        """Heads a week, on average, weeks between batches included."""
        return self.per_batch / self.every_weeks

    def share(self, week: int) -> int:
        """Heads that the batch of this week (counted from EARLIEST_MONDAY) is sown for; 0 between batches."""
        number, between = divmod(week, self.every_weeks)
        return 0 if between else floor((number + 1) * self.per_batch) - floor(number * self.per_batch)


@dataclass(frozen=True, slots=True)
class Course:
    """The days of one batch, as they were as far as the diary knows them, else as they should be.

    week: the Monday of the first week it is eaten in. free_on: the day its places are free again. batch: what the
    diary knows, None as long as nothing is sown.
    """

    name: str
    kind: Kind
    week: date
    heads: int
    plugs: int
    sow_on: date
    transplant_on: date
    ready_on: date
    best_until: date
    free_on: date
    batch: Batch | None = None

    @property
    def soak_on(self) -> date:
        """The evening before sowing."""
        return self.meant_on - timedelta(days=1)

    @property
    def meant_on(self) -> date:
        """The day it was to be sown, where that is just gone; else the day it is sown."""
        return min(self.sow_on, self.week - timedelta(days=self.kind.days_to_harvest))

    @property
    def look_on(self) -> date:
        """When seedlings should be up."""
        return self.sow_on + timedelta(days=self.kind.look_on_day)

    @property
    def thin_on(self) -> date | None:
        """When the strongest seedling is chosen; None where that is not done."""
        days = self.kind.thin_on_day
        return None if days is None else self.sow_on + timedelta(days=days)


@dataclass(frozen=True, slots=True)
class Week:
    """What one want brings to the table in one week. why: of fewer heads than `share`, or of none."""

    monday: date
    want: str
    heads: int
    share: int
    why: Why | None = None


@dataclass(frozen=True, slots=True)
class Plan:
    """All of it: the batches there are and those to come, and the weeks they feed, by want."""

    today: date
    kinds: tuple[Kind, ...]
    steady: Mapping[str, Steady]
    courses: tuple[Course, ...]
    weeks: tuple[Week, ...]


def monday_of(day: date) -> date:
    """The Monday of its week."""
    return day - timedelta(days=day.weekday())


def steady(kind: Kind, nursery: Nursery) -> Steady:
    """How a kind is sown so that places and nursery hold it, as near to what is wanted as they allow."""
    every = max(1, ceil(Fraction(kind.transplant_on_day, WEEK_DAYS * nursery.batches)))
    eaten = min(every, max(1, kind.best_days // WEEK_DAYS))
    in_water_days = kind.days_to_harvest - kind.transplant_on_day + WEEK_DAYS * eaten
    standing = ceil(Fraction(in_water_days, WEEK_DAYS * every))
    wanted = kind.heads_per_week * eaten
    most = min(wanted, Fraction(kind.places, standing))
    fewer = (Fraction(heads, standing) for heads in range(floor(most * standing), -1, -1))
    sizes = (size for size in (most, *fewer) if _nursery_holds(kind, nursery, size, every))
    size = next(sizes, Fraction(0))
    bound = Why.NURSERY_FULL if size < most else Why.FEW_PLACES if size < wanted else None
    return Steady(every, eaten, standing, size, ceil(wanted * standing), bound)


def _nursery_holds(kind: Kind, nursery: Nursery, per_batch: Fraction, every: int) -> bool:
    """Whether its plugs hold all batches of this kind that are in it at once, whichever they are."""
    at_once = ceil(Fraction(kind.transplant_on_day, WEEK_DAYS * every))
    sizes = [
        floor((number + 1) * per_batch) - floor(number * per_batch)
        for number in range(per_batch.denominator + at_once)
    ]
    plugs = [kind.plugs_for(size) for size in sizes]
    return all(sum(plugs[first : first + at_once]) <= nursery.plugs for first in range(per_batch.denominator))


def plan(
    kinds: Sequence[Kind], nursery: Nursery, batches: Mapping[str, Batch], today: date, weeks: int = WEEKS_SHOWN
) -> Plan:
    """The plan from today on: the weeks that it is too late to sow for, and `weeks` after them."""
    ways = {kind.name: steady(kind, nursery) for kind in kinds}
    known = [
        _known(kind, ways[kind.name], batch, today)
        for batch in batches.values()
        if not batch.over and (kind := kind_of(batch, kinds)) is not None
    ]
    table = _Table(nursery, today, frozenset(batches), known)
    rows = list[Week]()
    for kind in (kind for kind in kinds if kind.heads_per_week > 0):
        count = kind.days_to_harvest // WEEK_DAYS + weeks
        rows += table.fill(kind, ways[kind.name], [monday_of(today) + number * WEEK for number in range(count)])
    courses = sorted(table.courses, key=lambda course: (course.sow_on, course.name))
    return Plan(today, tuple(kinds), ways, tuple(courses), tuple(rows))


def kind_of(batch: Batch, kinds: Iterable[Kind]) -> Kind | None:
    """Which kind a batch is of: by its variety, and where two wants share that, by its name or its reservoir."""
    alike = [kind for kind in kinds if (kind.crop, kind.variety) == (batch.crop, batch.variety)]
    named = [kind for kind in alike if batch.name.startswith(f"{kind.name}-")]
    there = [kind for kind in alike if kind.reservoir in dict(batch.reservoirs)]
    return next(iter([*named, *there, *alike]), None)


def batch_name(want: str, monday: date) -> str:
    """`salad-27w05`: of the batch that is to be eaten from that week on."""
    return f"{want}-{monday:%g}w{monday:%V}"


def supply(course: Course, eaten_weeks: int, monday: date, today: date) -> int:
    """Heads of this batch that are for that week: what stands, over the weeks that are left to eat it."""
    last = course.week + (eaten_weeks - 1) * WEEK
    first = min(max(course.week, monday_of(today)), last)
    if not first <= monday <= last:
        return 0
    number, count = (monday - first).days // WEEK_DAYS, (last - first).days // WEEK_DAYS + 1
    return (number + 1) * course.heads // count - number * course.heads // count


def occupied(courses: Iterable[Course], kind: Kind, day: date) -> int:
    """Places of this kind's that are taken on that day."""
    return sum(c.heads for c in courses if c.kind.name == kind.name and c.transplant_on <= day < c.free_on)


def plugs_taken(courses: Iterable[Course], day: date) -> int:
    """Plugs of the nursery that are taken on that day, by all kinds."""
    return sum(course.plugs for course in courses if course.sow_on <= day < course.transplant_on)


def _known(kind: Kind, way: Steady, batch: Batch, today: date) -> Course:
    """What the diary knows of a batch, and when the rest of it should be."""
    in_water = timedelta(days=kind.days_to_harvest - kind.transplant_on_day)
    due = batch.sown_on + timedelta(days=kind.transplant_on_day)
    transplant_on = batch.transplanted_on or max(due, today)
    ready_on = transplant_on + in_water
    week = max(_week_meant(kind, batch, ready_on), monday_of(today) - (way.eaten_weeks - 1) * WEEK)
    return Course(
        name=batch.name,
        kind=kind,
        week=week,
        heads=batch.heads if batch.planted else min(batch.seedlings, kind.heads_from(batch.plugs)),
        plugs=0 if batch.planted else batch.seedlings,
        sow_on=batch.sown_on,
        transplant_on=transplant_on,
        ready_on=ready_on,
        best_until=ready_on + timedelta(days=kind.best_days),
        free_on=max(week + way.eaten_weeks * WEEK, today + timedelta(days=1)),
        batch=batch,
    )


def _week_meant(kind: Kind, batch: Batch, ready_on: date) -> date:
    """The week that its name says where it is ready about then, else the nearest Monday."""
    nearest = monday_of(ready_on + timedelta(days=3))
    near = (nearest + weeks * WEEK for weeks in (-1, 0, 1))
    named = (monday for monday in near if batch_name(kind.name, monday) == batch.name)
    meant = next(named, nearest)
    return meant if abs((ready_on - meant).days) <= NAMED_WITHIN_DAYS else nearest


@dataclass(slots=True)
class _Table:
    """Places and plugs day by day, as batches are put down one after the other. taken: names given already."""

    nursery: Nursery
    today: date
    taken: frozenset[str]
    courses: list[Course]

    def fill(self, kind: Kind, way: Steady, mondays: Sequence[date]) -> Iterator[Week]:
        """Put down what is to be sown of a kind for these weeks, then tell what each of them gets."""
        found: dict[date, tuple[int, Why | None]] = {}
        for first in sorted({_round_of(way, monday) for monday in mondays}):
            found[first] = self._sow(kind, way, first)
        for monday in mondays:
            yield self._told(kind, way, monday, found[_round_of(way, monday)])

    def _sow(self, kind: Kind, way: Steady, first: date) -> tuple[int, Why | None]:
        """Put down the batch that is eaten from this week on: its share, and why it is smaller than that."""
        share = way.share(_number(first))
        end = first + way.every_weeks * WEEK
        have = sum(c.heads for c in self.courses if c.kind.name == kind.name and first <= c.week < end)
        name = batch_name(kind.name, first)
        if have >= share:
            return share, None
        if name in self.taken:
            return share, Why.LOST
        if first - timedelta(days=kind.days_to_harvest - LATEST_SOWING_DAYS) < self.today:
            return share, Why.TOO_LATE
        course, why = self._fitted(_course(name, kind, way, first, self.today), share - have)
        if course is not None:
            self.courses.append(course)
        return share, why

    def _fitted(self, wanted: Course, heads: int) -> tuple[Course | None, Why | None]:
        """As many heads as there is room for, on each of its days."""
        why: Why | None = None
        for fewer in range(heads, 0, -1):
            course = replace(wanted, heads=fewer, plugs=wanted.kind.plugs_for(fewer))
            bound = self._bound(course)
            if bound is None:
                return course, why
            why = bound
        return None, why

    def _bound(self, course: Course) -> Why | None:
        """What this batch does not fit into, None where it fits."""
        kind = course.kind
        in_water = [course.transplant_on, *(c.transplant_on for c in self.courses)]
        days = {day for day in in_water if course.transplant_on <= day < course.free_on}
        if any(occupied(self.courses, kind, day) + course.heads > kind.places for day in days):
            return Why.PLACES_TAKEN
        sown = [course.sow_on, *(c.sow_on for c in self.courses)]
        days = {day for day in sown if course.sow_on <= day < course.transplant_on}
        if any(plugs_taken(self.courses, day) + course.plugs > self.nursery.plugs for day in days):
            return Why.NURSERY_FULL
        return None

    def _told(self, kind: Kind, way: Steady, monday: date, of_round: tuple[int, Why | None]) -> Week:
        share, why = of_round
        number = (monday - _round_of(way, monday)).days // WEEK_DAYS
        part = 0
        if number < way.eaten_weeks:
            part = (number + 1) * share // way.eaten_weeks - number * share // way.eaten_weeks
        mine = (course for course in self.courses if course.kind.name == kind.name)
        heads = sum(supply(course, way.eaten_weeks, monday, self.today) for course in mine)
        if heads >= part and heads:
            why = None
        elif number >= way.eaten_weeks:
            why = Why.PAST_BEST
        else:
            why = why or (Why.LATE if part else way.bound or Why.SELDOM)
        return Week(monday, kind.name, heads, part, why)


def _number(monday: date) -> int:
    return (monday - EARLIEST_MONDAY).days // WEEK_DAYS


def _round_of(way: Steady, monday: date) -> date:
    """The first week of those that one batch is sown for."""
    return monday - (_number(monday) % way.every_weeks) * WEEK


def _course(name: str, kind: Kind, way: Steady, first: date, today: date) -> Course:
    """The days of a batch that is yet to be sown for this week; a little late where its day is just gone."""
    sow_on = max(first - timedelta(days=kind.days_to_harvest), today)
    ready_on = sow_on + timedelta(days=kind.days_to_harvest)
    return Course(
        name=name,
        kind=kind,
        week=first,
        heads=0,
        plugs=0,
        sow_on=sow_on,
        transplant_on=sow_on + timedelta(days=kind.transplant_on_day),
        ready_on=ready_on,
        best_until=ready_on + timedelta(days=kind.best_days),
        free_on=first + way.eaten_weeks * WEEK,
    )
