"""Doses as lines of a ledger: the intent, the outcome, and what all of them add up to."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Iterator, Sequence
from datetime import datetime
from functools import lru_cache
from typing import Any

from daemon.dose.ledger_file import Field, last_number, line, read_row, write_row
from daemon.dose.windows import Boot, Stamp, Tally
from daemon.values import DoseReason, Entry, Outcome, Permit, Role

_ENTRY = """
SELECT e.number, reservoir, pump, ml, run_s, reason, numbers, utc, utc_trusted, boot_id, at_s, outcome, note
FROM entries e JOIN boots b ON b.number = e.boot
"""
_EXPORT = "SELECT e.*, b.boot_id FROM entries e JOIN boots b ON b.number = e.boot ORDER BY e.number"


def write_intent(
    db: sqlite3.Connection, permit: Permit, stamp: Stamp, boot: Boot, version: str, *, by: str = ""
) -> int:
    """A line for what is about to run; its number. by: who asked for it, where a person did."""
    request = permit.request
    number = last_number(db, "entries") + 1
    row: dict[str, Field] = {
        "number": number,
        "reservoir": request.reservoir,
        "pump": request.pump,
        "ml": permit.ml,
        "run_s": permit.run_s,
        "reason": request.reason,
        "numbers": json.dumps({**request.numbers, **permit.numbers}, allow_nan=False),
        "boot": boot.number,
        "at_s": boot.last_s,
        "utc": stamp.utc.isoformat(),
        "utc_trusted": stamp.utc_trusted,
        "version": version,
        "outcome": Outcome.OPEN,
        "note": line(by),
    }
    write_row(db, "entries", row)
    return number


def write_outcome(db: sqlite3.Connection, number: int, outcome: Outcome, note: str) -> bool:
    """How a dose ended, into its line, behind who asked; False, and nothing written, where it is not open."""
    row = read_row(db, "entries", number)
    is_open = row is not None and row["outcome"] == Outcome.OPEN
    if row is not None and is_open:
        told = "; ".join(filter(None, (str(row["note"]), line(note))))
        write_row(db, "entries", {**row, "outcome": outcome, "note": told})
    return is_open


def tally_of(db: sqlite3.Connection, proven_of: Callable[[int, float], float]) -> Tally:
    """What all doses add up to; each counts in full, however it ended."""
    tally = Tally()
    refills = db.execute("SELECT reservoir, pump, max(after_entry) FROM refills GROUP BY 1, 2")
    full_after = {(reservoir, pump): after for reservoir, pump, after in refills}
    rows = db.execute("SELECT number, reservoir, pump, ml, run_s, boot, at_s FROM entries ORDER BY number")
    for number, reservoir, pump, ml, run_s, boot, at_s in rows:
        end_s = proven_of(boot, at_s) + run_s
        from_bottle = number > full_after.get((reservoir, pump), 0)
        tally.charge(reservoir, pump, end_s, ml, from_bottle=from_bottle)
    return tally


def read_entries(db: sqlite3.Connection, clause: str, values: Sequence[object]) -> tuple[Entry, ...]:
    """The doses that the end of a query (WHERE, ORDER BY) chooses. Raises ValueError for what is no dose."""
    return tuple(_entry(row) for row in db.execute(_ENTRY + clause, values))


def every_entry(db: sqlite3.Connection) -> Iterator[dict[str, Any]]:
    """Every dose as written, oldest first, with the columns of the file."""
    rows = db.execute(_EXPORT)
    names = [column[0] for column in rows.description]
    for row in rows:
        yield dict(zip(names, row, strict=True))


@lru_cache(maxsize=256)  # the newest are read again after each write
def _entry(row: tuple[Any, ...]) -> Entry:
    number, reservoir, pump, ml, run_s, reason, numbers, utc, trusted, boot_id, at_s, outcome, note = row
    return Entry(
        number=number,
        reservoir=reservoir,
        pump=Role(pump),
        ml=ml,
        run_s=run_s,
        reason=DoseReason(reason),
        numbers=json.loads(numbers),
        utc=datetime.fromisoformat(utc),
        utc_trusted=bool(trusted),
        boot_id=boot_id,
        at_s=at_s,
        outcome=Outcome(outcome),
        note=note,
    )
