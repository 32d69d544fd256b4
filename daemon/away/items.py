"""Whether the box may be left alone for some days: what lasts, what runs out, what nobody can know. Pure.

Each thing is reckoned by what the last days used at the most, or by the day on which the daemon itself would
stop. What the days bring (heat, a power cut, a burst hose) is for alarms and for whoever has the key.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from itertools import pairwise
from math import ceil, floor, inf

from config.settings import Reservoir, Settings
from daemon import words
from daemon.crop.tasks import Task
from daemon.desk.reach import CALLS_NOBODY, Reach
from daemon.keeping.causes import LEVEL_ENOUGH
from daemon.values import (
    NOT_OF_ITS_OWN,
    AlarmState,
    Condition,
    Entry,
    PumpState,
    Quality,
    Quantity,
    RateStanding,
    ReservoirState,
    Role,
    State,
    Verdict,
    WaterUse,
)
from drivers.barriers import Barrier, Standing

LOOKED_BACK_DAYS, FEWEST_DAYS = 7, 3  # of doses; by fewer nobody knows what a day takes
FRESH_DAYS = 1.0  # the first of fresh water takes more than others
DAY = timedelta(days=1)
USUAL_DAYS, MOST_DAYS = 14, 60
BOX, ALL_ELSE = "", "The box, and all else"
ONE_PROBE = (
    "pH is seen by one probe alone: if that drifts, doses follow it until pH comes back further than it usually "
    "does; two that are compared show it at once"
)
BEYOND = (
    "What lasts does so by what the last days used at the most: a heat wave takes more. Somebody near should "
    "have a key, know the plug of the pumps, and get the alarms."
)


class Mark(StrEnum):
    """What is to be said of one thing."""

    LASTS = "lasts"
    SEE_TO = "see to it"
    UNKNOWN = "not known"


_BY_PH = {Role.PH_DOWN, Role.PH_UP}
_GRAVEST_FIRST = (Mark.SEE_TO, Mark.UNKNOWN, Mark.LASTS)
SIGN: Mapping[Mark, str] = {Mark.LASTS: "●", Mark.SEE_TO: "✕", Mark.UNKNOWN: "◌"}


@dataclass(frozen=True, slots=True)
class Item:
    """One thing that has to hold. where: the reservoir's title, BOX for the box and all else."""

    where: str
    mark: Mark
    said: str
    todo: str = ""


@dataclass(frozen=True, slots=True)
class Seen:
    """What the daemon tells now.

    entries: of the ledger, newest first, as many as it gives; levels: by reservoir the mean level of each of the
    last days, oldest first; tasks: what is to do in the garden; unread: what could not be looked at, and why.
    """

    state: State
    settings: Settings
    entries: Sequence[Entry]
    ways: Sequence[Reach]
    barriers: Sequence[Barrier]
    levels: Mapping[str, Sequence[float]]
    tasks: Sequence[Task]
    unread: Sequence[str] = ()

    @property
    def today(self) -> date:
        """The box's, in UTC."""
        return self.state.utc.date()

    def home(self, days: int) -> date:
        """The day on which you are back."""
        return self.today + days * DAY


def days_of(text: str) -> int | None:
    """How many days are asked for; None for what is no whole number of them, up to MOST_DAYS."""
    is_number = text.isascii() and text.isdigit() and len(text) < 10
    return int(text) if is_number and 1 <= int(text) <= MOST_DAYS else None


def items(seen: Seen, days: int) -> tuple[Item, ...]:
    """Everything that has to hold for so many days: reservoir by reservoir, then all else; the gravest first."""
    beds = [_Bed(of, seen.settings.reservoir[name], seen, days) for name, of in seen.state.reservoirs.items()]
    all_else = (
        *_alarms(seen, "", BOX),
        _reach(seen.ways),
        *_barriers(seen.barriers),
        *_garden(seen, seen.home(days)),
        *(Item(BOX, Mark.UNKNOWN, each) for each in seen.unread),
    )
    places = (*map(_of_reservoir, beds), all_else)
    return tuple(
        item for place in places for item in sorted(place, key=lambda item: _GRAVEST_FIRST.index(item.mark))
    )


def worst(found: Sequence[Item]) -> Mark:
    """The gravest thing to be said of any of them."""
    return min((item.mark for item in found), key=_GRAVEST_FIRST.index, default=Mark.LASTS)


def summed(found: Sequence[Item]) -> str:
    """How many of each."""
    if worst(found) is Mark.LASTS:
        return f"all {len(found)} last"
    see_to, unknown = (sum(item.mark is mark for item in found) for mark in (Mark.SEE_TO, Mark.UNKNOWN))
    return f"{see_to} to see to, {unknown} not known; {len(found) - see_to - unknown} last"


@dataclass(frozen=True, slots=True)
class _Bed:
    """One reservoir, and for how long it is to be left."""

    of: ReservoirState
    table: Reservoir
    seen: Seen
    days: int

    @property
    def home(self) -> date:
        """The day on which you are back."""
        return self.seen.home(self.days)

    @property
    def named(self) -> str:
        """How a command is told that it is this one."""
        return words.option(self.of.name, len(self.seen.state.reservoirs))

    def lasts(self, said: str) -> Item:
        return Item(self.of.title, Mark.LASTS, said)

    def see_to(self, said: str, todo: str = "") -> Item:
        return Item(self.of.title, Mark.SEE_TO, said, todo)

    def unknown(self, said: str, todo: str) -> Item:
        return Item(self.of.title, Mark.UNKNOWN, said, todo)


def _of_reservoir(bed: _Bed) -> Iterator[Item]:
    yield _condition(bed)
    yield from _alarms(bed.seen, bed.of.name, bed.of.title)
    for quantity, verdict in bed.of.verdicts.items():
        yield from _probe(bed, quantity, verdict)
    if _BY_PH & set(bed.of.pumps) and sum(quantity.kind is Quantity.PH for quantity in bed.of.verdicts) == 1:
        yield bed.unknown(
            ONE_PROBE, f"a second one, by a table [reservoir.{bed.of.name}.probe.ph_2] (README, Probes)"
        )
    for role, pump in bed.of.pumps.items():
        use = _used(bed, role)
        yield _bottle(bed, role, use)
        if not _is_alarmed(bed, f"{role}-rate"):
            yield _rate(bed, role, pump)
        yield from _tube(bed, role, pump, use)
    yield _water(bed, bed.of.water)
    if Role.TOP_UP not in bed.of.pumps and Quantity.LEVEL in bed.of.verdicts:
        yield _level(bed)


def _condition(bed: _Bed) -> Item:
    said = words.condition(bed.of.condition, bed.of.condition_reason)
    if bed.of.condition is Condition.KEEPING or not bed.of.pumps:
        return bed.lasts(said)
    is_held = bed.of.condition is Condition.HELD
    return bed.see_to(said, f"`evenwater release{bed.named}`" if is_held else "`evenwater status`")


def _alarms(seen: Seen, reservoir: str, where: str) -> Iterator[Item]:
    """Each that stands and that no other explains; what to do is in its text."""
    for alarm in seen.state.alarms:
        if alarm.reservoir == reservoir and alarm.state is not AlarmState.SUPPRESSED:
            yield Item(where, Mark.SEE_TO, f"alarm {alarm.key}: {alarm.text}")


def _is_alarmed(bed: _Bed, what: str) -> bool:
    """Whether an alarm tells of it already."""
    begins = f"{bed.of.name}-{what}-".replace("_", "-")
    return any(alarm.key.startswith(begins) for alarm in bed.seen.state.alarms)


def _probe(bed: _Bed, quantity: Quantity, verdict: Verdict) -> Iterator[Item]:
    """What is wrong with it, unless an alarm tells that already; how long its calibration is good for."""
    name = words.QUANTITY[quantity]
    if verdict.quality is not Quality.GOOD or verdict.reading is None:
        if not _is_alarmed(bed, quantity):
            yield bed.see_to(f"{name} probe: {words.why(verdict)}")
        return
    if not verdict.reading.calibration:
        return
    day = date.fromisoformat(verdict.reading.calibration)
    due = day + floor(bed.table.calibration_warn_days) * DAY
    over = day + floor(bed.table.calibration_expire_days) * DAY
    made = f"{name} probe, calibrated on {day}"
    if bed.home > over:
        yield bed.see_to(
            f"{made}: nothing is dosed by it after {over}", f"`evenwater calibrate {quantity}{bed.named}`"
        )
    else:
        yield bed.lasts(f"{made}: {f'due again on {due}, ' if bed.home > due else ''}good until {over}")


@dataclass(frozen=True, slots=True)
class _Use:
    """What one pump's doses took: mL on the busiest of the last `days` days, which are 0 where none counts."""

    most_ml: float
    days: int


def _used(bed: _Bed, role: Role) -> _Use:
    """By full days, counted back from now; the first after fresh water came is unlike the others."""
    utc, entries = bed.seen.state.utc, bed.seen.entries
    first = min((entry.utc for entry in entries), default=utc)
    fresh_days = inf if bed.of.water is None else bed.of.water.days - FRESH_DAYS
    days = int(max(0.0, min(LOOKED_BACK_DAYS, (utc - first) / DAY, fresh_days)))
    per_day_ml = [0.0] * days
    for entry in entries:
        days_ago = (utc - entry.utc) // DAY
        mine = (entry.reservoir, entry.pump) == (bed.of.name, role) and entry.reason not in NOT_OF_ITS_OWN
        if mine and 0 <= days_ago < days:
            per_day_ml[days_ago] += entry.ml
    return _Use(max(per_day_ml, default=0.0), days)


def _bottle(bed: _Bed, role: Role, use: _Use) -> Item:
    cap, days = bed.of.caps[role], bed.days
    left = f"{words.ROLE[role]}: {cap.bottle_left_ml:.0f} mL left"
    todo = f"fill it, then: `evenwater bottle {role}{bed.named}`"
    if cap.bottle_left_ml >= cap.max_per_day_ml * days:
        return bed.lasts(f"{left}, enough even at its cap of {cap.max_per_day_ml:g} mL a day")
    if use.days < FEWEST_DAYS:
        few = f"what it takes of this water is known for {words.days(use.days)}, too few to tell for {days}"
        return bed.unknown(f"{left}; {few}", todo)
    needs_ml = use.most_ml * days
    busiest = f"{use.most_ml:.0f} on the busiest of the last {words.days(use.days)}"
    said = f"{left}; {busiest}, {needs_ml:.0f} for {words.days(days)} like it"
    return bed.lasts(said) if cap.bottle_left_ml >= needs_ml else bed.see_to(said, todo)


def _rate(bed: _Bed, role: Role, pump: PumpState) -> Item:
    """Whether its mL per second can be dosed by for so long."""
    said, todo = f"{words.ROLE[role]}: {words.rate(pump)}", f"`evenwater calibrate pump {role}{bed.named}`"
    if pump.age_days is None:
        return bed.unknown(said, todo)
    if pump.standing in _NO_LONGER:
        return bed.see_to(said, todo)
    left_days = floor(bed.table.pump_rate_expire_days) - pump.age_days
    if left_days < bed.days:
        return bed.see_to(f"{said}: too old to dose by in {words.days(left_days)}", todo)
    return bed.lasts(said)


_NO_LONGER = (RateStanding.EXPIRED, RateStanding.OTHER_TUBE, RateStanding.UNLIKE)


def _tube(bed: _Bed, role: Role, pump: PumpState, use: _Use) -> Iterator[Item]:
    """Of a tube that will have run its hours."""
    if pump.tube_h is None or pump.tube_lasts_h is None:
        return
    more_h = use.most_ml * bed.days / pump.ml_per_s / 3600.0
    if pump.tube_h + more_h > pump.tube_lasts_h:
        said = f"{words.ROLE[role]}: {words.tube(pump)}, and {more_h:.1f} h more in {words.days(bed.days)}"
        yield bed.see_to(said, f"a new tube, then: `evenwater tube {role}{bed.named}`")


def _water(bed: _Bed, water: WaterUse | None) -> Item:
    """Whether new water will be due."""
    if water is None:
        return bed.unknown(
            "water: nothing tells since when it has been in", f"at the next: `evenwater change-out{bed.named}`"
        )
    said, limits = f"water: {words.water(water)}", bed.table.water
    due_in_days = 0 if water.fills >= limits.change_out_fills else ceil(limits.change_out_days - water.days)
    if due_in_days >= bed.days:
        return bed.lasts(said)
    when = f"in {words.days(due_in_days)}" if due_in_days > 0 else "now"
    return bed.see_to(f"{said}: new water is advised {when}", f"`evenwater change-out{bed.named}`")


def _level(bed: _Bed) -> Item:
    """Where no pump adds water: what it falls by in a day, if the probe shows more than enough or not."""
    todo, means = "fill it up; what it drinks in a day is what you fill in", bed.seen.levels.get(bed.of.name, ())
    now = words.believed(bed.of.verdicts[Quantity.LEVEL])
    if now is None or now in (0.0, 1.0) or len(means) < FEWEST_DAYS:
        return bed.unknown(f"water: no pump adds any, and what {words.days(bed.days)} take is not known", todo)
    falls = max(0.0, *(before - after for before, after in pairwise(means)))
    then = max(0.0, now - falls * bed.days)
    said = f"water: {now:.0%} now, at most {falls:.1%} less each day: {then:.0%} on {bed.home}"
    return bed.lasts(said) if then > LEVEL_ENOUGH else bed.see_to(said, todo)


def _reach(ways: Sequence[Reach]) -> Item:
    if not ways:
        return Item(BOX, Mark.SEE_TO, CALLS_NOBODY)
    working = [way.name for way in ways if way.works]
    if working:
        return Item(BOX, Mark.LASTS, f"it calls by {' and '.join(working)}; somebody has to hear it")
    said = f"no way by which it calls works ({'; '.join(f'{way.name}: {way.said}' for way in ways)})"
    if any(way.works is None for way in ways):
        return Item(BOX, Mark.UNKNOWN, said, "`evenwater notify --test`")
    return Item(BOX, Mark.SEE_TO, said, "`evenwater status`")


def _barriers(barriers: Sequence[Barrier]) -> Iterator[Item]:
    """One by one what is missing or cannot be seen; together what is set up."""
    fine = [one.name for one in barriers if one.standing is Standing.OK]
    for one in barriers:
        if one.standing is not Standing.OK:
            mark = Mark.SEE_TO if one.standing is Standing.MISSING else Mark.UNKNOWN
            yield Item(BOX, mark, f"{one.name}: {one.seen}", one.todo)
    if fine:
        yield Item(BOX, Mark.LASTS, f"set up, though not tried: {', '.join(fine)}")


def _garden(seen: Seen, home: date) -> Iterator[Item]:
    """What has its last good day before you are back."""
    for task in seen.tasks:
        if task.until < home:
            late = ", late already" if task.is_late(seen.today) else ""
            said = f"garden, before you go or by somebody else: {task.what} (by {task.until}{late})"
            yield Item(BOX, Mark.SEE_TO, said)
