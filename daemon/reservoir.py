"""One reservoir between its instruments and its pumps: decide, dose, tell. Runs on the loop's thread.

Holds what must be remembered from one pass to the next; all deciding is done by the pure rooms.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from math import ceil

from config.settings import Reservoir as Table
from daemon import words
from daemon.alarm.life import Cause
from daemon.causes import Known, Used, causes
from daemon.dose.answer_file import AnswerFile
from daemon.dose.control import (
    ControlState,
    PhAim,
    aim_of,
    answer_of,
    ask_ph,
    dead_band_ph,
    disturbed,
    expected_shift_ph,
    given,
    watered,
)
from daemon.dose.ledger import Ledger, LedgerError
from daemon.dose.level import Fall
from daemon.dose.newest import READINGS
from daemon.dose.permit import (
    MIXING_TIMES,
    Facts,
    cap_use,
    permit,
)
from daemon.dose.response import (
    Effects,
    Finding,
    Surprise,
    dosed,
    forget,
    reversals,
    since_moved_s,
    step_share,
    watch,
)
from daemon.dose.stages import Ramp, Targets
from daemon.dose.strength import stock_a_of_a_fill_ml
from daemon.dose.usual import Usual, room_ml, usual_of
from daemon.dose.windows import DAY_S, OPPOSITE, Stamp
from daemon.feed import Feed
from daemon.instruments import Instruments, Wired
from daemon.measure.book import CalibrationBook
from daemon.rates import PumpRates
from daemon.values import (
    INTO_A_CUP,
    Cap,
    Condition,
    DoseReason,
    DoseRequest,
    Entry,
    Outcome,
    Permit,
    PumpState,
    Quantity,
    Refusal,
    ReservoirState,
    Role,
    Verdict,
)
from drivers.pump import PeristalticPump
from drivers.pump_run import PumpError

MINUTE_S = 60.0
LAST_DOSES = 5
NO_RUN_S = 0.001  # of a charge for which no pump turns: the ledger's lines take no less than something
DOSES_OF_A_DAY = 50  # as many as can matter to reversals within 24 h
WET = "the tray below pumps and bottles is wet: find the leak, dry it; goggles and gloves, it may be acid"
STOPPED = "told to stop before it began"


@dataclass(frozen=True, slots=True)
class Parts:
    """What a reservoir is made of. only_watch: why the whole program only watches now, "" where it need not."""

    wired: Wired
    pumps: Mapping[Role, PeristalticPump]
    book: CalibrationBook
    ledger: Ledger
    answers: AnswerFile
    only_watch: Callable[[Stamp], str] = lambda _: ""


_RESTS_ON = {
    DoseReason.PH_HIGH: Quantity.PH,
    DoseReason.PH_LOW: Quantity.PH,
    DoseReason.EC_LOW: Quantity.EC,
    DoseReason.EC_HIGH: Quantity.EC,
    DoseReason.LEVEL_LOW: Quantity.LEVEL,
}
"""The quantity whose reading a dose is decided by."""


class KeptReservoir:
    """One reservoir of the settings, with its parts."""

    def __init__(self, name: str, table: Table, parts: Parts) -> None:
        self.name = name
        self.table = table
        self.instruments = Instruments(name, table, parts.wired, parts.book)
        self.last_decision: Permit | Refusal | None = None
        self.last_entry = 0  # the ledger's line of the last run
        self.run_note = ""  # what the keeper said of the last run
        self._parts = parts
        self._shown = sorted(parts.wired.probes, key=tuple(Quantity).index)
        self.rates = PumpRates(name, table, parts.pumps, parts.book, parts.ledger)
        self._limits = self.rates.limits
        self._effects = Effects()
        self._leak: Fall | None = None
        self._moved: Finding | None = None  # the newest movement with no dose
        self._strong: Finding | None = None  # the newest of doses that do too much
        self._aim = aim_of(table)
        self._ramp = Ramp(table)
        self._control = ControlState(answers=parts.answers.known(name, self._aim.ml_per_ph))
        self._fresh_share = 0.0  # what the controller knows of
        self._bands = _bands_of(table)
        self._feed = Feed(name, table, self.instruments)

    # decide

    def condition(self, stamp: Stamp) -> Condition:
        """A lock, else a hold, else how the settings start it. Never `keeping` while a probe is in a standard."""
        standing = self._parts.ledger.standing(self.name, stamp)
        if standing is not None:
            return standing.condition
        if self.instruments.visit is not None:
            return Condition.HELD
        return Condition.WATCHING if self._parts.only_watch(stamp) else Condition(self.table.start)

    def decide(self, stamp: Stamp) -> Permit | Refusal | None:
        """What may be dosed now; else why what is wanted most may not, None where nothing is wanted."""
        if self._ramp.follow(stamp):
            self._aim_at(self._ramp.targets)
        if self.instruments.tray_is_wet:
            self.lock(WET, stamp)
        self._watch_level(stamp)
        self._watch_effects(stamp)
        self._follow_water(stamp)
        decisions = [self._permitted(wish, stamp) for wish in self._wishes(stamp) if wish.pump in self._limits]
        permits = [decision for decision in decisions if isinstance(decision, Permit)]
        self.last_decision = next(iter(permits or decisions), None)
        self._stop_unusual(decisions, stamp)
        return self.last_decision

    def _aim_at(self, targets: Targets) -> None:
        """The crop's stage asks for something else than before."""
        self._aim = replace(self._aim, target=targets.ph, ph_low=targets.ph_low, ph_high=targets.ph_high)
        self._feed.aim_at(targets.ec)
        bands = {Quantity.PH: (targets.ph_low, targets.ph_high), Quantity.EC: (targets.ec_low, targets.ec_high)}
        self._bands = {**self._bands, **bands}

    def _stop_unusual(self, decisions: list[Permit | Refusal], stamp: Stamp) -> None:
        """More than this tank usually takes: the probe may be drifting, so a person has to compare."""
        for refused in decisions:
            if not (isinstance(refused, Refusal) and refused.cap is Cap.USUAL):
                continue
            usual = self._usual(refused.request.pump, stamp)
            if usual is not None:
                self.lock(words.unusual(refused.request.pump, usual), stamp)

    def _wishes(self, stamp: Stamp) -> tuple[DoseRequest, ...]:
        """What strength, level and pH ask for, most urgent first. Each dose waits until the last has mixed."""
        last_s = self._parts.ledger.totals(self.name, Role.PH_DOWN, stamp).since_any_s
        last_dose_s = None if last_s is None else stamp.at_s - last_s
        fed = self._feed.wishes(stamp.at_s, last_dose_s, self._doses_into_this_water())
        ph = self.instruments.verdicts.get(Quantity.PH)
        if ph is None:
            return fed
        known = self._control.answers
        wish, self._control = ask_ph(self.name, ph, self._aim, self._control, stamp.at_s, last_dose_s)
        if self._control.answers is not known:
            self._keep_answers(stamp)
        return fed if wish is None else (*fed, self._smaller(wish))

    def forget_water(self, stamp: Stamp) -> None:
        """New water is in: nothing that was learned of the old holds."""
        self._effects = Effects()
        self._control = ControlState()
        self._keep_answers(stamp)
        self._feed.disturbed()
        self.instruments.level_disturbed()

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
        if condition not in (Condition.KEEPING, Condition.WATCHING):
            self._let_go()
            return
        for finding in (self._watch_ph(stamp), self._feed.watch()):
            if finding is not None and finding.latches and condition is Condition.KEEPING:
                self.lock(words.finding(finding), stamp)

    def _follow_water(self, stamp: Stamp) -> None:
        """Fresh water answers in another way than what was learned."""
        share = self.instruments.fresh_share - self._fresh_share
        if share > 0.0:
            self._fresh_share += share
            self._control = watered(self._aim, self._control, share)
            self._keep_answers(stamp)

    def _keep_answers(self, stamp: Stamp) -> None:
        self._parts.answers.keep(self.name, self._control.answers, self._parts.ledger.proven_s(stamp))

    def _let_go(self) -> None:
        """People are at work, or nobody knows what went in: what was being followed says nothing."""
        self._effects = forget(self._effects)
        self._control = disturbed(self._control)
        self._feed.disturbed()

    def _watch_ph(self, stamp: Stamp) -> Finding | None:
        ph = self.instruments.verdicts.get(Quantity.PH)
        if ph is None:
            return None
        if self._others_mix(stamp):
            self._effects = forget(self._effects)
            self._control = disturbed(self._control)
            return None
        finding, self._effects = watch(self._effects, self._aim, ph)
        if finding is not None and finding.surprise is Surprise.TOO_STRONG:
            self._strong = finding
        elif finding is not None:
            self._moved = finding
            self._control = disturbed(self._control)
        return finding

    def _others_mix(self, stamp: Stamp) -> bool:
        """Whether a stock or water is mixing, which moves pH by as much as it pleases."""
        mixing_s = MIXING_TIMES * self.table.mixing_time_s
        refill_s = self.instruments.since_refill_s(stamp.at_s)
        if refill_s is not None and refill_s < mixing_s:
            return True
        since_s = self._parts.ledger.totals(self.name, Role.PH_DOWN, stamp).since_any_s
        if since_s is None or since_s >= mixing_s:
            return False
        newest = self._doses(DOSES_OF_A_DAY)[:1]
        return any(entry.pump not in OPPOSITE for entry in newest)

    def _smaller(self, request: DoseRequest) -> DoseRequest:
        """The request, halved while doses of its pump do too much."""
        share = step_share(self._effects, request.pump)
        if share == 1.0:
            return request
        return replace(request, ml=request.ml * share, numbers={**request.numbers, "step_share": share})

    def _permitted(self, request: DoseRequest, stamp: Stamp) -> Permit | Refusal:
        verdict = self.instruments.verdicts.get(_RESTS_ON[request.reason])
        facts = self._facts(request.pump, stamp, verdict)
        facts = replace(facts, usual_room_ml=self._usual_room_ml(request.pump, stamp))
        allowed = permit(request, self._limits[request.pump], facts)
        if request.pump is Role.STOCK_A and isinstance(allowed, Permit):
            return self._with_its_b(allowed, stamp)
        return allowed

    def _with_its_b(self, a: Permit, stamp: Stamp) -> Permit | Refusal:
        """Stock A only as far as its B could follow now; else the refusal of that B."""
        b_ml = a.ml * self._feed.b_per_a
        request = replace(a.request, pump=Role.STOCK_B, ml=b_ml)
        facts = self._facts(Role.STOCK_B, stamp, self.instruments.verdicts.get(Quantity.EC))
        b = permit(request, self._limits[Role.STOCK_B], replace(facts, level_share=None))
        if isinstance(b, Refusal) or b.ml >= b_ml:
            return b if isinstance(b, Refusal) else a
        share = b.ml / b_ml
        if not a.ml * share >= self._limits[Role.STOCK_A].smallest_dose_ml:
            return Refusal(a.request, b.bound_by or Cap.TOO_SMALL, b.numbers)
        return replace(a, ml=a.ml * share, run_s=a.run_s * share, bound_by=b.bound_by)

    def permit_prime(self, role: Role, ml: float, stamp: Stamp) -> Permit | Refusal:
        """Whether a person may run this pump by hand now. Raises KeyError where there is none."""
        request = DoseRequest(self.name, role, ml, DoseReason.PRIME)
        return permit(request, self._limits[role], self._facts(role, stamp))

    def permit_timed(self, role: Role, run_s: float, stamp: Stamp) -> Permit | Refusal:
        """Whether a person may run this pump into a cylinder now, and how long. Raises KeyError as above."""
        limits = self._limits[role]
        request = DoseRequest(self.name, role, run_s * limits.ml_per_s, DoseReason.MEASURE)
        return permit(request, limits, self._facts(role, stamp))

    def _facts(self, role: Role, stamp: Stamp, verdict: Verdict | None = None) -> Facts:
        return Facts(
            condition=self.condition(stamp),
            verdict=verdict,
            spent=self._parts.ledger.totals(self.name, role, stamp),
            volume_l=self.table.volume_l * self.instruments.share_of_water,
            mixing_time_s=self.table.mixing_time_s,
            level_enough=self.instruments.level_enough,
            has_level_probe=self.instruments.has(Quantity.LEVEL),
            level_share=self.instruments.level_share,
            circulation_on=self.instruments.circulation_on,
            has_circulation=self.instruments.has_circulation,
            rate_usable=self.rates.of(role, stamp.utc.date()).usable,
            since_refill_s=self.instruments.since_refill_s(stamp.at_s),
            since_moved_s=since_moved_s(self._effects, stamp.at_s),
        )

    def _usual_room_ml(self, role: Role, stamp: Stamp) -> float | None:
        """What is left of what this tank usually takes of acid or base; None where that is not known."""
        usual = self._usual(role, stamp)
        if usual is None:
            return None
        answer = answer_of(self._aim, self._control, role)
        ml_per_ph = min(answer.ml_per_ph, answer.prior_ml_per_ph)  # the further off, the more an acid water takes
        return room_ml(usual, ml_per_ph, after_water=self._had_water(stamp))

    def _usual(self, role: Role, stamp: Stamp) -> Usual | None:
        ledger = self._parts.ledger
        if role not in OPPOSITE or ledger.fault is not None:
            return None
        try:
            return usual_of(ledger.given(self.name, role), ledger.proven_s(stamp), ledger.cleared_s(self.name))
        except LedgerError:
            return None

    def _had_water(self, stamp: Stamp) -> bool:
        since = (self.instruments.since_refill_s(stamp.at_s), since_moved_s(self._effects, stamp.at_s))
        return any(s is not None and s < DAY_S for s in since)

    # dose

    def dose(self, allowed: Permit, stamp: Stamp, stopping: Callable[[], bool]) -> Outcome | None:
        """Write the intent, run the pump, write the outcome. None where nothing ran for want of a ledger line.

        stopping: asked once more after the intent, whose writing may take long on a slow card.
        A ledger that cannot be written means no run; it then says so itself, in every later refusal.
        """
        try:
            number = self.last_entry = self._parts.ledger.intend(allowed, stamp)
        except LedgerError:
            self.last_decision = Refusal(allowed.request, Cap.LEDGER)
            return None
        outcome, self.run_note = (Outcome.FAILED, STOPPED) if stopping() else self._run(allowed)
        self._settle(number, outcome, self.run_note)
        self._expect_effect(allowed, outcome, stamp)
        return outcome

    def charge_more(self, role: Role, ml: float, stamp: Stamp) -> None:
        """Charge what timed runs gave beyond what they were charged at, if anything; less is never paid back.

        Raises LedgerError.
        """
        if not ml > 0.0:
            return
        request = DoseRequest(self.name, role, ml, DoseReason.MEASURE, {"measured_ml": ml})
        ledger = self._parts.ledger
        ledger.settle(ledger.intend(Permit(request, ml, NO_RUN_S), stamp), Outcome.DONE)

    def _expect_effect(self, allowed: Permit, outcome: Outcome, stamp: Stamp) -> None:
        """What this dose should now do to pH, and whether acid and base fight."""
        pump, ml = allowed.request.pump, allowed.ml
        if outcome is not Outcome.DONE or allowed.request.reason in INTO_A_CUP:
            self._let_go()
            return
        self._feed.dosed(allowed, stamp.at_s + allowed.run_s)
        if pump not in OPPOSITE:
            self._control = disturbed(self._control)
            return
        end_s = stamp.at_s + allowed.run_s
        shift_ph = expected_shift_ph(self._aim, self._control, pump, ml, self.instruments.share_of_water)
        self._effects = dosed(self._effects, pump, ml, shift_ph, end_s)
        self._control = given(self._control, pump, shift_ph, end_s)
        if (finding := reversals(self._doses(DOSES_OF_A_DAY), stamp)) is not None:
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

    def causes(self, stamp: Stamp) -> Iterator[Cause]:
        """Everything that is true now and may call for a person."""
        return causes(self._known(stamp))

    def _known(self, stamp: Stamp) -> Known:
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
            moved=self._still_moved(stamp),
            leak=self._leak,
            water=self._water(stamp),
            too_strong=self._still_too_strong(),
            pumps=self._pump_states(stamp),
            unstirred=self.instruments.has_circulation and not self.instruments.circulation_on,
        )

    def _pump_states(self, stamp: Stamp) -> dict[Role, PumpState]:
        return {role: self.rates.state(role, stamp.utc.date()) for role in self._limits}

    def _water(self, stamp: Stamp) -> Used | None:
        """How long the water has been in, and how much was fed into it."""
        try:
            water = self._parts.ledger.water(self.name)
        except LedgerError:
            return None
        if water is None:
            return None
        days = (stamp.utc - water.utc).total_seconds() / DAY_S if stamp.utc_trusted else 0.0
        return Used(days, water.stock_a_ml / stock_a_of_a_fill_ml(self.table))

    def _still_moved(self, stamp: Stamp) -> Finding | None:
        """The newest movement with no dose, for as long as it keeps dosing waiting."""
        since_s = since_moved_s(self._effects, stamp.at_s)
        waits = since_s is not None and since_s < MIXING_TIMES * self.table.mixing_time_s
        return self._moved if waits else None

    def _still_too_strong(self) -> Finding | None:
        """The newest of doses that do too much, while its pump is held to smaller ones."""
        strong = self._strong
        if strong is None or strong.pump is None or not step_share(self._effects, strong.pump) < 1.0:
            return None
        return strong

    def state(self, stamp: Stamp) -> ReservoirState:
        """This reservoir as the end of the pass found it."""
        standing = self._parts.ledger.standing(self.name, stamp)
        return ReservoirState(
            name=self.name,
            title=self.table.title,
            condition=self.condition(stamp),
            condition_reason=self._parts.only_watch(stamp) if standing is None else standing.reason,
            condition_until=None if standing is None else self._parts.ledger.until(standing, stamp),
            verdicts={quantity: self.instruments.verdicts[quantity] for quantity in self._shown},
            bands=self._bands,
            waiting_for=self._waiting_for(stamp),
            last_doses=self._doses(LAST_DOSES),
            last_decision=self.last_decision,
            caps={role: cap_use(limits, self._facts(role, stamp)) for role, limits in self._limits.items()},
            pumps=self._pump_states(stamp),
        )

    def _doses(self, most: int) -> tuple[Entry, ...]:
        try:
            return self._parts.ledger.recent(most, self.name)
        except LedgerError:
            return ()

    def _doses_into_this_water(self) -> tuple[Entry, ...]:
        """The newest doses, newest first, as far as they went into the water that is in."""
        doses = self._doses(DOSES_OF_A_DAY)
        if not doses:
            return ()
        try:
            water = self._parts.ledger.water(self.name)
        except LedgerError:
            return doses
        return doses if water is None else tuple(dose for dose in doses if dose.number > water.after_entry)

    def _waiting_for(self, stamp: Stamp) -> str:
        if self.last_decision is not None:
            return words.decision(self.last_decision)
        condition = self.condition(stamp)
        if condition is not Condition.KEEPING:
            return words.CONDITION[condition]
        ph = self.instruments.verdicts.get(Quantity.PH)
        if ph is None:
            return "no pH probe in the settings: nothing to correct"
        if not ph.usable:
            return "waiting for a pH reading that can be believed"
        return self._waiting_words(ph, stamp)

    def _waiting_words(self, ph: Verdict, stamp: Stamp) -> str:
        spent = self._parts.ledger.totals(self.name, Role.PH_DOWN, stamp)
        if not spent.ok:
            return words.CAP[Cap.LEDGER]
        since_s = spent.since_any_s
        mixing_s = MIXING_TIMES * self.table.mixing_time_s
        if since_s is not None and since_s < mixing_s:
            return f"the last dose is mixing, about {ceil((mixing_s - since_s) / MINUTE_S)} min more"
        return _aiming_words(self._aim, self._control, words.believed(ph) or self._aim.target)


def _aiming_words(aim: PhAim, state: ControlState, ph: float) -> str:
    """What is to be done about this pH while nothing is asked for."""
    pump = Role.PH_DOWN if ph > aim.target else Role.PH_UP
    if not abs(ph - aim.target) > dead_band_ph(aim, state, pump):
        return f"pH is near enough to {aim.target:g}: nothing to do"
    if pump not in aim.smallest_ml:
        return f"pH {ph:.2f} asks for {words.ROLE[pump]}, and there is no such pump"
    if state.trend.readings < READINGS:
        return f"pH {ph:.2f}: some more readings before a dose"
    return f"pH {ph:.2f}: likely to come back by itself before {words.ROLE[pump]} is worth while"


def _bands_of(table: Table) -> dict[Quantity, tuple[float, float]]:
    bands = table.bands
    return {
        Quantity.PH: (bands.ph_low, bands.ph_high),
        Quantity.EC: (bands.ec_low_ms_per_cm, bands.ec_high_ms_per_cm),
        Quantity.TEMPERATURE: (bands.temperature_low_c, bands.temperature_high_c),
    }
