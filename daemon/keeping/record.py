"""What the ledger tells of one reservoir; nothing where it cannot be read; every permit says that by itself.

Runs on the loop's thread.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from config.pump import MIXING_TIMES
from config.settings import Reservoir as Table
from daemon import words
from daemon.dose.ledger import Ledger, LedgerError
from daemon.dose.ledger_renewed import Water
from daemon.dose.strength import stock_a_of_a_fill_ml
from daemon.dose.usual import NEVER, Cleared, Given, Usual, usual_of
from daemon.dose.windows import DAY_S, Stamp
from daemon.values import DoseReason, Entry, Role, WaterUse

NEWEST = 50  # doses


class Record:
    """The past of the reservoir `name`."""

    def __init__(
        self, name: str, table: Table, ledger: Ledger, calibrated_between: Callable[[datetime, datetime], bool]
    ) -> None:
        """calibrated_between: whether its pH probe was, by the wall clock."""
        self._name = name
        self._table = table
        self._ledger = ledger
        self._calibrated_between = calibrated_between

    def doses(self, most: int = NEWEST) -> tuple[Entry, ...]:
        """The newest doses, newest first, at most so many."""
        try:
            return self._ledger.recent(most, self._name)
        except LedgerError:
            return ()

    def doses_into_this_water(self) -> tuple[Entry, ...]:
        """The newest doses, newest first, as far as they went into the water that is in."""
        water, doses = self._water(), self.doses()
        if water is None or not doses or doses[-1].number > water.after_entry:  # as nearly always
            return doses
        return tuple(dose for dose in doses if dose.number > water.after_entry)

    def since_any_s(self, stamp: Stamp) -> float | None:
        """Seconds since the last run of any pump ended; None if there never was one."""
        return self._ledger.totals(self._name, Role.PH_DOWN, stamp).since_any_s

    def hand_mixes(self, since_any_s: float | None) -> bool:
        """Whether what a person poured by hand, and told, has not spread through the water yet."""
        if since_any_s is None or since_any_s >= MIXING_TIMES * self._table.mixing_time_s:
            return False
        return any(entry.reason is DoseReason.BY_HAND for entry in self.doses(1))

    def used(self, stamp: Stamp) -> WaterUse | None:
        """How long the water has been in, and how much was fed into it."""
        water = self._water()
        if water is None:
            return None
        days = (stamp.utc - water.utc).total_seconds() / DAY_S if stamp.utc_trusted else 0.0
        return WaterUse(days, water.stock_a_ml / stock_a_of_a_fill_ml(self._table))

    def acid_and_base(self) -> tuple[Given, ...]:
        """All that went into the water that is in, oldest first."""
        try:
            return self._ledger.given(self._name)
        except LedgerError:
            return ()

    def usual(self, pump: Role, ph: float, since_s: float, stamp: Stamp) -> Usual | None:
        """How far pH came back against acid or base, and how far is usual; None where nothing can be told.

        since_s: what was before it does not count, in proven s.
        """
        ledger = self._ledger
        if ledger.fault is not None:
            return None
        try:
            given, cleared = ledger.given(self._name), self._cleared(stamp)
        except LedgerError:
            return None
        return usual_of(given, pump, ph, ledger.proven_s(stamp), cleared, since_s)

    def _cleared(self, stamp: Stamp) -> Cleared:
        lock = self._ledger.cleared(self._name)
        if lock is None:
            return NEVER
        was_off = self._calibrated_between(lock.utc, stamp.utc)
        return Cleared(lock.at_s, agreed=words.doubts_ph(lock.reason) and not was_off)

    def _water(self) -> Water | None:
        """The water that is in; None where nothing tells."""
        try:
            return self._ledger.water(self._name)
        except LedgerError:
            return None
