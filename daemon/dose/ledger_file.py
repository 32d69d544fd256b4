"""The ledger's file: opening it, what its tables are, how far it may be believed, what its errors say.

    boots       one row for each stretch of monotonic time (see daemon.dose.windows)
    entries     one row for each dose: the intent, and the outcome once known; never deleted, never renumbered
    conditions  holds and locks, each with who set it, why, and who ended it
    refills     bottles filled, and other things that a person renewed: a tube, the water

Every row carries a checksum: SQLite's own integrity check sees broken pages, but
not a changed figure inside one.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Mapping
from enum import StrEnum
from pathlib import Path
from typing import Any
from zlib import crc32

from daemon.disk import sync

APPLICATION_ID = 0x45564C47  # "EVLG", in the file's header
SCHEMA_VERSION = 1
LINE_LENGTH = 200
BUSY_S = 2.0  # how long to wait for another connection before giving up

SCHEMA = f"""
CREATE TABLE boots (
    number INTEGER PRIMARY KEY, boot_id TEXT NOT NULL, first_s REAL NOT NULL, last_s REAL NOT NULL,
    off_s REAL NOT NULL, anchor_s REAL, anchor_utc_s REAL, doubted INTEGER NOT NULL, crc INTEGER NOT NULL
) STRICT;
CREATE TABLE entries (
    number INTEGER PRIMARY KEY AUTOINCREMENT, reservoir TEXT NOT NULL, pump TEXT NOT NULL,
    ml REAL NOT NULL CHECK (ml > 0), run_s REAL NOT NULL CHECK (run_s > 0), reason TEXT NOT NULL,
    numbers TEXT NOT NULL, boot INTEGER NOT NULL REFERENCES boots, at_s REAL NOT NULL, utc TEXT NOT NULL,
    utc_trusted INTEGER NOT NULL, version TEXT NOT NULL, outcome TEXT NOT NULL, note TEXT NOT NULL,
    crc INTEGER NOT NULL
) STRICT;
CREATE TABLE conditions (
    number INTEGER PRIMARY KEY AUTOINCREMENT, reservoir TEXT NOT NULL, condition TEXT NOT NULL,
    reason TEXT NOT NULL, who TEXT NOT NULL, boot INTEGER NOT NULL REFERENCES boots, at_s REAL NOT NULL,
    utc TEXT NOT NULL, for_s REAL, ended_by TEXT, ended_utc TEXT, crc INTEGER NOT NULL
) STRICT;
CREATE TABLE refills (
    number INTEGER PRIMARY KEY AUTOINCREMENT, reservoir TEXT NOT NULL, pump TEXT NOT NULL,
    after_entry INTEGER NOT NULL, who TEXT NOT NULL, utc TEXT NOT NULL, crc INTEGER NOT NULL
) STRICT;
PRAGMA application_id = {APPLICATION_ID};
PRAGMA user_version = {SCHEMA_VERSION};
"""

COLUMNS = {
    "boots": ("number", "boot_id", "first_s", "last_s", "off_s", "anchor_s", "anchor_utc_s", "doubted"),
    "entries": (
        "number", "reservoir", "pump", "ml", "run_s", "reason", "numbers", "boot", "at_s",
        "utc", "utc_trusted", "version", "outcome", "note",
    ),
    "conditions": (
        "number", "reservoir", "condition", "reason", "who", "boot", "at_s", "utc", "for_s",
        "ended_by", "ended_utc",
    ),
    "refills": ("number", "reservoir", "pump", "after_entry", "who", "utc"),
}  # fmt: skip
NUMBERED = ("entries", "conditions", "refills")  # SQLite remembers the last number given out

Field = str | float | None


class LedgerFault(StrEnum):
    """Why the ledger cannot be relied on."""

    CANNOT_OPEN = "cannot_open"
    NOT_A_LEDGER = "not_a_ledger"
    DAMAGED = "damaged"
    NEWER = "newer"
    DISK_FULL = "disk_full"
    READ_ONLY = "read_only"
    BUSY = "busy"
    DISK = "disk"
    CHANGED = "changed"
    MOVED = "moved"
    INTERRUPTED = "interrupted"
    CLOSED = "closed"


_SAYS = {
    LedgerFault.CANNOT_OPEN: (
        "cannot be opened",
        "check that its folder exists and that this user may write there",
    ),
    LedgerFault.NOT_A_LEDGER: (
        "is not a ledger of this program",
        "put the right file in its place, or stop the daemon and run `evenwater repair` with your settings file",
    ),
    LedgerFault.DAMAGED: (
        "is damaged, so what was dosed is not known",
        "stop the daemon and run `evenwater repair` with your settings file: the damaged file is kept",
    ),
    LedgerFault.NEWER: (
        "was written by a newer version of this program",
        "install that version again; nothing was changed",
    ),
    LedgerFault.DISK_FULL: ("cannot be written: the disk is full", "free some space; no pump runs until then"),
    LedgerFault.READ_ONLY: (
        "cannot be written: it is read-only",
        "check the file's permissions and whether the disk was remounted read-only",
    ),
    LedgerFault.BUSY: (
        "is held by another program",
        "close what has it open (a second daemon, a database browser)",
    ),
    LedgerFault.DISK: ("could not be read or written", "check the disk or SD card, and copy the file away"),
    LedgerFault.CHANGED: (
        "was written by another program meanwhile",
        "close what has it open; the daemon reads it afresh by itself",
    ),
    LedgerFault.MOVED: (
        "is no longer where it was opened",
        "put the file back in the state folder and restart the daemon",
    ),
    LedgerFault.INTERRUPTED: ("was interrupted while writing", "the daemon reads it afresh by itself"),
    LedgerFault.CLOSED: ("is closed", "open it again"),
}

_FAULT_OF_CODE = {
    sqlite3.SQLITE_CANTOPEN: LedgerFault.CANNOT_OPEN,
    sqlite3.SQLITE_NOTADB: LedgerFault.NOT_A_LEDGER,
    sqlite3.SQLITE_CORRUPT: LedgerFault.DAMAGED,
    sqlite3.SQLITE_FULL: LedgerFault.DISK_FULL,
    sqlite3.SQLITE_READONLY: LedgerFault.READ_ONLY,
    sqlite3.SQLITE_BUSY: LedgerFault.BUSY,
    sqlite3.SQLITE_LOCKED: LedgerFault.BUSY,
}


class LedgerError(OSError):
    """The ledger cannot be relied on: no dose until it can. The message names the file and the next step."""

    def __init__(self, fault: LedgerFault, path: Path, detail: str = "") -> None:
        what, next_step = _SAYS[fault]
        super().__init__(f"{path} {what}{f' ({detail})' if detail else ''}: {next_step}")
        self.fault = fault
        self.path = path


def ledger_error(path: Path, error: sqlite3.Error) -> LedgerError:
    """Our error for one of SQLite's; the low byte of its code is the kind."""
    if isinstance(error, sqlite3.ProgrammingError):
        return LedgerError(LedgerFault.CLOSED, path, str(error))
    fault = _FAULT_OF_CODE.get(getattr(error, "sqlite_errorcode", 0) & 0xFF, LedgerFault.DISK)
    return LedgerError(fault, path, str(error))


def checksum(fields: Iterable[Field]) -> int:
    """CRC-32 of one row, its fields in the order of COLUMNS; equal for 5 and 5.0, and for 0 and -0."""
    return crc32(repr([_plain(field) for field in fields]).encode())


def _plain(field: Field) -> Field:
    """As it comes back from the file: no enums, no integers in a REAL column, no negative zero."""
    if isinstance(field, str):
        return str(field)
    return None if field is None else float(field) + 0.0


def open_file(path: Path) -> sqlite3.Connection:
    """The ledger at `path`, made if there is none, checked from end to end. Each commit reaches the disk.

    Raises LedgerError; nothing is changed in a file that is not a ledger of this version.
    """
    try:
        if not path.exists():
            _create(path)
        db = sqlite3.connect(path, timeout=BUSY_S, isolation_level=None)
    except sqlite3.Error as error:
        raise ledger_error(path, error) from error
    except LedgerError:
        raise
    except OSError as error:
        raise LedgerError(LedgerFault.CANNOT_OPEN, path, error.strerror or str(error)) from error
    try:
        _check(db, path)
        if _pragma(db, "journal_mode = WAL") != "wal":  # an error shows only once the answer is fetched
            raise LedgerError(LedgerFault.DISK, path, "no -wal file beside it")
        db.execute("PRAGMA synchronous = FULL")
        db.execute("PRAGMA foreign_keys = ON")
    except sqlite3.Error as error:
        db.close()
        raise ledger_error(path, error) from error
    except ValueError as error:  # text that is no text
        db.close()
        raise LedgerError(LedgerFault.DAMAGED, path, str(error)) from error
    except LedgerError:
        db.close()
        raise
    return db


def _create(path: Path) -> None:
    """Make an empty ledger under another name and move it in place, so that a half-made one is never met."""
    if path.with_name(path.name + "-wal").exists():
        raise LedgerError(LedgerFault.MOVED, path, "its -wal file is still there")
    new = path.with_name(path.name + ".new")
    new.unlink(missing_ok=True)
    db = sqlite3.connect(new, isolation_level=None)
    try:
        db.executescript(f"BEGIN; {SCHEMA} COMMIT;")
    finally:
        db.close()
    new.replace(path)
    sync(path.parent)


def _check(db: sqlite3.Connection, path: Path) -> None:
    """Raise LedgerError unless this is a whole ledger of our version."""
    must_be_ours(db, path)
    said = _pragma(db, "integrity_check(1)")
    if said != "ok":
        raise LedgerError(LedgerFault.DAMAGED, path, str(said))
    for table in COLUMNS:
        _check_rows(db, path, table)


def must_be_ours(db: sqlite3.Connection, path: Path) -> None:
    """Raise LedgerError unless this says that it is a ledger of our version, whatever is in it."""
    if path.stat().st_size == 0:
        raise LedgerError(LedgerFault.DAMAGED, path, "it is empty")
    if _pragma(db, "application_id") != APPLICATION_ID:
        raise LedgerError(LedgerFault.NOT_A_LEDGER, path)
    version = _pragma(db, "user_version")
    if version != SCHEMA_VERSION:
        raise LedgerError(LedgerFault.NEWER, path, f"format {version}, this program knows {SCHEMA_VERSION}")


def _check_rows(db: sqlite3.Connection, path: Path, table: str) -> None:
    """Every row says what was written, and none is missing."""
    count = 0
    rows = db.execute(f"SELECT {', '.join(COLUMNS[table])}, crc FROM {table} ORDER BY number")
    for count, row in enumerate(rows, start=1):
        if row[0] != count or checksum(row[:-1]) != row[-1]:
            raise LedgerError(LedgerFault.DAMAGED, path, f"{table}, line {count}")
    if table in NUMBERED and last_number(db, table) != count:
        raise LedgerError(LedgerFault.DAMAGED, path, f"{table} ends early, at line {count}")


def fold(db: sqlite3.Connection) -> None:
    """Bring what was committed from the -wal file into the ledger itself, and empty that file.

    A line spoiled in the ledger is found by its checksum; one spoiled in the -wal file ends it for SQLite,
    unseen, and with it all that was committed later.
    """
    db.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def last_number(db: sqlite3.Connection, table: str) -> int:
    """The last line number given out in `table`, 0 before the first."""
    row = db.execute("SELECT seq FROM sqlite_sequence WHERE name = ?", (table,)).fetchone()
    return int(row[0]) if row else 0


def read_row(db: sqlite3.Connection, table: str, number: int) -> dict[str, Any] | None:
    """One line of `table` by column, without its checksum; None if there is no such line."""
    columns = COLUMNS[table]
    row = db.execute(f"SELECT {', '.join(columns)} FROM {table} WHERE number = ?", (number,)).fetchone()
    return None if row is None else dict(zip(columns, row, strict=True))


def write_row(db: sqlite3.Connection, table: str, row: Mapping[str, Field]) -> None:
    """Write one whole line of `table`, new or in place of the one with its number, with its checksum."""
    columns = (*COLUMNS[table], "crc")
    fields = [str(row[column]) if isinstance(row[column], str) else row[column] for column in COLUMNS[table]]
    places = ", ".join("?" * len(columns))
    changes = ", ".join(f"{column} = excluded.{column}" for column in columns[1:])
    insert = f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({places})"
    db.execute(f"{insert} ON CONFLICT (number) DO UPDATE SET {changes}", (*fields, checksum(fields)))


def line(text: str) -> str:
    """Text from a person or a message as one line that any file and terminal bears, at most LINE_LENGTH long."""
    return " ".join(text.encode("utf-8", "replace").decode().split())[:LINE_LENGTH]


def nowhere() -> sqlite3.Connection:
    """A closed connection, to stand where there is no file."""
    db = sqlite3.connect(":memory:")
    db.close()
    return db


def back_up(db: sqlite3.Connection, path: Path) -> None:
    """Copy a whole ledger to `path`, in place of an older copy only once all is there. Raises LedgerError."""
    new = path.with_name(path.name + ".new")
    try:
        new.unlink(missing_ok=True)
        _copy(db, new)
        new.replace(path)
    except sqlite3.Error as error:
        new.unlink(missing_ok=True)
        raise ledger_error(path, error) from error
    except OSError as error:
        raise LedgerError(LedgerFault.CANNOT_OPEN, path, error.strerror or str(error)) from error


def _copy(db: sqlite3.Connection, path: Path) -> None:
    """All of `db` into one new file that needs no side files."""
    copy = sqlite3.connect(path, isolation_level=None)
    try:
        db.backup(copy)
        copy.execute("PRAGMA journal_mode = DELETE")
    finally:
        copy.close()


def _pragma(db: sqlite3.Connection, name: str) -> object:
    return db.execute(f"PRAGMA {name}").fetchone()[0]
