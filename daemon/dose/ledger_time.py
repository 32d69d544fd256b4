"""The time of a ledger: the boots it has seen, in memory as in its file, and the proven time they make."""

from __future__ import annotations

import sqlite3
from dataclasses import asdict, replace

from daemon.dose.ledger_file import COLUMNS, write_row
from daemon.dose.windows import Boot, Stamp, join, observe, offsets, wall_news
from drivers.rig import Clock, boot_id_of, utc_is_trusted

KEEP_TIME_EVERY_S = 900.0  # a crash loses at most this much proven time; 96 small commits a day


def stamp_of(clock: Clock, fresh_boot_id: str) -> Stamp:
    """One look at the rig's clocks. fresh_boot_id: made once per start, used if the clock names no boot."""
    return Stamp(boot_id_of(clock, fresh_boot_id), clock.monotonic_s(), clock.utc(), utc_is_trusted(clock))


class LedgerTime:
    """From one look at the clocks to the next. What goes into the file goes there in the caller's transaction.

    Once that is committed, `written` says so.
    """

    def __init__(self, stamp: Stamp) -> None:
        self._boots: tuple[Boot, ...] = join((), stamp)
        self._written: dict[int, Boot] = {}
        self._offset_s: dict[int, float] = offsets(self._boots)

    @property
    def boot(self) -> Boot:
        """The one that we are in."""
        return self._boots[-1]

    def read(self, db: sqlite3.Connection, stamp: Stamp) -> None:
        """Take the boots of the file, and join `stamp` to them."""
        rows = db.execute(f"SELECT {', '.join(COLUMNS['boots'])} FROM boots ORDER BY number")
        boots = tuple(Boot(*row) for row in rows)
        self._written = {boot.number: boot for boot in boots}
        self._boots = join(boots, stamp)
        self._offset_s = offsets(self._boots)

    def at_s(self, stamp: Stamp) -> float:
        """Monotonic s in our boot; a foreign or backward clock stands still."""
        boot = self._boots[-1]
        ours = stamp.boot_id == boot.boot_id and stamp.at_s >= boot.last_s
        return stamp.at_s if ours else boot.last_s

    def proven_s(self, stamp: Stamp) -> float:
        """Proven time (daemon.dose.windows) at `stamp`; a foreign or backward clock proves nothing new."""
        return self.at_s(stamp) + self._offset_s[self._boots[-1].number]

    def proven_of(self, boot: int, at_s: float) -> float:
        """Proven time of a moment, told as the ledger's lines tell it: by boot, and monotonic s in it."""
        return at_s + self._offset_s[boot]

    def in_boot_s(self, proven_s: float) -> float:
        """Monotonic s in our boot of a moment in proven time."""
        return proven_s - self._offset_s[self.boot.number]

    def is_news(self, stamp: Stamp) -> bool:
        """Whether it is time to write down that time passes, or the wall clock has something to say."""
        if stamp.boot_id != self.boot.boot_id:
            return False
        return stamp.at_s - self.boot.last_s >= KEEP_TIME_EVERY_S or wall_news(self.boot, stamp)

    def observe(self, stamp: Stamp) -> None:
        """What this look at the clocks teaches of the boots; `write` brings it into the file."""
        self._boots = observe(self._boots, stamp)

    def write(self, db: sqlite3.Connection) -> bool:
        """Every boot that differs from the file. Whether an offset moved: then all must be counted anew."""
        for boot in self._boots:
            if boot != self._written.get(boot.number):
                write_row(db, "boots", asdict(boot))
        before_s, self._offset_s = self._offset_s, offsets(self._boots)
        return self._offset_s != before_s

    def write_reached(self, db: sqlite3.Connection, stamp: Stamp) -> None:
        """That our boot has come to `stamp`."""
        self._boots = (*self._boots[:-1], replace(self.boot, last_s=self.at_s(stamp)))
        write_row(db, "boots", asdict(self.boot))

    def written(self) -> None:
        """What was written is in the file."""
        self._written = {boot.number: boot for boot in self._boots}
