"""What was dosed, written down before the pump turns; and what a person said about dosing.

    number = ledger.intend(permit, stamp)    durable on disk, and charged in full, when this returns
    ... the pump runs ...
    ledger.settle(number, Outcome.DONE)      a note on how it ended; the charge stays

A dose whose outcome never came (crash, power cut) stays charged in full. Windows are reckoned in proven
time (daemon.dose.windows). Sums are kept in memory and follow the file; after any failed write the ledger
is broken: `totals` say that all is spent until `reopen` has read the file again.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime, timedelta
from math import inf
from pathlib import Path
from typing import Any, TypeVar

from daemon.dose.ledger_doses import every_entry, read_entries, tally_of, write_intent, write_outcome
from daemon.dose.ledger_file import (
    LedgerError,
    LedgerFault,
    back_up,
    fold,
    ledger_error,
    line,
    nowhere,
    open_file,
)
from daemon.dose.ledger_renewed import NEW_TUBE, NEW_WATER, Water, given_of, note_renewed, tube_of, water_of
from daemon.dose.ledger_standing import Lock, Standing, Standings, locks_of, write_end, write_standing
from daemon.dose.ledger_time import LedgerTime
from daemon.dose.usual import Given
from daemon.dose.windows import SPENT, Stamp, Totals
from daemon.measure.rate import Tube
from daemon.values import Condition, Entry, Outcome, Permit, Role

__all__ = ["Ledger", "LedgerError", "LedgerFault"]

T = TypeVar("T")


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
        self._time = LedgerTime(stamp)
        self._standings = Standings()
        self._read: dict[tuple[object, ...], Any] = {}
        self.left_open: tuple[Entry, ...] = ()
        self.fault: LedgerError | None = LedgerError(LedgerFault.CLOSED, path)
        try:
            self._open(stamp)
        except LedgerError as error:
            if not or_broken:
                raise
            self._db = nowhere()
            self.fault = error

    def _open(self, stamp: Stamp) -> None:
        """Read the whole file into memory, then join its time to ours. Broken until both have succeeded."""
        self._db = open_file(self.path)
        try:
            self._file = os.stat(self.path).st_ino
            self._seen = self._data_version()
            self._time.read(self._db, stamp)
            self._tally = tally_of(self._db, self._time.proven_of)
            self._standings.read(self._db, self._time.proven_of)
            self.left_open = self._entries("WHERE outcome = ? ORDER BY e.number", Outcome.OPEN)
            self._read.clear()
            fold(self._db)
            self.fault = None
            self._write_time(stamp)
        except BaseException as error:
            self._db.close()
            if isinstance(error, sqlite3.Error):
                raise ledger_error(self.path, error) from error
            raise

    # Time

    def keep_time(self, stamp: Stamp) -> None:
        """Record that time passes; call once a pass. It writes now and then, and on wall clock news.

        Raises LedgerError when the write fails. Does nothing while the ledger is broken.
        """
        if self.fault is None and self._time.is_news(stamp):
            self._write_time(stamp)

    def proven_s(self, stamp: Stamp) -> float:
        """Proven time (daemon.dose.windows) at `stamp`; a foreign or backward clock proves nothing new."""
        return self._time.proven_s(stamp)

    def _write_time(self, stamp: Stamp) -> None:
        """Make durable what `stamp` teaches. If an offset moved, count everything anew."""
        self._time.observe(stamp)
        with self._writing(stamp, in_haste=True, of_time=True) as db:
            if self._time.write(db):
                self._read.clear()
                self._tally = tally_of(self._db, self._time.proven_of)
                self._standings.read(db, self._time.proven_of)

    # Doses

    def totals(self, reservoir: str, pump: Role, stamp: Stamp) -> Totals:
        """What counts for one pump now, from memory in a few microseconds; SPENT while the ledger is broken."""
        if self.fault is not None:
            return SPENT
        return self._tally.totals(reservoir, pump, self.proven_s(stamp))

    def given(self, reservoir: str) -> tuple[Given, ...]:
        """Every dose of acid and base into the water that is in, oldest first. Raises LedgerError."""
        water = self.water(reservoir)
        return self._kept(
            ("given", reservoir), lambda: given_of(self._rows, reservoir, water, self._time.proven_of)
        )

    def intend(self, permit: Permit, stamp: Stamp, by: str = "") -> int:
        """Write down what is about to run, and charge it. Its number, once it is safe on disk.

        by: who asked for it, "" for the program itself.
        Raises LedgerError when it is not: then no pump may run. Raises ValueError for a permit that is
        not a finite amount and time above zero.
        """
        if not (0.0 < permit.ml < inf and 0.0 < permit.run_s < inf):
            raise ValueError(f"permit of {permit.ml} mL in {permit.run_s} s: both must be finite and above 0")
        request = permit.request
        with self._writing(stamp, in_haste=True) as db:
            boot = self._time.boot
            number = write_intent(db, permit, stamp, boot, self._version, by=by)
            end_s = self._time.proven_of(boot.number, boot.last_s) + permit.run_s
            self._tally.charge(request.reservoir, request.pump, end_s, permit.ml)
        return number

    def settle(self, number: int, outcome: Outcome, note: str = "") -> None:
        """Write down how a dose ended. It stays charged in full, whatever the outcome.

        Raises ValueError if `number` is not a dose still open; LedgerError when the write fails.
        """
        with self._writing() as db:
            is_open = write_outcome(db, number, outcome, note)
        if not is_open:
            raise ValueError(f"ledger line {number}: not an open dose, so it cannot end as {outcome}")

    # What a person renewed

    def refill(self, reservoir: str, pump: Role, who: str, stamp: Stamp) -> None:
        """Write down that a person filled this pump's bottle to the top. Raises LedgerError."""
        with self._writing(stamp) as db:
            note_renewed(db, reservoir, pump, who, stamp)
        self._tally.refill(reservoir, pump)

    def change_water(self, reservoir: str, who: str, stamp: Stamp) -> None:
        """Write down that a person gave the reservoir new water. Raises LedgerError."""
        with self._writing(stamp) as db:
            note_renewed(db, reservoir, NEW_WATER, who, stamp)

    def water(self, reservoir: str) -> Water | None:
        """Since when the water that is in has been there; None where nothing tells. Raises LedgerError."""
        return self._kept(("water", reservoir), lambda: water_of(self._rows, reservoir))

    def change_tube(self, reservoir: str, pump: Role, who: str, stamp: Stamp) -> None:
        """Write down that a person put a new tube into this pump. Raises LedgerError."""
        with self._writing(stamp) as db:
            note_renewed(db, reservoir, NEW_TUBE + pump, who, stamp)

    def tube(self, reservoir: str, pump: Role) -> Tube:
        """The tube that is in, and how long the pump has run with it. Raises LedgerError."""
        return self._kept(("tube", reservoir, pump), lambda: tube_of(self._rows, reservoir, pump))

    # What a person or a safety stop said

    def standing(self, reservoir: str, stamp: Stamp) -> Standing | None:
        """The lock on a reservoir, else the hold in force, else None."""
        return self._standings.in_force(reservoir, self.proven_s(stamp))

    def held(self, reservoir: str, stamp: Stamp) -> Standing | None:
        """The hold in force on a reservoir, locked or not, else None."""
        return self._standings.held(reservoir, self.proven_s(stamp))

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
        asked = Standing(reservoir, Condition.HELD, line(reason), line(who), stamp.utc, now_s, for_s)
        return self._stand(asked, stamp)

    def lock(self, reservoir: str, reason: str, who: str, stamp: Stamp) -> Standing:
        """Latch a safety stop until a person clears it. The first reason stays. Raises LedgerError as `hold`."""
        now_s = self.proven_s(stamp)
        asked = Standing(reservoir, Condition.LOCKED, line(reason), line(who), stamp.utc, now_s)
        return self._stand(asked, stamp)

    def locked_at_s(self, reservoir: str, last: int) -> tuple[float, ...]:
        """When it was last locked, cleared since or not, newest first, in proven s. Raises LedgerError."""
        return tuple(lock.at_s for lock in self._locks(reservoir)[:last])

    def cleared(self, reservoir: str) -> Lock | None:
        """The last lock that a person cleared; None for never. Raises LedgerError."""
        return next((lock for lock in self._locks(reservoir) if lock.cleared), None)

    def _locks(self, reservoir: str) -> tuple[Lock, ...]:
        return self._kept(("locks", reservoir), lambda: locks_of(self._rows, reservoir, self._time.proven_of))

    def release(self, reservoir: str, who: str, stamp: Stamp) -> bool:
        """End the hold on a reservoir; whether there was one. A lock stays. Raises LedgerError."""
        return self._end(reservoir, Condition.HELD, who, stamp)

    def clear(self, reservoir: str, who: str, stamp: Stamp) -> bool:
        """Clear the lock on a reservoir; whether there was one. A hold stays. Raises LedgerError."""
        return self._end(reservoir, Condition.LOCKED, who, stamp)

    def _stand(self, asked: Standing, stamp: Stamp) -> Standing:
        """In force at once, in memory; then written, in place of the shorter ones it outlasts."""
        if (longer := self._standings.outlasting(asked)) is not None:
            return longer
        replaced = self._standings.of(asked.reservoir, asked.condition)
        self._standings.add([asked])
        with self._writing(stamp) as db:
            written = write_standing(db, asked, self._time)
            write_end(db, replaced, asked.who, stamp.utc)
        self._standings.take_out([asked, *replaced])
        self._standings.add([written])
        return written

    def _end(self, reservoir: str, condition: Condition, who: str, stamp: Stamp) -> bool:
        ended = self._standings.of(reservoir, condition)
        if ended:
            with self._writing(stamp) as db:
                write_end(db, ended, who, stamp.utc)
            self._standings.take_out(ended)
        return bool(ended)

    # For people to read

    def recent(self, n: int, reservoir: str | None = None) -> tuple[Entry, ...]:
        """The newest `n` doses, newest first. Raises LedgerError."""
        return self._kept(("recent", n, reservoir), lambda: self._newest(n, reservoir))

    def _newest(self, n: int, reservoir: str | None) -> tuple[Entry, ...]:
        where = "" if reservoir is None else "WHERE reservoir = ?"
        values = (n,) if reservoir is None else (reservoir, n)
        try:
            return self._entries(f"{where} ORDER BY e.number DESC LIMIT ?", *values)
        except LedgerError as error:
            raise self.fault or error from error

    def export(self) -> Iterator[dict[str, Any]]:
        """Every dose as written, oldest first, with the columns of the file. Raises LedgerError."""
        try:
            yield from every_entry(self._db)
        except sqlite3.Error as error:
            raise ledger_error(self.path, error) from error

    def backup(self, path: Path) -> None:
        """Copy the whole ledger to `path` while it is in use; an older copy is replaced only by a whole one.

        Raises LedgerError naming the copy, ValueError for the ledger's own path; the ledger stays in use.
        """
        if path.resolve() == self.path.resolve():
            raise ValueError(f"backup to {path}: that is the ledger itself, name another file")
        back_up(self._db, path)

    # Opening again, closing

    def reopen(self, stamp: Stamp) -> None:
        """Read the file again after a failure, and write the holds and locks that could not be written.

        Raises LedgerError, and stays broken, while the cause lasts.
        """
        unwritten = self._standings.unwritten()
        self.close()
        try:
            self._open(stamp)
            with self._writing(stamp) as db:
                now_s = self.proven_s(stamp)
                self._standings.add(
                    [write_standing(db, replace(s, since_s=now_s), self._time) for s in unwritten]
                )
        except BaseException as error:
            self._standings.add(unwritten)
            self.fault = error if isinstance(error, LedgerError) else self.fault
            raise

    def close(self) -> None:
        """Let go of the file. Twice is harmless."""
        self._db.close()
        self.fault = self.fault or LedgerError(LedgerFault.CLOSED, self.path)

    # The file

    @contextmanager
    def _writing(
        self, stamp: Stamp | None = None, *, in_haste: bool = False, of_time: bool = False
    ) -> Iterator[sqlite3.Connection]:
        """One durable commit, together with the time of `stamp`. Anything that goes wrong breaks the ledger.

        in_haste: a pump waits, or little would be lost: leave it in the -wal file until the next that is not.
        of_time: no more than that time passes, so what was read of doses still holds.
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
                self._time.write_reached(self._db, stamp)
            yield self._db
            self._db.execute("COMMIT")
            if not in_haste:
                fold(self._db)
        except BaseException as error:
            self._break(error)
            if isinstance(error, sqlite3.Error):
                raise self.fault from error
            raise
        self._time.written()
        if not of_time:
            self._read.clear()
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

    def _kept(self, key: tuple[object, ...], read: Callable[[], T]) -> T:
        """What `read` gives, kept in memory until something is written."""
        if key not in self._read:
            self._read[key] = read()
        kept: T = self._read[key]
        return kept

    def _rows(self, query: str, *values: object) -> list[tuple[Any, ...]]:
        try:
            return self._db.execute(query, values).fetchall()
        except sqlite3.Error as error:
            raise self.fault or ledger_error(self.path, error) from error

    def _entries(self, clause: str, *values: object) -> tuple[Entry, ...]:
        try:
            return read_entries(self._db, clause, values)
        except sqlite3.Error as error:
            raise ledger_error(self.path, error) from error
        except ValueError as error:
            raise LedgerError(LedgerFault.DAMAGED, self.path, str(error)) from error
