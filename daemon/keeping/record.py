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
from daemon.dose.windows import DAY_S, OPPOSITE, Stamp
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

    def acid_and_base(self) -> dict[Role, tuple[Given, ...]]:
        """All that was given of each of its own into the water that is in, oldest first."""
        try:
            return {role: self._ledger.given(self._name, role) for role in OPPOSITE}
        except LedgerError:
            return {}

    def usual(self, role: Role, stamp: Stamp) -> Usual | None:
        """What this tank usually takes of acid or base in a day; None where that is not known."""
        ledger = self._ledger
        if role not in OPPOSITE or ledger.fault is not None:
            return None
        try:
            return usual_of(ledger.given(self._name, role), ledger.proven_s(stamp), self._cleared(stamp))
        except LedgerError:
            return None

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
