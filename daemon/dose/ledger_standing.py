"""Holds and locks of a ledger: which stand, which gives way to which, and their lines in the file."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from math import inf

from daemon.dose.ledger_file import Field, last_number, line, read_row, write_row
from daemon.dose.ledger_time import LedgerTime
from daemon.values import Condition

_STANDING = """
SELECT reservoir, condition, reason, who, utc, boot, at_s, for_s, number FROM conditions
WHERE ended_by IS NULL ORDER BY number
"""
_LOCKS = """
SELECT boot, at_s, utc, reason, ended_by IS NOT NULL FROM conditions WHERE reservoir = ? AND condition = ?
ORDER BY number DESC
"""


@dataclass(frozen=True, slots=True)
class Standing:
    """A hold or a lock in force on one reservoir.

    since: wall time it was set; for_s: how long a hold lasts in proven time, None until a person ends it.
    number: its line in the ledger, None while it could not be written.
    """

    reservoir: str
    condition: Condition
    reason: str
    who: str
    since: datetime
    since_s: float  # proven
    for_s: float | None = None
    number: int | None = None

    @property
    def ends_s(self) -> float:
        """When it ends by itself, in proven time; inf if it does not."""
        return inf if self.for_s is None else self.since_s + self.for_s


@dataclass(frozen=True, slots=True)
class Lock:
    """One lock of a reservoir: when it began, in proven s and by the wall, why, and whether it was cleared."""

    at_s: float
    utc: datetime
    reason: str
    cleared: bool


class Standings:
    """All that stand, in memory. What goes into the file goes there in the caller's transaction."""

    def __init__(self) -> None:
        self._all: list[Standing] = []

    def read(self, db: sqlite3.Connection, proven_of: Callable[[int, float], float]) -> None:
        """Take those of the file, and only those."""
        self._all = [
            Standing(
                reservoir,
                Condition(condition),
                reason,
                who,
                datetime.fromisoformat(utc),
                proven_of(boot, at_s),
                for_s,
                number,
            )
            for reservoir, condition, reason, who, utc, boot, at_s, for_s, number in db.execute(_STANDING)
        ]

    def of(self, reservoir: str, condition: Condition) -> list[Standing]:
        """Those of one kind on one reservoir, timed ones that have ended too."""
        return [s for s in self._all if s.reservoir == reservoir and s.condition is condition]

    def unwritten(self) -> list[Standing]:
        """Those that could not be written."""
        return [s for s in self._all if s.number is None]

    def in_force(self, reservoir: str, now_s: float) -> Standing | None:
        """The lock on a reservoir, else the hold in force, else None."""
        if not self._all:  # as at nearly every pass
            return None
        locked = self.of(reservoir, Condition.LOCKED)
        return locked[0] if locked else self.held(reservoir, now_s)

    def held(self, reservoir: str, now_s: float) -> Standing | None:
        """The hold in force on a reservoir, locked or not, else None."""
        return next((s for s in self.of(reservoir, Condition.HELD) if not now_s >= s.ends_s), None)

    def outlasting(self, asked: Standing) -> Standing | None:
        """The one that stands as long as what is asked, or longer, and therefore stays: each lock does."""
        return next((s for s in self.of(asked.reservoir, asked.condition) if s.ends_s >= asked.ends_s), None)

    def add(self, more: Iterable[Standing]) -> None:
        """In force from now on."""
        self._all += [s for s in more if s not in self._all]

    def take_out(self, ended: Sequence[Standing]) -> None:
        """In force no longer."""
        self._all = [s for s in self._all if s not in ended]


def write_standing(db: sqlite3.Connection, asked: Standing, time: LedgerTime) -> Standing:
    """A line for it; the standing, with its number."""
    written = replace(asked, number=last_number(db, "conditions") + 1)
    row: dict[str, Field] = {
        "number": written.number,
        "reservoir": asked.reservoir,
        "condition": asked.condition,
        "reason": asked.reason,
        "who": asked.who,
        "boot": time.boot.number,
        "at_s": time.in_boot_s(asked.since_s),
        "utc": asked.since.isoformat(),
        "for_s": asked.for_s,
        "ended_by": None,
        "ended_utc": None,
    }
    write_row(db, "conditions", row)
    return written


def write_end(db: sqlite3.Connection, ended: Iterable[Standing], who: str, utc: datetime) -> None:
    """Who ended them, and when, into their lines."""
    for standing in ended:
        row = read_row(db, "conditions", standing.number or 0)
        if row is not None:
            write_row(db, "conditions", {**row, "ended_by": line(who), "ended_utc": utc.isoformat()})


def locks_of(
    rows: Callable[..., list[tuple[int, float, str, str, int]]],
    reservoir: str,
    proven_of: Callable[[int, float], float],
) -> tuple[Lock, ...]:
    """Every lock that a reservoir ever had, newest first."""
    found = rows(_LOCKS, reservoir, Condition.LOCKED)
    return tuple(
        Lock(proven_of(boot, at_s), datetime.fromisoformat(utc), reason, bool(cleared))
        for boot, at_s, utc, reason, cleared in found
    )
