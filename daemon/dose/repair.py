"""A new ledger in place of one that cannot be relied on; what can still be read of the old one goes into it.

    newest good backup  +  whole lines of the damaged file after it  +  every pump charged for a whole day
                                                                     +  every reservoir locked

The damaged file is kept aside, never deleted. Whenever this is interrupted, what lies at the ledger's place
cannot be taken for a ledger, or is the new one.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from config.pump import hard_limits
from daemon.disk import sync
from daemon.dose.ledger_file import COLUMNS, LedgerError, LedgerFault, checksum, last_number, open_file, write_row
from daemon.values import Condition, DoseReason, Outcome, Role

MENDED = (LedgerFault.DAMAGED, LedgerFault.NOT_A_LEDGER, LedgerFault.MOVED)
"""What a repair is for. A ledger of a newer version is whole, and a busy or unreadable one may be."""

SIDE_FILES = ("", "-wal", "-shm")
WHO = "repair"
LOCKED = "the ledger was damaged and made anew: what was dosed before is not known"
CHARGED = "what was dosed before the repair is not known"


@dataclass(frozen=True, slots=True)
class Repaired:
    """What a repair did. aside: where the damaged file lies; backup: the one begun from, None without any."""

    fault: LedgerError
    aside: Path
    backup: Path | None
    lines_saved: int


def repair(
    path: Path, backups: Path, pumps: Mapping[str, Sequence[Role]], now: datetime, version: str
) -> Repaired | None:
    """Make a new ledger at `path`; None, with nothing changed, where the one that is there can be relied on.

    backups: the folder of copies. pumps: of each reservoir, to be charged and locked. Nothing else may have the
    ledger open. Raises LedgerError for what a repair cannot mend, OSError where files cannot be
    written; the damaged one is kept.
    """
    fault = _fault_of(path)
    if fault is None:
        return None
    if fault.fault not in MENDED:
        raise fault
    aside = _kept_aside(path, now)
    new = path.with_name(path.name + ".repaired")
    _remove(new)
    backup = _begun(new, backups)
    with closing(open_file(new)) as db:
        saved = _fill(db, tuple(_whole_lines(aside / path.name, last_number(db, "entries"))), pumps, now, version)
    _put_in_place(new, path)
    return Repaired(fault, aside, backup, saved)


def _fault_of(path: Path) -> LedgerError | None:
    """Why the ledger cannot be relied on; found on a copy, so that looking changes nothing."""
    with tempfile.TemporaryDirectory() as folder:
        try:
            _copy(path, Path(folder))
            open_file(Path(folder) / path.name).close()
        except LedgerError as error:
            return LedgerError(error.fault, path)
    return None


def _copy(path: Path, folder: Path) -> None:
    for side in SIDE_FILES:
        source = path.with_name(path.name + side)
        if source.exists():
            shutil.copy2(source, folder / source.name)


def _kept_aside(path: Path, now: datetime) -> Path:
    """The folder beside the ledger that the damaged file has been copied to, durably."""
    aside = path.parent / f"damaged-{now:%Y%m%d-%H%M%S}"
    aside.mkdir(parents=True)
    _copy(path, aside)
    for kept in (*aside.iterdir(), aside, path.parent):
        sync(kept)
    return aside


def _remove(path: Path) -> None:
    for side in SIDE_FILES:
        path.with_name(path.name + side).unlink(missing_ok=True)


def _begun(new: Path, backups: Path) -> Path | None:
    """Put the newest good backup at `new`; None, and nothing there, where there is none."""
    copies = sorted(backups.glob("*.db"), key=lambda copy: copy.stat().st_mtime, reverse=True)
    for copy in copies:
        shutil.copyfile(copy, new)
        with suppress(LedgerError):
            open_file(new).close()
            return copy
        _remove(new)
    return None


def _whole_lines(damaged: Path, after: int) -> Iterator[dict[str, Any]]:
    """The doses after this line of which every byte is as it was written, as far as the file can be read."""
    columns = COLUMNS["entries"]
    query = f"SELECT {', '.join(columns)}, crc FROM entries WHERE number > ? ORDER BY number"
    with tempfile.TemporaryDirectory() as folder:
        _copy(damaged, Path(folder))
        with suppress(sqlite3.Error, ValueError), closing(sqlite3.connect(Path(folder) / damaged.name)) as db:
            for row in db.execute(query, (after,)):
                if checksum(row[:-1]) == row[-1]:
                    yield dict(zip(columns, row[:-1], strict=True))


def _fill(
    db: sqlite3.Connection,
    saved: Sequence[dict[str, Any]],
    pumps: Mapping[str, Sequence[Role]],
    now: datetime,
    version: str,
) -> int:
    """Write the saved lines, a day's charge for every pump, a lock for every reservoir. How many were saved."""
    db.execute("BEGIN IMMEDIATE")
    boot = _boot(db, now)
    placed = {"boot": boot, "at_s": 0.0}  # whenever it was: counted as if it were now
    for row in saved:
        note = f"{row['note']} (line {row['number']} before the repair)".strip()
        write_row(db, "entries", {**row, **placed, "note": note, "number": last_number(db, "entries") + 1})
    for reservoir, roles in pumps.items():
        for role in roles:
            write_row(
                db,
                "entries",
                {**_charge(reservoir, role, now, version), **placed, "number": last_number(db, "entries") + 1},
            )
        _lock(db, reservoir, boot, now)
    db.execute("COMMIT")
    return len(saved)


def _boot(db: sqlite3.Connection, now: datetime) -> int:
    number = 1 + int(db.execute("SELECT coalesce(max(number), 0) FROM boots").fetchone()[0])
    boot_id = f"{WHO}-{now:%Y%m%d%H%M%S}"
    times = {"first_s": 0.0, "last_s": 0.0, "off_s": 0.0, "anchor_s": None, "anchor_utc_s": None, "doubted": 0}
    write_row(db, "boots", {"number": number, "boot_id": boot_id, **times})
    return number


def _charge(reservoir: str, role: Role, now: datetime, version: str) -> dict[str, Any]:
    """A dose as large as any day may hold."""
    return {
        "reservoir": reservoir,
        "pump": role,
        "ml": hard_limits(role).per_day_ml,
        "run_s": 1.0,
        "reason": DoseReason.REPAIR,
        "numbers": "{}",
        "utc": now.isoformat(),
        "utc_trusted": 0,
        "version": version,
        "outcome": Outcome.FAILED,
        "note": CHARGED,
    }


def _lock(db: sqlite3.Connection, reservoir: str, boot: int, now: datetime) -> None:
    row: dict[str, Any] = {
        "number": last_number(db, "conditions") + 1,
        "reservoir": reservoir,
        "condition": Condition.LOCKED,
        "reason": LOCKED,
        "who": WHO,
        "boot": boot,
        "at_s": 0.0,
        "utc": now.isoformat(),
        "for_s": None,
        "ended_by": None,
        "ended_utc": None,
    }
    write_row(db, "conditions", row)


def _put_in_place(new: Path, path: Path) -> None:
    """At no moment is there no file, or an old one without its side files: either might pass for a ledger."""
    sync(new)
    stopper = path.with_name(path.name + ".stopper")
    stopper.write_text("A ledger is being repaired here.\n", encoding="utf-8")
    os.replace(stopper, path)
    for side in SIDE_FILES[1:]:
        path.with_name(path.name + side).unlink(missing_ok=True)
    sync(path.parent)
    os.replace(new, path)
    sync(path.parent)
