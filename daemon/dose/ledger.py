"""What was dosed, written down before the pump turns; and what a person said about dosing.

    number = ledger.intend(permit, stamp)    durable on disk, and charged in full, when this returns
    ... the pump runs ...
    ledger.settle(number, Outcome.DONE)      a note on how it ended; the charge stays

A dose whose outcome never came (crash, power cut) stays charged in full. Windows are reckoned in proven
time (daemon.dose.windows). Sums are kept in memory and follow the file; after any failed write the ledger
is broken: `totals` say that all is spent until `reopen` has read the file again.
"""

from __future__ import annotations

import json
import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, replace
from datetime import datetime, timedelta
from math import inf
from pathlib import Path
from typing import Any

from daemon.dose.ledger_file import (
    COLUMNS,
    Field,
    LedgerError,
    LedgerFault,
    fold,
    last_number,
    ledger_error,
    open_file,
    read_row,
    write_row,
)
from daemon.dose.windows import SPENT, Boot, Stamp, Tally, Totals, join, observe, offsets, wall_news
from daemon.measure.rate import Tube
from daemon.values import INTO_A_CUP, Condition, DoseReason, Entry, Outcome, Permit, Role
from drivers.rig import Clock, boot_id_of, utc_is_trusted

__all__ = ["Ledger", "LedgerError", "LedgerFault", "Standing", "stamp_of"]

LINE_LENGTH = 200
NEW_WATER = "new_water"  # stands where a refill names its pump
NEW_TUBE = "new_tube_"  # likewise, before the pump's role
KEEP_TIME_EVERY_S = 900.0  # a crash loses at most this much proven time; 96 small commits a day

_ENTRY = """
SELECT e.number, reservoir, pump, ml, run_s, reason, numbers, utc, utc_trusted, boot_id, at_s, outcome, note
FROM entries e JOIN boots b ON b.number = e.boot
"""
_GIVEN = """
SELECT boot, at_s, run_s, ml FROM entries
WHERE reservoir = ? AND pump = ? AND reason NOT IN (?, ?, ?) AND number > ? ORDER BY number
"""
_CHANGED = "SELECT after_entry, utc FROM refills WHERE reservoir = ? AND pump = ? ORDER BY number DESC LIMIT 1"
_TURNED = "SELECT total(run_s) FROM entries WHERE reservoir = ? AND pump = ? AND reason != ? AND number > ?"
_SINCE = "SELECT pump, ml, utc FROM entries WHERE reservoir = ? AND number > ? ORDER BY number"
_CLEARED = """
SELECT boot, at_s FROM conditions WHERE reservoir = ? AND condition = ? AND ended_by IS NOT NULL
ORDER BY number DESC LIMIT 1
"""
_LOCKED = "SELECT boot, at_s FROM conditions WHERE reservoir = ? AND condition = ? ORDER BY number DESC LIMIT ?"
_EXPORT = "SELECT e.*, b.boot_id FROM entries e JOIN boots b ON b.number = e.boot ORDER BY e.number"


def stamp_of(clock: Clock, fresh_boot_id: str) -> Stamp:
    """One look at the rig's clocks. fresh_boot_id: made once per start, used if the clock names no boot."""
    return Stamp(boot_id_of(clock, fresh_boot_id), clock.monotonic_s(), clock.utc(), utc_is_trusted(clock))


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
class Water:
    """The water that is in: the last dose into the old, when it came, the stock A given into it since."""

    after_entry: int
    utc: datetime
    stock_a_ml: float


class Ledger:
    """The ledger at `path`, made if there is none, open for one thread of one process.

    stamp: the clocks now; version: of this program, written beside each dose.
    left_open: doses found without an outcome, from a run that ended in the middle of one.
    or_broken: bear a file that cannot be relied on; the ledger is then broken from the start, so that all
    counts as spent, and `reopen` may mend it. Else that raises LedgerError, and nothing stays open.
    """

    def __init__(self, path: Path, stamp: Stamp, *, version: str, or_broken: bool = False) -> None:
        self.path = path
        self._version = version
        self._boots: tuple[Boot, ...] = join((), stamp)
        self._written: dict[int, Boot] = {}
        self._offset_s: dict[int, float] = offsets(self._boots)
        self._standing: list[Standing] = []
        self._recent: dict[tuple[int, str | None], tuple[Entry, ...]] = {}
        self._water: dict[str, Water | None] = {}
        self._given: dict[tuple[str, Role], tuple[tuple[float, float], ...]] = {}
        self._tubes: dict[tuple[str, Role], Tube] = {}
        self.left_open: tuple[Entry, ...] = ()
        self.fault: LedgerError | None = LedgerError(LedgerFault.CLOSED, path)
        try:
            self._open(stamp)
        except LedgerError as error:
            if not or_broken:
                raise
            self._db = _nowhere()
            self.fault = error

    def _open(self, stamp: Stamp) -> None:
        """Read the whole file into memory, then join its time to ours. Broken until both have succeeded."""
        self._db = open_file(self.path)
        try:
            self._file = os.stat(self.path).st_ino
            self._seen = self._data_version()
            self._read_boots(stamp)
            self._read_entries()
            self._read_conditions()
            self.left_open = self._entries("WHERE outcome = ? ORDER BY e.number", Outcome.OPEN)
            self._forget_read()
            fold(self._db)
            self.fault = None
            self._write_boots(observe(self._boots, stamp), stamp)
        except BaseException as error:
            self._db.close()
            if isinstance(error, sqlite3.Error):
                raise ledger_error(self.path, error) from error
            raise

    def _forget_read(self) -> None:
        """What was read for people and for usual days is read anew: something was written since."""
        for kept in (self._recent, self._given, self._water, self._tubes):
            kept.clear()

    # Time

    def keep_time(self, stamp: Stamp) -> None:
        """Record that time passes; call once a pass. It writes every KEEP_TIME_EVERY_S, and on wall clock news.

        Raises LedgerError when the write fails. Does nothing while the ledger is broken.
        """
        if self.fault is not None or stamp.boot_id != self._boot.boot_id:
            return
        if stamp.at_s - self._boot.last_s >= KEEP_TIME_EVERY_S or wall_news(self._boot, stamp):
            self._write_boots(observe(self._boots, stamp), stamp)

    def proven_s(self, stamp: Stamp) -> float:
        """Proven time (daemon.dose.windows) at `stamp`; a foreign or backward clock proves nothing new."""
        return self._at_s(stamp) + self._offset_s[self._boot.number]

    def _at_s(self, stamp: Stamp) -> float:
        ours = stamp.boot_id == self._boot.boot_id and stamp.at_s >= self._boot.last_s
        return stamp.at_s if ours else self._boot.last_s

    @property
    def _boot(self) -> Boot:
        return self._boots[-1]

    def _write_boots(self, boots: tuple[Boot, ...], stamp: Stamp) -> None:
        """Make `boots` durable where they differ from the file. If an offset moved, count everything anew."""
        self._boots = boots
        with self._writing(stamp, in_haste=True) as db:
            for boot in self._boots:
                if boot != self._written.get(boot.number):
                    write_row(db, "boots", asdict(boot))
            if offsets(self._boots) != self._offset_s:
                self._offset_s = offsets(self._boots)
                self._read_entries()
                self._read_conditions()
        self._written = {boot.number: boot for boot in self._boots}

    # Doses

    def totals(self, reservoir: str, pump: Role, stamp: Stamp) -> Totals:
        """What counts for one pump now, from memory in a few microseconds; SPENT while the ledger is broken."""
        if self.fault is not None:
            return SPENT
        return self._tally.totals(reservoir, pump, self.proven_s(stamp))

    def given(self, reservoir: str, pump: Role) -> tuple[tuple[float, float], ...]:
        """Every dose of one pump into the water that is in: (end of the run in proven s, mL), oldest first.

        Kept in memory until something is written. Raises LedgerError.
        """
        key = (reservoir, pump)
        if key not in self._given:
            water = self.water(reservoir)
            after = 0 if water is None else water.after_entry
            rows = self._rows(_GIVEN, reservoir, pump, *INTO_A_CUP, DoseReason.REPAIR, after)
            self._given[key] = tuple((at_s + self._offset_s[boot] + run_s, ml) for boot, at_s, run_s, ml in rows)
        return self._given[key]

    def cleared_s(self, reservoir: str) -> float:
        """When the last lock that a person cleared had begun, in proven s; -inf for never. Raises LedgerError."""
        rows = self._rows(_CLEARED, reservoir, Condition.LOCKED)
        return max((at_s + self._offset_s[boot] for boot, at_s in rows), default=-inf)

    def intend(self, permit: Permit, stamp: Stamp) -> int:
        """Write down what is about to run, and charge it. Its number, once it is safe on disk.

        Raises LedgerError when it is not: then no pump may run. Raises ValueError for a permit that is
        not a finite amount and time above zero.
        """
        request = permit.request
        if not (0.0 < permit.ml < inf and 0.0 < permit.run_s < inf):
            raise ValueError(f"permit of {permit.ml} mL in {permit.run_s} s: both must be finite and above 0")
        row: dict[str, Field] = {
            "reservoir": request.reservoir,
            "pump": request.pump,
            "ml": permit.ml,
            "run_s": permit.run_s,
            "reason": request.reason,
            "numbers": json.dumps({**request.numbers, **permit.numbers}, allow_nan=False),
            "utc": stamp.utc.isoformat(),
            "utc_trusted": stamp.utc_trusted,
            "version": self._version,
            "outcome": Outcome.OPEN,
            "note": "",
        }
        with self._writing(stamp, in_haste=True) as db:
            number, boot = last_number(db, "entries") + 1, self._boot
            write_row(db, "entries", {**row, "number": number, "boot": boot.number, "at_s": boot.last_s})
            end_s = boot.last_s + self._offset_s[boot.number] + permit.run_s
            self._tally.charge(request.reservoir, request.pump, end_s, permit.ml)
        return number

    def settle(self, number: int, outcome: Outcome, note: str = "") -> None:
        """Write down how a dose ended. It stays charged in full, whatever the outcome.

        Raises ValueError if `number` is not a dose still open; LedgerError when the write fails.
        """
        with self._writing() as db:
            row = read_row(db, "entries", number)
            is_open = row is not None and row["outcome"] == Outcome.OPEN
            if row is not None and is_open:
                write_row(db, "entries", {**row, "outcome": outcome, "note": _line(note)})
        if not is_open:
            raise ValueError(f"ledger line {number}: not an open dose, so it cannot end as {outcome}")

    def refill(self, reservoir: str, pump: Role, who: str, stamp: Stamp) -> None:
        """Write down that a person filled this pump's bottle to the top. Raises LedgerError."""
        self._note_refill(reservoir, pump, who, stamp)
        self._tally.refill(reservoir, pump)

    def _note_refill(self, reservoir: str, of: str, who: str, stamp: Stamp) -> None:
        row = {"reservoir": reservoir, "pump": of, "who": _line(who), "utc": stamp.utc.isoformat()}
        with self._writing(stamp) as db:
            numbers = {"number": last_number(db, "refills") + 1, "after_entry": last_number(db, "entries")}
            write_row(db, "refills", {**row, **numbers})

    def change_water(self, reservoir: str, who: str, stamp: Stamp) -> None:
        """Write down that a person gave the reservoir new water. Raises LedgerError."""
        self._note_refill(reservoir, NEW_WATER, who, stamp)

    def water(self, reservoir: str) -> Water | None:
        """Since when the water that is in has been there; None where nothing tells. Raises LedgerError."""
        if reservoir not in self._water:
            changed = self._rows(_CHANGED, reservoir, NEW_WATER)
            after, utc = changed[0] if changed else (0, None)
            doses = self._rows(_SINCE, reservoir, after)
            utc = utc or (doses[0][2] if doses else None)
            stock_ml = sum(ml for pump, ml, _ in doses if pump == Role.STOCK_A)
            self._water[reservoir] = utc and Water(after, datetime.fromisoformat(utc), stock_ml)
        return self._water[reservoir]

    def change_tube(self, reservoir: str, pump: Role, who: str, stamp: Stamp) -> None:
        """Write down that a person put a new tube into this pump. Raises LedgerError."""
        self._note_refill(reservoir, NEW_TUBE + pump, who, stamp)

    def tube(self, reservoir: str, pump: Role) -> Tube:
        """The tube that is in, and how long the pump has run with it; in memory until something is written.

        Raises LedgerError.
        """
        key = (reservoir, pump)
        if key not in self._tubes:
            changed = self._rows(_CHANGED, reservoir, NEW_TUBE + pump)
            after, utc = changed[0] if changed else (0, "")
            turned = self._rows(_TURNED, reservoir, pump, DoseReason.REPAIR, after)
            self._tubes[key] = Tube(after, utc[: len("2026-03-02")], turned[0][0])
        return self._tubes[key]

    # What a person or a safety stop said

    def standing(self, reservoir: str, stamp: Stamp) -> Standing | None:
        """The lock on a reservoir, else the hold in force, else None."""
        if not self._standing:
            return None
        locked = self._of(reservoir, Condition.LOCKED)
        return locked[0] if locked else self.held(reservoir, stamp)

    def held(self, reservoir: str, stamp: Stamp) -> Standing | None:
        """The hold in force on a reservoir, locked or not, else None."""
        now_s = self.proven_s(stamp)
        return next((s for s in self._of(reservoir, Condition.HELD) if not now_s >= s.ends_s), None)

    def until(self, standing: Standing, stamp: Stamp) -> datetime | None:
        """Wall time at which a hold will end by itself if the clocks run on; None if it does not."""
        if standing.for_s is None:
            return None
        return stamp.utc + timedelta(seconds=max(0.0, standing.ends_s - self.proven_s(stamp)))

    def hold(self, reservoir: str, reason: str, who: str, stamp: Stamp, for_s: float | None = None) -> Standing:
        """Pause dosing for `for_s` proven seconds, or until released. A hold that lasts longer stays as it is.

        Raises ValueError unless for_s is None or finite and above zero; LedgerError when it cannot be
        written (it holds nevertheless, and `reopen` writes it).
        """
        if for_s is not None and not 0.0 < for_s < inf:
            raise ValueError(f"hold for {for_s} s: must be finite and above 0")
        now_s = self.proven_s(stamp)
        asked = Standing(reservoir, Condition.HELD, _line(reason), _line(who), stamp.utc, now_s, for_s)
        for held in self._of(reservoir, Condition.HELD):
            if held.ends_s >= asked.ends_s:
                return held
        return self._stand(asked, stamp)

    def lock(self, reservoir: str, reason: str, who: str, stamp: Stamp) -> Standing:
        """Latch a safety stop until a person clears it. The first reason stays. Raises LedgerError as `hold`."""
        for locked in self._of(reservoir, Condition.LOCKED):
            return locked
        now_s = self.proven_s(stamp)
        asked = Standing(reservoir, Condition.LOCKED, _line(reason), _line(who), stamp.utc, now_s)
        return self._stand(asked, stamp)

    def locked_at_s(self, reservoir: str, last: int) -> tuple[float, ...]:
        """When it was last locked, cleared since or not, newest first, in proven s. Raises LedgerError."""
        rows = self._rows(_LOCKED, reservoir, Condition.LOCKED, last)
        return tuple(at_s + self._offset_s[boot] for boot, at_s in rows)

    def release(self, reservoir: str, who: str, stamp: Stamp) -> bool:
        """End the hold on a reservoir; whether there was one. A lock stays. Raises LedgerError."""
        return self._end(reservoir, Condition.HELD, who, stamp)

    def clear(self, reservoir: str, who: str, stamp: Stamp) -> bool:
        """Clear the lock on a reservoir; whether there was one. A hold stays. Raises LedgerError."""
        return self._end(reservoir, Condition.LOCKED, who, stamp)

    def _of(self, reservoir: str, condition: Condition) -> list[Standing]:
        return [s for s in self._standing if s.reservoir == reservoir and s.condition is condition]

    def _stand(self, asked: Standing, stamp: Stamp) -> Standing:
        """In force at once, in memory; then written, in place of the shorter ones it outlasts."""
        replaced = self._of(asked.reservoir, asked.condition)
        self._standing.append(asked)
        with self._writing(stamp) as db:
            written = self._write_standing(db, asked)
            _end_lines(db, replaced, asked.who, stamp.utc)
        self._standing = [s for s in self._standing if s is not asked and s not in replaced] + [written]
        return written

    def _write_standing(self, db: sqlite3.Connection, asked: Standing) -> Standing:
        written = replace(asked, number=last_number(db, "conditions") + 1)
        row: dict[str, Field] = {
            "number": written.number,
            "reservoir": asked.reservoir,
            "condition": asked.condition,
            "reason": asked.reason,
            "who": asked.who,
            "boot": self._boot.number,
            "at_s": asked.since_s - self._offset_s[self._boot.number],
            "utc": asked.since.isoformat(),
            "for_s": asked.for_s,
            "ended_by": None,
            "ended_utc": None,
        }
        write_row(db, "conditions", row)
        return written

    def _end(self, reservoir: str, condition: Condition, who: str, stamp: Stamp) -> bool:
        ended = self._of(reservoir, condition)
        if ended:
            with self._writing(stamp) as db:
                _end_lines(db, ended, who, stamp.utc)
            self._standing = [s for s in self._standing if s not in ended]
        return bool(ended)

    # For people to read

    def recent(self, n: int, reservoir: str | None = None) -> tuple[Entry, ...]:
        """The newest `n` doses, newest first; kept in memory until something is written. Raises LedgerError."""
        key = (n, reservoir)
        if key not in self._recent:
            where = "" if reservoir is None else "WHERE reservoir = ?"
            values = (n,) if reservoir is None else (reservoir, n)
            try:
                self._recent[key] = self._entries(f"{where} ORDER BY e.number DESC LIMIT ?", *values)
            except LedgerError as error:
                raise self.fault or error from error
        return self._recent[key]

    def export(self) -> Iterator[dict[str, Any]]:
        """Every dose as written, oldest first, with the columns of the file. Raises LedgerError."""
        try:
            rows = self._db.execute(_EXPORT)
            names = [column[0] for column in rows.description]
            for row in rows:
                yield dict(zip(names, row, strict=True))
        except sqlite3.Error as error:
            raise ledger_error(self.path, error) from error

    def backup(self, path: Path) -> None:
        """Copy the whole ledger to `path` while it is in use; an older copy is replaced only by a whole one.

        Raises LedgerError naming the copy, ValueError for the ledger's own path; the ledger stays in use.
        """
        if path.resolve() == self.path.resolve():
            raise ValueError(f"backup to {path}: that is the ledger itself, name another file")
        new = path.with_name(path.name + ".new")
        try:
            new.unlink(missing_ok=True)
            _copy(self._db, new)
            new.replace(path)
        except sqlite3.Error as error:
            new.unlink(missing_ok=True)
            raise ledger_error(path, error) from error
        except OSError as error:
            raise LedgerError(LedgerFault.CANNOT_OPEN, path, error.strerror or str(error)) from error

    # Opening again, closing

    def reopen(self, stamp: Stamp) -> None:
        """Read the file again after a failure, and write the holds and locks that could not be written.

        Raises LedgerError, and stays broken, while the cause lasts.
        """
        unwritten = [s for s in self._standing if s.number is None]
        self.close()
        try:
            self._open(stamp)
            with self._writing(stamp) as db:
                now_s = self.proven_s(stamp)
                self._standing += [self._write_standing(db, replace(s, since_s=now_s)) for s in unwritten]
        except BaseException as error:
            self._standing += [s for s in unwritten if s not in self._standing]
            self.fault = error if isinstance(error, LedgerError) else self.fault
            raise

    def close(self) -> None:
        """Let go of the file. Twice is harmless."""
        self._db.close()
        self.fault = self.fault or LedgerError(LedgerFault.CLOSED, self.path)

    # The file

    @contextmanager
    def _writing(self, stamp: Stamp | None = None, *, in_haste: bool = False) -> Iterator[sqlite3.Connection]:
        """One durable commit, together with the time of `stamp`. Anything that goes wrong breaks the ledger.

        in_haste: a pump waits, or little would be lost: leave it in the -wal file until the next that is not.
        Broken from the first step until the commit is known to have succeeded, so that even an interrupt
        in between cannot leave memory believed beside a file that says otherwise.
        """
        if self.fault is not None:
            raise self.fault.with_traceback(None)
        self.fault = LedgerError(LedgerFault.INTERRUPTED, self.path)
        try:
            self._db.execute("BEGIN IMMEDIATE")
            self._must_be_ours()
            if stamp is not None:
                self._boots = (*self._boots[:-1], replace(self._boot, last_s=self._at_s(stamp)))
                write_row(self._db, "boots", asdict(self._boot))
            yield self._db
            self._db.execute("COMMIT")
            if not in_haste:
                fold(self._db)
        except BaseException as error:
            self._break(error)
            if isinstance(error, sqlite3.Error):
                raise self.fault from error
            raise
        self._written[self._boot.number] = self._boot
        self._forget_read()
        self.fault = None

    def _must_be_ours(self) -> None:
        """Raise LedgerError if the file was replaced, or another connection wrote to it since we read it."""
        if not self.path.exists() or os.stat(self.path).st_ino != self._file:
            raise LedgerError(LedgerFault.MOVED, self.path)
        if self._data_version() != self._seen:
            raise LedgerError(LedgerFault.CHANGED, self.path)

    def _data_version(self) -> int:
        return int(self._db.execute("PRAGMA data_version").fetchone()[0])

    def _break(self, error: BaseException) -> None:
        """Stay broken, for the reason known best, and undo what was half written."""
        if isinstance(error, sqlite3.Error):
            self.fault = ledger_error(self.path, error)
        elif isinstance(error, LedgerError):
            self.fault = error
        try:
            self._db.rollback()
        except sqlite3.Error:
            self._db.close()

    def _read_boots(self, stamp: Stamp) -> None:
        rows = self._db.execute(f"SELECT {', '.join(COLUMNS['boots'])} FROM boots ORDER BY number")
        boots = tuple(Boot(*row) for row in rows)
        self._written = {boot.number: boot for boot in boots}
        self._boots = join(boots, stamp)
        self._offset_s = offsets(self._boots)

    def _read_entries(self) -> None:
        self._tally = Tally()
        refills = self._db.execute("SELECT reservoir, pump, max(after_entry) FROM refills GROUP BY 1, 2")
        full_after = {(reservoir, pump): after for reservoir, pump, after in refills}
        rows = self._db.execute(
            "SELECT number, reservoir, pump, ml, run_s, boot, at_s FROM entries ORDER BY number"
        )
        for number, reservoir, pump, ml, run_s, boot, at_s in rows:
            end_s = at_s + self._offset_s[boot] + run_s
            from_bottle = number > full_after.get((reservoir, pump), 0)
            self._tally.charge(reservoir, pump, end_s, ml, from_bottle=from_bottle)

    def _read_conditions(self) -> None:
        rows = self._db.execute(
            "SELECT reservoir, condition, reason, who, utc, boot, at_s, for_s, number FROM conditions "
            "WHERE ended_by IS NULL ORDER BY number"
        )
        self._standing = [
            Standing(
                reservoir,
                Condition(condition),
                reason,
                who,
                datetime.fromisoformat(utc),
                at_s + self._offset_s[boot],
                for_s,
                number,
            )
            for reservoir, condition, reason, who, utc, boot, at_s, for_s, number in rows
        ]

    def _rows(self, query: str, *values: object) -> list[tuple[Any, ...]]:
        try:
            return self._db.execute(query, values).fetchall()
        except sqlite3.Error as error:
            raise self.fault or ledger_error(self.path, error) from error

    def _entries(self, clause: str, *values: object) -> tuple[Entry, ...]:
        try:
            return tuple(_entry(row) for row in self._db.execute(_ENTRY + clause, values))
        except sqlite3.Error as error:
            raise ledger_error(self.path, error) from error
        except ValueError as error:
            raise LedgerError(LedgerFault.DAMAGED, self.path, str(error)) from error


def _line(text: str) -> str:
    """Text from a person or a message as one line that any file and terminal bears, at most LINE_LENGTH long."""
    return " ".join(text.encode("utf-8", "replace").decode().split())[:LINE_LENGTH]


def _end_lines(db: sqlite3.Connection, ended: list[Standing], who: str, utc: datetime) -> None:
    for standing in ended:
        row = read_row(db, "conditions", standing.number or 0)
        if row is not None:
            write_row(db, "conditions", {**row, "ended_by": _line(who), "ended_utc": utc.isoformat()})


def _nowhere() -> sqlite3.Connection:
    """A closed connection, to stand where there is no file."""
    db = sqlite3.connect(":memory:")
    db.close()
    return db


def _copy(db: sqlite3.Connection, path: Path) -> None:
    """All of `db` into one new file that needs no side files."""
    copy = sqlite3.connect(path, isolation_level=None)
    try:
        db.backup(copy)
        copy.execute("PRAGMA journal_mode = DELETE")
    finally:
        copy.close()


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
