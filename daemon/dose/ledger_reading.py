"""The ledger read by others than the daemon, while it runs and when it does not. Never written to."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from daemon.dose.ledger_doses import read_entries
from daemon.dose.ledger_file import BUSY_S, LedgerError, LedgerFault, ledger_error, must_be_ours
from daemon.dose.ledger_renewed import NEW_WATER
from daemon.values import Entry

FILE = "ledger.db"


@dataclass(frozen=True, slots=True)
class LedgerSeen:
    """Doses from a day on, oldest first, and every time a reservoir was given new water: its name and when."""

    doses: tuple[Entry, ...] = ()
    new_water: tuple[tuple[str, datetime], ...] = ()


def seen(folder: Path, since: date) -> LedgerSeen:
    """What the ledger in a state folder tells from that day (UTC) on; nothing where there is none.

    Raises LedgerError.
    """
    path = folder / FILE
    if not path.exists():
        return LedgerSeen()
    try:
        db = sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True, timeout=BUSY_S)
        try:
            must_be_ours(db, path)
            doses = read_entries(db, "WHERE utc >= ? ORDER BY e.number", (since.isoformat(),))
            changed = db.execute(
                "SELECT reservoir, utc FROM refills WHERE pump = ? ORDER BY number", (NEW_WATER,)
            )
            return LedgerSeen(doses, tuple((name, datetime.fromisoformat(utc)) for name, utc in changed))
        finally:
            db.close()
    except sqlite3.Error as error:
        raise ledger_error(path, error) from error
    except ValueError as error:
        raise LedgerError(LedgerFault.DAMAGED, path, str(error)) from error
