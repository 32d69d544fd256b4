"""What a person renewed, as a ledger tells it: bottles, the water, tubes; and what was dosed since."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from daemon.dose.learn import CONFIRMED, DIRECTION, shift_of_dose
from daemon.dose.ledger_file import last_number, line, write_row
from daemon.dose.usual import Given
from daemon.dose.windows import Stamp
from daemon.measure.rate import Tube
from daemon.values import INTO_A_CUP, DoseReason, Role

NEW_WATER = "new_water"  # stands where a refill names its pump
NEW_TUBE = "new_tube_"  # likewise, before the pump's role

_GIVEN = """
SELECT boot, at_s, run_s, ml, pump, reason, json_extract(numbers, '$.ph'), json_extract(numbers, '$.ml_per_ph'),
    coalesce(json_extract(numbers, '$.level_share'), 1.0), coalesce(json_extract(numbers, '$.lessons'), 0.0)
FROM entries
WHERE reservoir = ? AND pump IN (?, ?) AND reason NOT IN (?, ?, ?) AND number > ? ORDER BY number
"""
_CHANGED = "SELECT after_entry, utc FROM refills WHERE reservoir = ? AND pump = ? ORDER BY number DESC LIMIT 1"
_TURNED = "SELECT total(run_s) FROM entries WHERE reservoir = ? AND pump = ? AND reason != ? AND number > ?"
_SINCE = "SELECT pump, ml, utc FROM entries WHERE reservoir = ? AND number > ? ORDER BY number"

Rows = Callable[..., list[tuple[Any, ...]]]  # of a query and its values


@dataclass(frozen=True, slots=True)
class Water:
    """The water that is in: the last dose into the old, when it came, the stock A given into it since."""

    after_entry: int
    utc: datetime
    stock_a_ml: float


def note_renewed(db: sqlite3.Connection, reservoir: str, what: str, who: str, stamp: Stamp) -> None:
    """Write a line of `refills`. what: the pump whose bottle is full again, NEW_WATER, or NEW_TUBE and a pump."""
    row = {"reservoir": reservoir, "pump": what, "who": line(who), "utc": stamp.utc.isoformat()}
    numbers = {"number": last_number(db, "refills") + 1, "after_entry": last_number(db, "entries")}
    write_row(db, "refills", {**row, **numbers})


def water_of(rows: Rows, reservoir: str) -> Water | None:
    """Since when the water that is in has been there; None where nothing tells."""
    changed = rows(_CHANGED, reservoir, NEW_WATER)
    after, utc = changed[0] if changed else (0, None)
    doses = rows(_SINCE, reservoir, after)
    utc = utc or (doses[0][2] if doses else None)
    stock_ml = sum(ml for pump, ml, _ in doses if pump == Role.STOCK_A)
    return Water(after, datetime.fromisoformat(utc), stock_ml) if utc else None


def tube_of(rows: Rows, reservoir: str, pump: Role) -> Tube:
    """The tube that is in, and how long the pump has run with it."""
    changed = rows(_CHANGED, reservoir, NEW_TUBE + pump)
    after, utc = changed[0] if changed else (0, "")
    turned = rows(_TURNED, reservoir, pump, DoseReason.REPAIR, after)
    return Tube(after, utc[: len("2026-03-02")], turned[0][0])


def given_of(
    rows: Rows, reservoir: str, water: Water | None, proven_of: Callable[[int, float], float]
) -> tuple[Given, ...]:
    """Every dose of acid and base into this water, oldest first."""
    after = 0 if water is None else water.after_entry
    found = rows(_GIVEN, reservoir, *DIRECTION, *INTO_A_CUP, DoseReason.REPAIR, after)
    return tuple(_given(proven_of(boot, at_s) + run_s, row) for boot, at_s, run_s, *row in found)


def _given(end_s: float, row: Sequence[Any]) -> Given:
    ml, pump, reason, ph, ml_per_ph, level_share, lessons = row
    role, by_hand = Role(pump), reason == DoseReason.BY_HAND
    is_known = not by_hand and ph is not None and ml_per_ph is not None and lessons >= CONFIRMED
    if not (is_known and ml_per_ph * level_share > 0.0):
        return Given(end_s, role, by_hand=by_hand)
    return Given(end_s, role, ph, shift_of_dose(role, ml, ml_per_ph, level_share))
