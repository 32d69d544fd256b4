"""A report as a table and as plain values, one row a batch. Pure. What is not known is left empty, never 0."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from daemon.crop.costs import UNIT, Costs, Thing
from daemon.crop.harvest_book import Record
from daemon.link.plain import plain
from daemon.report.facts import BatchFacts, Facts

MEASURED = tuple(thing for thing in Thing if thing is not Thing.PLUGS)  # plugs are in the book's own columns
Cell = str | float | None


def rows(facts: Facts) -> list[dict[str, Cell]]:
    """A row for each batch, all with the same columns; units are in their names."""
    return [{**book_row(one.record), **_costs(one.costs, facts.currency)} for one in facts.batches]


def book_row(record: Record) -> dict[str, Cell]:
    """The harvest book's own columns."""
    batch, became = record.batch, record.became
    return {
        "batch": batch.name,
        "crop": batch.crop,
        "variety": batch.variety,
        "sown_on": batch.sown_on.isoformat(),
        "plugs": batch.plugs,
        "emerged_plugs": batch.emerged,
        "set_out_on": None if batch.transplanted_on is None else batch.transplanted_on.isoformat(),
        "heads_set_out": batch.planted,
        "heads_picked": batch.picked,
        "grams_picked": batch.grams,
        "pickings_not_weighed": record.unweighed,
        "grams_per_head": record.grams_per_head,
        "days_to_first_picking": record.days_to_harvest,
        "seedlings_lost": _sum(batch.lost_seedlings),
        "heads_lost": _sum(batch.lost_heads),
        "causes": "; ".join(f"{cause} {count}" for cause, count in (*batch.lost_seedlings, *batch.lost_heads)),
        "heads_standing": batch.heads,
        "share_eaten": None if became is None else became.eaten,
        "share_shared": None if became is None else became.shared,
        "share_composted": None if became is None else became.composted,
        "share_wasted": record.wasted,
    }


def _sum(pairs: Iterable[tuple[str, int]]) -> int:
    return sum(count for _, count in pairs)


def _costs(of: Costs, currency: str) -> dict[str, Cell]:
    known = {item.thing: item for item in of.items}
    return {
        **{_column(thing): known[thing].amount if thing in known else None for thing in MEASURED},
        **{f"cost_of_{thing.value}": known[thing].cost if thing in known else None for thing in Thing},
        "cost_known": of.known if of.any_known else None,
        "cost_is_whole": int(of.whole),
        "cost_per_head": of.per_head if of.any_known else None,
        "shop_per_head": of.shop_per_head,
        "currency": currency,
    }


def _column(thing: Thing) -> str:
    return f"{thing.value}_{UNIT[thing].lower()}"


def as_json(facts: Facts) -> dict[str, Any]:
    """The rows, what called in each reservoir and the season, as JSON values."""
    return {
        "site": facts.site,
        "written": facts.written.isoformat(),
        "batches": [
            {**row, "costs": _items(one.costs), "stays": list(_stays(one))}
            for row, one in zip(rows(facts), facts.batches, strict=True)
        ],
        "season": plain(facts.season),
        "used_while_no_head_stood": {_column(thing): amount for thing, amount in facts.nobodys.items()},
        "notes": list(facts.notes),
    }


def _items(of: Costs) -> list[Any]:
    return [{**plain(item), "unit": UNIT[item.thing]} for item in of.items]


def _stays(of: BatchFacts) -> Iterator[Mapping[str, Any]]:
    for stay in of.stays:
        yield {
            "reservoir": stay.reservoir,
            "begin": plain(stay.begin),
            "end": plain(stay.end),
            "in_band": {plot.line.quantity.value: plot.in_band for plot in stay.plots},
            "doses": {role.value: {"count": count, "ml": ml} for role, (count, ml) in stay.doses.items()},
            "called": plain(stay.called),
        }
