"""How much of everything each batch used, from what the box kept: doses, change-outs, levels. Pure.

    water          the top-up pump's mL and a filling for each change-out; without such a pump, what a measured
                   level rose by; else not known
    stocks, acid   the ledger's mL, poured by hand or run into a cup included: all left the bottle
    current        rated power times hours, on the days on which heads stood

A charge for what a damaged ledger no longer tells is no use, nor is a run of which the keeper says that the pump
never turned. A run that was cut short counts in full, as in the ledger.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date

from config.settings import Reservoir, Settings
from daemon.crop.costs import (
    DAY,
    ML_PER_L,
    Missing,
    Shared,
    Standing,
    Thing,
    Use,
    electricity,
    fillings,
    poured,
)
from daemon.crop.diary import Batch
from daemon.values import DoseReason, Entry, Outcome, Role

THING: Mapping[Role, Thing] = {
    Role.TOP_UP: Thing.WATER,
    Role.STOCK_A: Thing.STOCK_A,
    Role.STOCK_B: Thing.STOCK_B,
    Role.PH_DOWN: Thing.PH_DOWN,
    Role.PH_UP: Thing.PH_UP,
}
ALWAYS_USED = (Thing.WATER, Thing.STOCK_A, Thing.STOCK_B)  # acid and base a reservoir may never need

Levels = tuple[tuple[date, float], ...]
"""Day and share of the full reservoir (0..1), at even distances, oldest first."""


@dataclass(frozen=True, slots=True)
class Kept:
    """What the box kept of its reservoirs: doses, oldest first; by name the days of new water, and levels."""

    doses: tuple[Entry, ...] = ()
    changed: Mapping[str, tuple[date, ...]] = field(default_factory=dict)
    levels: Mapping[str, Levels] = field(default_factory=dict)


def uses(kept: Kept, settings: Settings | None, standing: Standing, until: date) -> Iterator[Use]:
    """All that was used before `until`. Without settings no volume and no appliance is known."""
    yield from _dosed(kept)
    if settings is None:
        return
    yield from electricity(settings.appliance.values(), settings.reservoir, standing)
    for name, reservoir in settings.reservoir.items():
        days = [day for where, day in standing if where == name]
        if days and _fed_by_pump(kept, name, reservoir):
            begins = _water_from(kept.changed.get(name, ()), min(days))
            yield from fillings(begins, name, reservoir.volume_l, until)
        elif days and _level_tells(kept, name, reservoir):
            yield from poured(kept.levels[name], name, reservoir.volume_l)


def _dosed(kept: Kept) -> Iterator[Use]:
    for dose in kept.doses:
        if dose.reason is not DoseReason.REPAIR and dose.outcome is not Outcome.FAILED:
            thing, day = THING[dose.pump], dose.utc.date()
            amount = dose.ml / ML_PER_L if thing is Thing.WATER else dose.ml
            yield Use(thing, amount, (dose.reservoir,), day, day + DAY)


def _water_from(changed: tuple[date, ...], first: date) -> tuple[date, ...]:
    """Since when each filling was in. Water that nobody told of was in by the first day on which heads stood."""
    before = [day for day in changed if day <= first]
    return (max(before, default=first), *(day for day in changed if day > first))


def _fed_by_pump(kept: Kept, name: str, reservoir: Reservoir) -> bool:
    return Role.TOP_UP in _roles(kept, name, reservoir)


def _roles(kept: Kept, name: str, reservoir: Reservoir | None) -> set[Role]:
    """What is dosed into a reservoir, or was."""
    has = () if reservoir is None else reservoir.pump
    return {*map(Role, has), *(dose.pump for dose in kept.doses if dose.reservoir == name)}


def _level_tells(kept: Kept, name: str, reservoir: Reservoir) -> bool:
    """Whether a share is measured; a float switch shows two of them only, and a flooded bed moves it."""
    shares = {share for _, share in kept.levels.get(name, ())}
    return reservoir.system != "ebb_and_flow" and not shares <= {0.0, 1.0}


def of_batch(
    batch: Batch, among: Shared, kept: Kept, settings: Settings | None
) -> Mapping[Thing, float | Missing]:
    """What one batch used, in the units of costs.UNIT, or why that is not known.

    Things that its reservoirs have no use for, as base where no pump gives it, are not there.
    """
    own = among.by_batch.get(batch.name, {})
    found: dict[Thing, float | Missing] = {Thing.PLUGS: float(batch.plugs)}
    told = [_told(name, kept, settings) for name, _ in batch.reservoirs]
    for thing in Thing:
        whys = [of[thing] for of in told if thing in of]
        if whys:
            found[thing] = next((why for why in whys if why is not None), own.get(thing, 0.0))
    return found


def _told(name: str, kept: Kept, settings: Settings | None) -> Mapping[Thing, Missing | None]:
    """Of each thing that a reservoir uses, why it is not known how much; None where it is known."""
    reservoir = None if settings is None else settings.reservoir.get(name)
    dosed = {THING[role] for role in _roles(kept, name, reservoir)} - {Thing.WATER}
    if reservoir is not None and (_fed_by_pump(kept, name, reservoir) or _level_tells(kept, name, reservoir)):
        dosed.add(Thing.WATER)
    appliances = () if settings is None else settings.appliance.values()
    lit = any(name in (one.reservoir or (name,)) for one in appliances)
    unmeasured, dark = Missing.NOT_MEASURED, Missing.NO_APPLIANCE
    if settings is None:
        unmeasured = dark = Missing.NO_SETTINGS
    return {
        **{thing: None if thing in dosed else unmeasured for thing in (*ALWAYS_USED, *dosed)},
        Thing.ELECTRICITY: None if lit else dark,
    }
