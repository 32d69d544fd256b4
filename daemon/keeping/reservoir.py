"""One reservoir between its instruments and its pumps: decide, dose, tell. Runs on the loop's thread.

Holds what must be remembered from one pass to the next; all deciding is done by the pure rooms.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from functools import partial

from config.settings import Reservoir as Table
from daemon import words
from daemon.alarm.life import Cause
from daemon.dose.answer_file import AnswerFile
from daemon.dose.doubt_file import DoubtFile, Doubts
from daemon.dose.ledger import Ledger, LedgerError
from daemon.dose.level import Fall
from daemon.dose.reversals import reversals
from daemon.dose.stages import Ramp, Targets
from daemon.dose.windows import OPPOSITE, Stamp
from daemon.keeping.acidity import Acidity
from daemon.keeping.causes import Known, causes
from daemon.keeping.feed import Feed
from daemon.keeping.instruments import Instruments, Wired
from daemon.keeping.permits import Permits, Water
from daemon.keeping.rates import PumpRates
from daemon.keeping.record import Record
from daemon.keeping.waiting import waiting_for
from daemon.measure.air import deficit_kpa
from daemon.measure.book import CalibrationBook
from daemon.measure.echo import Echo
from daemon.measure.standards import SHIPPED, Shelf
from daemon.values import (
    INTO_A_CUP,
    Cap,
    Condition,
    DoseReason,
    DoseRequest,
    Outcome,
    Permit,
    Quantity,
    Refusal,
    ReservoirState,
    Role,
)
from drivers.pump import PeristalticPump
from drivers.pump_run import PumpError

LAST_DOSES = 5
NO_RUN_S = 0.001  # of a charge for which no pump turns: the ledger's lines take no less than something
WET = "the tray below pumps and bottles is wet: find the leak, dry it; goggles and gloves, it may be acid"
EXCHANGED = "pH and EC each show what the other one showed before: their plugs are exchanged; put them right"
STOPPED = "told to stop before it began"


@dataclass(frozen=True, slots=True)
class Parts:
    """What a reservoir is made of. only_watch: why the whole program only watches now, "" where it need not."""

    wired: Wired
    pumps: Mapping[Role, PeristalticPump]
    book: CalibrationBook
    ledger: Ledger
    answers: AnswerFile
    doubts: DoubtFile
    only_watch: Callable[[Stamp], str] = lambda _: ""
    shelf: Shelf = SHIPPED


class KeptReservoir:
    """One reservoir of the settings, with its parts."""

    def __init__(self, name: str, table: Table, parts: Parts) -> None:
        self.name = name
        self.table = table
        doubts = parts.doubts.known(name)
        self.instruments = Instruments(name, table, parts.wired, parts.book, parts.shelf, doubts)
        self.last_decision: Permit | Refusal | None = None
        self.last_entry = 0  # the ledger's line of the last run
        self.run_note = ""  # what the keeper said of the last run
        self._parts = parts
        self._starts_as = Condition(table.start)
        self._shown = sorted(parts.wired.probes, key=tuple(Quantity).index)
        self.rates = PumpRates(name, table, parts.pumps, parts.book, parts.ledger)
        self._limits = self.rates.limits
        self._record = Record(
            name, table, parts.ledger, partial(self.instruments.calibrated_between, Quantity.PH)
        )
        self._leak: Fall | None = None
        self._ramp = Ramp(table)
        self._bands = _bands_of(table)
        self._acidity = Acidity(name, table, self.instruments, self._record, parts.answers, doubts=doubts)
        self._feed = Feed(name, table, self.instruments)
        water = Water(self.instruments, self._record, self._acidity, self._feed)
        self._permits = Permits(name, table, water, self.rates, parts.ledger, self.condition)

    # decide

    def condition(self, stamp: Stamp) -> Condition:
        """A lock, else a hold, else how the settings start it. Never `keeping` while a probe is in a standard."""
        standing = self._parts.ledger.standing(self.name, stamp)
        if standing is not None:
            return standing.condition
        if self.instruments.visit is not None:
            return Condition.HELD
        return Condition.WATCHING if self._parts.only_watch(stamp) else self._starts_as

    def decide(self, stamp: Stamp) -> Permit | Refusal | None:
        """What may be dosed now; else why what is wanted most may not, None where nothing is wanted."""
        if self._ramp.follow(stamp):
            self._aim_at(self._ramp.targets)
        if self.instruments.tray_is_wet:
            self.lock(WET, stamp)
        if self.instruments.exchanged:
            self.lock(EXCHANGED, stamp)
        self._watch_level(stamp)
        self._watch_effects(stamp)
        self._keep_doubts()
        self._acidity.follow_water(self._parts.ledger.proven_s(stamp))
        decisions = [
            self._permits.answer(wish, stamp) for wish in self._wishes(stamp) if wish.pump in self._limits
        ]
        permits = [decision for decision in decisions if isinstance(decision, Permit)]
        self.last_decision = next(iter(permits or decisions), None)
        self._stop_unusual(decisions, stamp)
        return self.last_decision

    def crop_counts_from(self, sown_on: date | None) -> None:
        """What the stages of the crop count from, by its diary; None leaves it to the settings."""
        self._ramp.sown_on = sown_on

    def _keep_doubts(self) -> None:
        here, acidity = self.instruments, self._acidity
        out = frozenset(here.out_of_service)
        doubts = Doubts(here.apart(), acidity.unproven, out, acidity.untold, here.lowest)
        self._parts.doubts.keep(self.name, doubts)

    def _aim_at(self, targets: Targets) -> None:
        """The crop's stage asks for something else than before."""
        self._acidity.aim_at(targets)
        self._feed.aim_at(targets.ec)
        bands = {Quantity.PH: (targets.ph_low, targets.ph_high), Quantity.EC: (targets.ec_low, targets.ec_high)}
        self._bands = {**self._bands, **bands}

    def _stop_unusual(self, decisions: list[Permit | Refusal], stamp: Stamp) -> None:
        """pH comes back further than it usually does: the probe may be drifting, so a person has to compare."""
        for refused in decisions:
            if not (isinstance(refused, Refusal) and refused.cap is Cap.USUAL):
                continue
            usual = self._acidity.usual(refused.request, stamp)
            if usual is not None:
                self.lock(words.unusual(refused.request.pump, usual), stamp)

    def _wishes(self, stamp: Stamp) -> tuple[DoseRequest, ...]:
        """What strength, level and pH ask for, most urgent first. Each dose waits until the last has mixed.

        Nothing while it is being looked at whether the last ones did anything: what else came in would hide it.
        """
        since_s = self._record.since_any_s(stamp)
        last_dose_s = None if since_s is None else stamp.at_s - since_s
        fed = self._feed.wishes(stamp.at_s, last_dose_s, self._record.doses_into_this_water)
        wish = self._acidity.wish(stamp.at_s, last_dose_s, self._parts.ledger.proven_s(stamp))
        if self._acidity.resting:
            return ()
        return fed if wish is None or self._feed.looking else (*fed, wish)

    def forget_water(self, stamp: Stamp) -> None:
        """New water is in: nothing that was learned of the old holds."""
        self._acidity.forget_water(self._parts.ledger.proven_s(stamp))
        self._feed.disturbed()
        self.instruments.new_water()

    def calibrated(self, quantity: Quantity, stamp: Stamp) -> None:
        """A probe was calibrated: what doses showed of it before says nothing of it now."""
        if quantity.kind is Quantity.PH:
            self._acidity.calibrated(self._parts.ledger.proven_s(stamp))

    @property
    def echo(self) -> Echo:
        """How the pH probe showed the doses."""
        return self._acidity.echo

    def _watch_level(self, stamp: Stamp) -> None:
        """A leak locks where something could be pumped after it; a person at work has the tap in hand."""
        if self.condition(stamp) not in (Condition.KEEPING, Condition.WATCHING):
            self.instruments.level_disturbed()
        self._leak = self.instruments.leak()
        if self._leak is not None and self._limits and self.condition(stamp) is Condition.KEEPING:
            self.lock(words.leak(self._leak, self.table.volume_l), stamp)

    def _watch_effects(self, stamp: Stamp) -> None:
        """Hold pH and strength against what doses should have done; nothing while people are at work."""
        condition = self.condition(stamp)
        at_work = condition not in (Condition.KEEPING, Condition.WATCHING)
        since_any_s = self._record.since_any_s(stamp)
        if at_work or self._record.hand_mixes(since_any_s):
            self._disturbed()
            return
        ph = self._acidity.watch(stamp.at_s, since_any_s)
        for finding in (ph, self._feed.watch()):
            if finding is not None and finding.latches and condition is Condition.KEEPING:
                self.lock(words.finding(finding), stamp)

    def _disturbed(self) -> None:
        """People are at work, or nobody knows what went in: what was being followed says nothing."""
        self._acidity.disturbed()
        self._feed.disturbed()

    def permit_prime(self, role: Role, ml: float, stamp: Stamp) -> Permit | Refusal:
        """Whether a person may run this pump by hand now. Raises KeyError where there is none."""
        return self._permits.prime(role, ml, stamp)

    def permit_timed(self, role: Role, run_s: float, stamp: Stamp) -> Permit | Refusal:
        """Whether a person may run this pump into a cylinder now, and how long. Raises KeyError as above."""
        return self._permits.timed(role, run_s, stamp)

    # dose

    def dose(self, allowed: Permit, stamp: Stamp, stopping: Callable[[], bool], by: str = "") -> Outcome | None:
        """Write the intent, run the pump, write the outcome. None where nothing ran for want of a ledger line.

        stopping: asked once more after the intent, whose writing may take long on a slow card. by: who asked for
        it, "" for the program itself.
        A ledger that cannot be written means no run; it then says so itself, in every later refusal.
        """
        try:
            number = self.last_entry = self._parts.ledger.intend(allowed, stamp, by)
        except LedgerError:
            self.last_decision = Refusal(allowed.request, Cap.LEDGER)
            return None
        outcome, self.run_note = (Outcome.FAILED, STOPPED) if stopping() else self._run(allowed)
        self._settle(number, outcome, self.run_note)
        self._expect_effect(allowed, outcome, stamp)
        return outcome

    def charge_more(self, role: Role, ml: float, who: str, stamp: Stamp) -> None:
        """Charge what timed runs gave beyond what they were charged at, if anything; less is never paid back.

        who: told it. Raises LedgerError.
        """
        if not ml > 0.0:
            return
        self._charge(DoseRequest(self.name, role, ml, DoseReason.MEASURE, {"measured_ml": ml}), stamp, who)

    def poured(self, role: Role, ml: float, note: str, stamp: Stamp) -> None:
        """A person has poured this by hand: charged as a dose, waited for as one, and not judged as one.

        Raises LedgerError.
        """
        self._charge(DoseRequest(self.name, role, ml, DoseReason.BY_HAND), stamp, note)
        self._acidity.poured(stamp.at_s)
        self._feed.disturbed()

    def _charge(self, request: DoseRequest, stamp: Stamp, note: str = "") -> None:
        ledger = self._parts.ledger
        ledger.settle(ledger.intend(Permit(request, request.ml, NO_RUN_S), stamp), Outcome.DONE, note)

    def _expect_effect(self, allowed: Permit, outcome: Outcome, stamp: Stamp) -> None:
        """What this dose should now do to pH, and whether acid and base fight."""
        if outcome is not Outcome.DONE or allowed.request.reason in INTO_A_CUP:
            self._disturbed()
            return
        end_s = stamp.at_s + allowed.run_s
        self._feed.dosed(allowed, end_s)
        self._acidity.dosed(allowed, end_s)
        if allowed.request.pump not in OPPOSITE:
            return
        if (finding := reversals(self._record.acid_and_base(), self._parts.ledger.proven_s(stamp))) is not None:
            self.lock(words.finding(finding), stamp)

    def _run(self, allowed: Permit) -> tuple[Outcome, str]:
        try:
            report = self._parts.pumps[allowed.request.pump].deliver(allowed.ml)
        except PumpError as error:
            return Outcome.FAILED, str(error)
        return Outcome(report.outcome), report.note

    def _settle(self, number: int, outcome: Outcome, note: str) -> None:
        try:
            self._parts.ledger.settle(number, outcome, note)
        except LedgerError:
            return  # the intent stands and is charged in full; the ledger says that it is broken

    def lock(self, reason: str, stamp: Stamp) -> None:
        """Latch a safety stop. It holds even where it cannot be written down."""
        try:
            self._parts.ledger.lock(self.name, reason, "evenwater", stamp)
        except LedgerError:
            return  # locked in memory, and the ledger alarms

    # tell

    def causes(self, stamp: Stamp, standing: frozenset[str] = frozenset()) -> Iterator[Cause]:
        """Everything that is true now and may call for a person. standing: the alarms that stand so far."""
        return causes(self._known(stamp, standing))

    def _known(self, stamp: Stamp, alarms: frozenset[str]) -> Known:
        ledger, table = self._parts.ledger, self.table
        standing = ledger.standing(self.name, stamp)
        return Known(
            name=self.name,
            table=table,
            bands=self._bands,
            verdicts=self.instruments.verdicts,
            decision=self.last_decision,
            limits=self._limits,
            spent={role: ledger.totals(self.name, role, stamp) for role in self._limits},
            stood=None if standing is None else (standing.condition, standing.reason),
            moved=self._acidity.moved(stamp.at_s),
            leak=self._leak,
            drowned=self.instruments.drowned(),
            falls_fast=self.instruments.falls_too_fast(),
            stands=self.instruments.stands(),
            water=self._record.used(stamp),
            too_strong=self._acidity.too_strong(),
            little=self._acidity.little(stamp.at_s),
            pumps=self.rates.states(stamp.utc.date()),
            ageing=self.instruments.ageing(stamp.utc.date()),
            standing=alarms,
            unstirred=self.instruments.has_circulation and not self.instruments.circulation_on,
        )

    def state(self, stamp: Stamp) -> ReservoirState:
        """This reservoir as the end of the pass found it."""
        standing, condition = self._parts.ledger.standing(self.name, stamp), self.condition(stamp)
        return ReservoirState(
            name=self.name,
            title=self.table.title,
            condition=condition,
            condition_reason=self._parts.only_watch(stamp) if standing is None else standing.reason,
            condition_until=None if standing is None else self._parts.ledger.until(standing, stamp),
            verdicts={quantity: self.instruments.verdicts[quantity] for quantity in self._shown},
            bands=self._bands,
            waiting_for=self._waiting_for(condition, stamp),
            last_doses=self._record.doses(LAST_DOSES),
            last_decision=self.last_decision,
            caps=self._permits.use(stamp),
            pumps=self.rates.states(stamp.utc.date()),
            noise_v=self.instruments.noise_floors_v(),
            daily_light_mol=self.instruments.daily_light_mol(stamp.at_s),
            water=self._record.used(stamp),
            deficit_kpa=deficit_kpa(
                self.instruments.value(Quantity.AIR_TEMPERATURE), self.instruments.value(Quantity.HUMIDITY)
            ),
        )

    def _waiting_for(self, condition: Condition, stamp: Stamp) -> str:
        if self.last_decision is not None:
            return words.decision(self.last_decision)
        if self._acidity.resting:
            return words.RESTING
        spent = self._parts.ledger.totals(self.name, Role.PH_DOWN, stamp)
        ph = self.instruments.verdicts.get(Quantity.PH)
        return waiting_for(condition, ph, spent, self._acidity.aim, self._acidity.control)


def _bands_of(table: Table) -> dict[Quantity, tuple[float, float]]:
    bands = table.bands
    return {
        Quantity.PH: (bands.ph_low, bands.ph_high),
        Quantity.EC: (bands.ec_low_ms_per_cm, bands.ec_high_ms_per_cm),
        Quantity.TEMPERATURE: (bands.temperature_low_c, bands.temperature_high_c),
    }
