"""`history.db`: what was read, a row for each minute, and what happened. Written in batches: a card lasts.

    series   (number, reservoir, quantity)
    minutes  (series, minute, value, doubted)                value in thousandths, minute since 1970 in UTC
    hours    (series, hour, count, total, low, high, doubted)    of the minutes in it
    events   (number, at_s, reservoir, what, key, text)          at_s since 1970 in UTC
    bands    (series, at_s, low, high)                           in thousandths, from at_s on

Nothing is dosed by it, so its troubles stop nothing: rows wait in memory, a day of them at most, and `trouble`
says why. The ledger is another file, and durable at each line.
"""

from __future__ import annotations

import sqlite3
from collections import deque
from collections.abc import Callable, Iterable
from contextlib import suppress
from datetime import datetime
from functools import partial
from math import inf, isfinite
from pathlib import Path

from daemon.store.minutes import MINUTE_S, Banded, Happened, Minute, Minutes, Series, banded, happened
from daemon.values import State

FILE = "history.db"
APPLICATION_ID, SCHEMA_VERSION = 0x45574854, 1  # "EWHT"
THOUSANDTHS = 1000.0
HOUR_S, DAY_S = 3600.0, 86400.0
WRITE_EVERY_S = 300.0
TRUST_WITHIN_S = 6 * HOUR_S  # how long rows wait for a wall clock that is known to be right
MOST_ROWS = 50_000  # waiting in memory: a day of three reservoirs with ten probes each, some 10 MB
MOST_EVENTS = 2_000
MOST_BANDS = 2_000  # a ramp from stage to stage moves them pass by pass
BUSY_S = 2.0
MINUTES_PER_HOUR = 60
_BROKEN = (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)

_BANDS = """
CREATE TABLE IF NOT EXISTS bands (
    series INTEGER NOT NULL, at_s INTEGER NOT NULL, low INTEGER NOT NULL, high INTEGER NOT NULL,
    PRIMARY KEY (series, at_s)
) STRICT, WITHOUT ROWID;
"""
_SCHEMA = f"""
CREATE TABLE series (
    number INTEGER PRIMARY KEY, reservoir TEXT NOT NULL, quantity TEXT NOT NULL, UNIQUE (reservoir, quantity)
) STRICT;
CREATE TABLE minutes (
    series INTEGER NOT NULL, minute INTEGER NOT NULL, value INTEGER NOT NULL, doubted INTEGER NOT NULL,
    PRIMARY KEY (series, minute)
) STRICT, WITHOUT ROWID;
CREATE TABLE hours (
    series INTEGER NOT NULL, hour INTEGER NOT NULL, count INTEGER NOT NULL, total INTEGER NOT NULL,
    low INTEGER NOT NULL, high INTEGER NOT NULL, doubted INTEGER NOT NULL, PRIMARY KEY (series, hour)
) STRICT, WITHOUT ROWID;
CREATE TABLE events (
    number INTEGER PRIMARY KEY, at_s INTEGER NOT NULL, reservoir TEXT NOT NULL, what TEXT NOT NULL,
    key TEXT NOT NULL, text TEXT NOT NULL
) STRICT;
CREATE INDEX events_by_time ON events (at_s);
{_BANDS}
PRAGMA application_id = {APPLICATION_ID};
PRAGMA user_version = {SCHEMA_VERSION};
"""
_KEEP = "INSERT OR REPLACE INTO minutes VALUES (?, ?, ?, ?)"
_KEEP_EVENT = "INSERT INTO events (at_s, reservoir, what, key, text) VALUES (?, ?, ?, ?, ?)"
_KEEP_BAND = """
INSERT OR REPLACE INTO bands SELECT :series, :at_s, :low, :high WHERE (:low, :high) IS NOT
(SELECT low, high FROM bands WHERE series = :series AND at_s <= :at_s ORDER BY at_s DESC LIMIT 1)
"""
_KEEP_HOUR = """
INSERT OR REPLACE INTO hours
SELECT series, minute / 60, count(*), sum(value), min(value), max(value), sum(doubted) FROM minutes
WHERE series = ? AND minute BETWEEN ? AND ? GROUP BY series
"""


class History:
    """The history in a state folder. `see` each snapshot, `close` at the end. Runs on the loop's thread.

    keep_days: rows of minutes older than that are dropped; those of hours stay.
    """

    def __init__(self, folder: Path, *, keep_days: float) -> None:
        self.trouble = ""
        self._path, self._keep_days = folder / FILE, keep_days
        self._db: sqlite3.Connection | None = None
        self._minutes = Minutes()
        self._rows: deque[Minute] = deque(maxlen=MOST_ROWS)
        self._events: deque[Happened] = deque(maxlen=MOST_EVENTS)
        self._bands: deque[Banded] = deque(maxlen=MOST_BANDS)
        self._before: State | None = None
        self._written_s = -inf

    def see(self, state: State) -> None:
        """Take in a snapshot, and now and then write. Never raises; never waits longer than BUSY_S."""
        self._events += happened(self._before, state)
        self._bands += banded(self._before, state)
        self._rows += self._minutes.see(state)
        self._before = state
        if not state.at_s - self._written_s < WRITE_EVERY_S:
            self._written_s = state.at_s
            self._write(state, inf if state.utc_trusted else state.at_s - TRUST_WITHIN_S)

    def drop_old(self, now: datetime) -> None:
        """Drop rows of minutes that nobody looks at one by one any more. Never raises."""
        oldest = int((now.timestamp() - self._keep_days * DAY_S) // MINUTE_S)
        self._attempt(partial(_drop, oldest=oldest))

    def close(self) -> None:
        """Write what waits, by whatever clock there is, and let go of the file. Twice is harmless."""
        if self._before is not None:
            self._rows += self._minutes.end()
            self._write(self._before, inf)
            self._before = None
        self._let_go()

    def _write(self, state: State, until_s: float) -> None:
        """Write what waits, as far as `until_s` (monotonic); what cannot be written goes on waiting."""
        rows = [row for row in self._rows if row.at_s <= until_s]
        events = [event for event in self._events if event.at_s <= until_s]
        bands = [band for band in self._bands if band.at_s <= until_s]
        zero_s = state.utc.timestamp() - state.at_s  # what monotonic 0 is on the wall clock
        insert = partial(_insert, rows=rows, events=events, bands=bands, zero_s=zero_s)
        if (rows or events or bands) and self._attempt(insert):
            for written, waiting in ((rows, self._rows), (events, self._events), (bands, self._bands)):
                for _ in written:
                    waiting.popleft()

    def _attempt(self, act: Callable[[sqlite3.Connection], None]) -> bool:
        """Do it in one transaction; whether that went well. `trouble` says what did not."""
        try:
            if self._db is None:
                self._db = _opened(self._path)
            with self._db:
                act(self._db)
        except (sqlite3.Error, OSError) as error:
            self.trouble = f"{self._path}: {error}"
            self._let_go()
            if getattr(error, "sqlite_errorcode", 0) & 0xFF in _BROKEN:
                self._set_aside()
            return False
        self.trouble = ""
        return True

    def _set_aside(self) -> None:
        """Begin anew beside a file that is damaged, which stays under another name."""
        with suppress(OSError):
            self._path.replace(self._path.with_name(FILE + ".damaged"))
            for ending in ("-wal", "-shm"):
                self._path.with_name(FILE + ending).unlink(missing_ok=True)

    def _let_go(self) -> None:
        if self._db is not None:
            self._db.close()
            self._db = None


def _opened(path: Path) -> sqlite3.Connection:
    """The history at `path`, made if there is none. Raises sqlite3.Error, or OSError for a newer one."""
    db = sqlite3.connect(path, timeout=BUSY_S)
    try:
        db.execute("PRAGMA journal_mode = WAL").fetchone()
        db.execute("PRAGMA synchronous = NORMAL")  # a power cut costs the last batch, never the file
        format_ = db.execute("PRAGMA user_version").fetchone()[0]
        if format_ == 0:
            db.executescript(f"BEGIN; {_SCHEMA} COMMIT;")
        elif format_ != SCHEMA_VERSION:
            raise OSError(f"was written by another version of this program (format {format_}); move it away")
        else:
            db.executescript(_BANDS)  # a file from before they were kept
    except BaseException:
        db.close()
        raise
    return db


def _insert(
    db: sqlite3.Connection,
    rows: Iterable[Minute],
    events: Iterable[Happened],
    bands: Iterable[Banded],
    zero_s: float,
) -> None:
    _insert_rows(db, rows, zero_s)
    db.executemany(_KEEP_EVENT, [(round(zero_s + e.at_s), e.reservoir, e.what, e.key, e.text) for e in events])
    for band in bands:
        low, high = round(band.low * THOUSANDTHS), round(band.high * THOUSANDTHS)
        of = {"series": _number(db, band.series), "at_s": round(zero_s + band.at_s), "low": low, "high": high}
        db.execute(_KEEP_BAND, of)


def _insert_rows(db: sqlite3.Connection, rows: Iterable[Minute], zero_s: float) -> None:
    numbers: dict[Series, int] = {}
    touched: set[tuple[int, int]] = set()
    for row in rows:
        if not isfinite(row.value):
            continue
        if row.series not in numbers:
            numbers[row.series] = _number(db, row.series)
        number, minute = numbers[row.series], round((zero_s + row.at_s) / MINUTE_S)
        db.execute(_KEEP, (number, minute, round(row.value * THOUSANDTHS), row.doubted))
        touched.add((number, minute // MINUTES_PER_HOUR))
    for number, hour in touched:
        first = hour * MINUTES_PER_HOUR
        db.execute(_KEEP_HOUR, (number, first, first + MINUTES_PER_HOUR - 1))


def _number(db: sqlite3.Connection, series: Series) -> int:
    """The number of a series; it gets one where it has none."""
    db.execute("INSERT OR IGNORE INTO series (reservoir, quantity) VALUES (?, ?)", series)
    found = db.execute("SELECT number FROM series WHERE reservoir = ? AND quantity = ?", series).fetchone()
    return int(found[0])


def _drop(db: sqlite3.Connection, oldest: int) -> None:
    for (number,) in db.execute("SELECT number FROM series").fetchall():
        db.execute("DELETE FROM minutes WHERE series = ? AND minute < ?", (number, oldest))
