"""By which rate each pump of a reservoir is driven, measuring it anew, and the hours of its tube."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date

from config.pump import Pump
from config.settings import Reservoir as Table
from daemon.dose.ledger import Ledger, LedgerError
from daemon.dose.permit import PumpLimits, limits_of
from daemon.measure.book import CalibrationBook
from daemon.measure.rate import (
    Guess,
    InForce,
    PumpRate,
    RateFit,
    TimedRun,
    Tube,
    fit_rate,
    in_force,
)
from daemon.values import PumpState, Role
from drivers.pump import PeristalticPump

HOUR_S = 3600.0


@dataclass(frozen=True, slots=True)
class _Known:
    """The rate in force and what people see of it, as long as all that it follows from is the same."""

    measured: PumpRate | None
    tube: Tube | None
    today: date
    rate: InForce
    state: PumpState

    def holds(self, measured: PumpRate | None, tube: Tube | None, today: date) -> bool:
        """Whether it follows from these very ones, as at nearly every pass."""
        return measured is self.measured and tube is self.tube and today == self.today


@dataclass(frozen=True, slots=True)
class Ran:
    """A timed run whose mL nobody has told yet. ml: what it was charged at."""

    entry: int
    run_s: float
    ml: float


class PumpRates:
    """The rates of one reservoir's pumps. limits: those of the settings, at the rate in force."""

    def __init__(
        self,
        name: str,
        table: Table,
        pumps: Mapping[Role, PeristalticPump],
        book: CalibrationBook,
        ledger: Ledger,
    ) -> None:
        self.limits: dict[Role, PumpLimits] = {}
        self.ran: dict[Role, list[Ran]] = {role: [] for role in pumps}
        self._name = name
        self._table = table
        self._pumps = pumps
        self._book = book
        self._ledger = ledger
        self._guesses = {role: _guess(table, table.pump[role.value]) for role in pumps}
        self._known: dict[Role, _Known] = {}
        for role in pumps:
            self._drive(role)

    def _drive(self, role: Role) -> None:
        """Driver and caps reckon by the same rate, from one moment on."""
        rate = in_force(self._guesses[role], self._book.rate(self._name, role), None, date.min)
        self._pumps[role].ml_per_s = rate.ml_per_s
        self.limits[role] = replace(limits_of(role, self._table), ml_per_s=rate.ml_per_s)

    def of(self, role: Role, today: date) -> InForce:
        """The rate in force, and how far it may be believed."""
        return self._now(role, today).rate

    def fit(self, role: Role, measured_ml: tuple[float, ...], today: date) -> RateFit:
        """What the runs so far show, with what was read of each. As many as there were runs."""
        pairs = zip(self.ran[role], measured_ml, strict=True)
        runs = [TimedRun(ran.entry, ran.run_s, ml) for ran, ml in pairs]
        return fit_rate(runs, self._guesses[role].ml_per_s, today.isoformat())

    def keep(self, role: Role, rate: PumpRate) -> None:
        """Drive by a rate just measured, from now on. Raises BookError; all is then as before."""
        self._book.put_rate(self._name, role, rate)
        self.ran[role] = []
        self._drive(role)

    def states(self, today: date) -> dict[Role, PumpState]:
        """Each pump, for people to see."""
        return {role: self._now(role, today).state for role in self.limits}

    def _now(self, role: Role, today: date) -> _Known:
        """Worked out anew only where the book, the tube or the day is another than at the last look."""
        measured, tube = self._book.rate(self._name, role), self._tube(role)
        known = self._known.get(role)
        if known is None or not known.holds(measured, tube, today):
            rate = in_force(self._guesses[role], measured, tube, today)
            state = _state(rate, tube, self._table.pump[role.value].tube_hours)
            known = self._known[role] = _Known(measured, tube, today, rate, state)
        return known

    def _tube(self, role: Role) -> Tube | None:
        """The tube that is in; None while the ledger cannot tell (nothing is dosed then)."""
        try:
            return self._ledger.tube(self._name, role)
        except LedgerError:
            return None


def _state(rate: InForce, tube: Tube | None, lasts_h: float | None) -> PumpState:
    return PumpState(
        ml_per_s=rate.ml_per_s,
        measured_on=rate.day,
        standing=rate.standing,
        age_days=rate.age_days,
        tube_h=None if tube is None else tube.run_s / HOUR_S,
        tube_lasts_h=lasts_h,
    )


def _guess(table: Table, pump: Pump) -> Guess:
    day = "" if pump.measured_on is None else pump.measured_on.isoformat()
    return Guess(pump.ml_per_s, day, table.pump_rate_warn_days, table.pump_rate_expire_days)
