"""What a crop used of water, stocks, acid, base and current, whose it was, and what it cost. Pure.

    what was used, when and in which reservoirs  ->  shared among the heads that stood there, by day  ->  costs

Each share is by head-days: ten heads that stood for the whole of ten days bear ten times what one head bears that
stood as long. What was used while no head stood is nobody's, and is told; it is not hidden in anybody's costs.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from itertools import pairwise
from math import fsum

from config.prices import Appliance, Prices

ML_PER_L = L_PER_M3 = W_PER_KW = 1000.0
DAY = timedelta(days=1)


class Thing(StrEnum):
    """What a crop uses."""

    WATER = "water"  # L
    STOCK_A = "stock_a"  # mL, as all that is in bottles
    STOCK_B = "stock_b"
    PH_DOWN = "ph_down"
    PH_UP = "ph_up"
    ELECTRICITY = "electricity"  # kWh
    PLUGS = "plugs"  # pieces


class Missing(StrEnum):
    """Why an amount or a cost is not known."""

    NO_SETTINGS = "no_settings"  # only they would tell
    NOT_MEASURED = "not_measured"  # nothing there tells how much it was
    NO_APPLIANCE = "no_appliance"  # the settings name nothing that draws current
    NO_PRICE = "no_price"  # the grower entered none


UNIT: Mapping[Thing, str] = {
    Thing.WATER: "L",
    **dict.fromkeys((Thing.STOCK_A, Thing.STOCK_B, Thing.PH_DOWN, Thing.PH_UP), "mL"),
    Thing.ELECTRICITY: "kWh",
    Thing.PLUGS: "plugs",
}

Heads = Mapping[str, float]
"""Heads by batch, above 0 each; parts of one where a batch stands in several reservoirs."""

Standing = Mapping[tuple[str, date], Heads]
"""Heads that stood in a reservoir on a day; a day that none stood in is not there."""

Amounts = Mapping[Thing, float]


@dataclass(frozen=True, slots=True)
class Use:
    """An amount that served one or several reservoirs from `first` up to `until`, not with that day.

    amount: 0 or more, in the unit of UNIT; until: after first.
    """

    thing: Thing
    amount: float
    reservoirs: tuple[str, ...]
    first: date
    until: date


@dataclass(frozen=True, slots=True)
class Shared:
    """Who used what: by batch, and what was used while no head stood. Together, all of it."""

    by_batch: Mapping[str, Amounts]
    nobodys: Amounts


def shared(used: Iterable[Use], standing: Standing) -> Shared:
    """Every use shared among the heads that stood in its reservoirs on its days, by head-days."""
    by_batch: dict[str, dict[Thing, list[float]]] = defaultdict(lambda: defaultdict(list))
    nobodys: dict[Thing, list[float]] = defaultdict(list)
    for use in used:
        head_days = _head_days(use, standing)
        if not (whole := fsum(head_days.values())) > 0.0:
            nobodys[use.thing].append(use.amount)
        for batch, share in head_days.items():
            by_batch[batch][use.thing].append(use.amount * share / whole)
    return Shared({batch: _summed(things) for batch, things in by_batch.items()}, _summed(nobodys))


def _head_days(use: Use, standing: Standing) -> dict[str, float]:
    """How many days of one head each batch had of it."""
    found: dict[str, float] = defaultdict(float)
    for day in days_between(use.first, use.until):
        for reservoir in use.reservoirs:
            for batch, heads in standing.get((reservoir, day), {}).items():
                found[batch] += heads
    return found


def days_between(first: date, until: date) -> Iterator[date]:
    """Each day from `first` up to `until`, not with that day."""
    return (first + DAY * number for number in range((until - first).days))


def _summed(things: Mapping[Thing, Iterable[float]]) -> dict[Thing, float]:
    return {thing: fsum(amounts) for thing, amounts in things.items()}


def electricity(appliances: Iterable[Appliance], reservoirs: Iterable[str], standing: Standing) -> Iterator[Use]:
    """What each appliance used, in kWh by rated power times hours, on the days on which heads stood."""
    all_of_them = tuple(reservoirs)
    for appliance in appliances:
        serves = appliance.reservoir or all_of_them
        kwh = appliance.rated_w / W_PER_KW * appliance.hours_per_day
        for day in sorted({day for reservoir, day in standing if reservoir in serves}):
            yield Use(Thing.ELECTRICITY, kwh, serves, day, day + DAY)


def fillings(changed: Iterable[date], reservoir: str, volume_l: float, until: date) -> Iterator[Use]:
    """The water of each change-out: a whole filling, that served until the next one, at the latest to `until`."""
    days = sorted({day for day in changed if day < until})
    for first, end in zip(days, [*days[1:], until], strict=True):
        yield Use(Thing.WATER, volume_l, (reservoir,), first, end)


LEAST_POURED_SHARE = 0.02  # of the full reservoir; a level sender wanders by less (own choice)


def poured(levels: Iterable[tuple[date, float]], reservoir: str, volume_l: float) -> Iterator[Use]:
    """Water that was poured in by hand, in L, from how a measured level rose.

    levels: day and share of the full reservoir (0..1) at even distances, an hour or so, oldest first. What rises
    without a pause is one pouring; less than LEAST_POURED_SHARE is the sender's own wandering. Not for a
    reservoir that floods a bed: there the level moves by itself.
    """
    risen, began = 0.0, date.min
    for (day, before), (_, now) in pairwise(levels):
        if now > before:
            began = began if risen > 0.0 else day
            risen += now - before
            continue
        yield from _pouring(risen, began, reservoir, volume_l)
        risen = 0.0
    yield from _pouring(risen, began, reservoir, volume_l)


def _pouring(risen: float, day: date, reservoir: str, volume_l: float) -> Iterator[Use]:
    if risen >= LEAST_POURED_SHARE:
        yield Use(Thing.WATER, risen * volume_l, (reservoir,), day, day + DAY)


@dataclass(frozen=True, slots=True)
class Item:
    """One line of a batch's costs. What is not known is None, and `missing` says why.

    amount: in the unit of UNIT; price: in the settings' currency for PRICED's many units.
    """

    thing: Thing
    amount: float | None
    price: float | None
    cost: float | None
    missing: Missing | None


@dataclass(frozen=True, slots=True)
class Costs:
    """What a batch cost, in the settings' currency.

    known: the sum of what is known; per_head: that for each head cut, None where none was, or where some still
    stand; shop_per_head: what the grower says such a head costs in the shop.
    """

    items: tuple[Item, ...]
    known: float
    per_head: float | None
    shop_per_head: float | None

    @property
    def whole(self) -> bool:
        """Whether nothing is missing; else it cost more than `known`."""
        return all(item.missing is None for item in self.items)

    @property
    def any_known(self) -> bool:
        """Whether anything is."""
        return any(item.cost is not None for item in self.items)

    @property
    def saved_per_head(self) -> float | None:
        """Shop price less costs; None where one of them is not known at all."""
        if self.per_head is None or self.shop_per_head is None or not self.any_known:
            return None
        return self.shop_per_head - self.per_head


PRICED: Mapping[Thing, tuple[str, float]] = {
    Thing.WATER: ("water_per_m3", L_PER_M3),
    Thing.STOCK_A: ("stock_a_per_l", ML_PER_L),
    Thing.STOCK_B: ("stock_b_per_l", ML_PER_L),
    Thing.PH_DOWN: ("ph_down_per_l", ML_PER_L),
    Thing.PH_UP: ("ph_up_per_l", ML_PER_L),
    Thing.ELECTRICITY: ("electricity_per_kwh", 1.0),
    Thing.PLUGS: ("plug_each", 1.0),
}
"""The key of each price, and how many of the thing's unit it is for."""


def costs(
    amounts: Mapping[Thing, float | Missing], prices: Prices | None, heads_cut: int, heads_standing: int = 0
) -> Costs:
    """What these amounts cost. amounts: in the units of UNIT, or why one is not known."""
    items = tuple(_item(thing, amounts[thing], prices) for thing in Thing if thing in amounts)
    known = fsum(item.cost for item in items if item.cost is not None)
    shop = None if prices is None else prices.shop_per_head
    per_head = known / heads_cut if heads_cut > 0 and heads_standing == 0 else None
    return Costs(items, known, per_head, shop)


def _item(thing: Thing, amount: float | Missing, prices: Prices | None) -> Item:
    key, units = PRICED[thing]
    price: float | None = None if prices is None else getattr(prices, key)
    if isinstance(amount, Missing):
        return Item(thing, None, price, None, amount)
    if price is None:
        return Item(
            thing, amount, None, None if amount > 0.0 else 0.0, Missing.NO_PRICE if amount > 0.0 else None
        )
    return Item(thing, amount, price, amount / units * price, None)
