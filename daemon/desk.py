"""What the loop does about each request, and what it says to the person who asked.

Pausing is free to everyone the links let in. Everything that can make the daemon dose again (release,
clear, bottle, tube, prime, change-out, calibrate) is for a person at the tank: Origin.LOCAL only.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from config.settings import Pump
from daemon import words
from daemon.alarm import life
from daemon.calibrating import NotSettledError, Visit
from daemon.dose.ledger import LedgerError, Standing
from daemon.link.plain import plain
from daemon.measure.book import BookError, CalibrationBook
from daemon.measure.rate import RUN_S, RUNS
from daemon.measure.settling import WINDOW, Settling
from daemon.rates import Ran
from daemon.requests import Origin, Request, RequestRefused, UnknownMethod, WrongParams
from daemon.reservoir import KeptReservoir
from daemon.runs import Watch
from daemon.values import Cap, Condition, Outcome, Permit, Quantity, Refusal, Role

if TYPE_CHECKING:
    from daemon.loop import Loop

HOUR_S = 3600.0
MOST_READ_ML = 1000.0  # in one run of the fastest pump, twice over
PRIME_AT_MOST_S = 20.0  # the answer has to reach a person who still holds the cup
LOCKS = 3  # as many within LOCKS_WITHIN_S, and clearing one more does not go on dosing
LOCKS_WITHIN_S = 600.0
LOCKS_AGAIN = (
    "it locked 3 times within 10 minutes; look for the cause while it measures, then `evenwater release`"
)
CALIBRATING = "calibrating"
_AGAIN = ". The runs are kept: finish with other amounts, run once more, or cancel and begin again"
CHANGING = "the water is being changed"
THE_PROBE = "calibrate"  # who holds while a probe is out of the water: a name no request can give itself


class Ask(BaseModel):
    """Parameters of a request: nothing unknown, no silent conversions."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class Nothing(Ask):
    """No parameters."""


class Named(Ask):
    """A reservoir, which may be left out where there is only one."""

    reservoir: str | None = None


class Hold(Named):
    reason: str = Field(min_length=1, max_length=200)
    hours: float | None = Field(default=None, gt=0.0, le=720.0)


class Doses(Ask):
    last: int = Field(default=20, ge=1, le=1000)


class Keys(Ask):
    keys: tuple[str, ...] = ()


class Bottle(Named):
    pump: Role


class Prime(Bottle):
    ml: float = Field(gt=0.0, le=100.0)


class TimedRun(Bottle):
    run_s: float = Field(default=15.0, ge=RUN_S[0], le=RUN_S[1])


class Measured(Bottle):
    """What was read of each run. keep: take the new rate; else only reckon it."""

    measured_ml: tuple[Annotated[float, Field(gt=0.0, le=MOST_READ_ML)], ...]
    keep: bool = True


class Probe(Named):
    quantity: Quantity


class Look(Probe):
    afresh: bool = False


class Standard(Probe):
    standard: str
    temperature_c: float | None = Field(default=None, ge=0.0, le=50.0)


class Desk:
    """Answers requests. Holds nothing but the book that calibrations go into."""

    def __init__(self, book: CalibrationBook) -> None:
        self._book = book

    def answer(self, request: Request, loop: Loop) -> None:
        """Do what is asked, or refuse it; the asker gets one answer either way."""
        try:
            result = self._do(request, loop)
        except RequestRefused as refused:
            result = refused
        except (LedgerError, BookError) as trouble:
            result = RequestRefused(str(trouble))
        request.answer(result)

    def _do(self, request: Request, loop: Loop) -> Any:
        if request.method not in METHODS:
            raise UnknownMethod(f"{request.method}: not a request; known are {', '.join(sorted(METHODS))}")
        model, local_only, act = METHODS[request.method]
        if local_only and request.origin is not Origin.LOCAL:
            raise RequestRefused(f"{request.method}: only for a person at the tank, by the command line there")
        return act(self, _parsed(model, request), request, loop)

    # looking

    def alarms(self, _asked: Nothing, _request: Request, loop: Loop) -> Any:
        return plain(life.active(loop.lives))

    def ledger(self, asked: Doses, _request: Request, loop: Loop) -> Any:
        return plain(loop.ledger.recent(asked.last))

    # pausing and going on

    def hold(self, asked: Hold, request: Request, loop: Loop) -> Any:
        held = [_one(loop, asked)] if asked.reservoir is not None else list(loop.reservoirs.values())
        for_s = None if asked.hours is None else asked.hours * HOUR_S
        for reservoir in held:
            _release_own(reservoir, request, loop)  # a person's hold outlasts the one of calibrating
            loop.ledger.hold(reservoir.name, asked.reason, request.origin.value, loop.stamp(), for_s)
        end = "until `evenwater release`" if asked.hours is None else f"for {asked.hours:g} h or until released"
        return {"said": f"{_titles(held)}: dosing paused {end} ({asked.reason})"}

    def release(self, asked: Named, request: Request, loop: Loop) -> Any:
        chosen = [_one(loop, asked)] if asked.reservoir is not None else list(loop.reservoirs.values())
        released = [r for r in chosen if _released(r, request, loop)]
        if _looked(loop, at_settings=False):
            released = chosen
        if not released:
            return {"said": f"{_titles(chosen)}: was not held"}
        return {"said": "; ".join(_now(reservoir, loop) for reservoir in released)}

    def clear(self, asked: Named, request: Request, loop: Loop) -> Any:
        reservoir = _one(loop, asked)
        if again := _locks_again(reservoir, loop):
            loop.ledger.hold(reservoir.name, LOCKS_AGAIN, "evenwater", loop.stamp())  # before: never in between
        cleared = loop.ledger.clear(reservoir.name, request.origin.value, loop.stamp())
        if _looked(loop, at_settings=not cleared) and not cleared:
            return {"said": f"watching ended; {_now(reservoir, loop)}"}
        if not cleared:
            return {"said": f"{reservoir.table.title}: was not locked"}
        why = f": {LOCKS_AGAIN}" if again else ""
        return {"said": f"lock cleared; {_now(reservoir, loop)}{why}"}

    def ack(self, asked: Keys, _request: Request, loop: Loop) -> Any:
        here = {alarm.key for alarm in life.active(loop.lives)}
        unknown = sorted(set(asked.keys) - here)
        if unknown:
            raise RequestRefused(f"no such alarm: {', '.join(unknown)}; `evenwater alarms` lists what there is")
        chosen = asked.keys or tuple(sorted(here))
        loop.lives = life.acknowledge(loop.lives, chosen)
        return {"said": f"acknowledged: {', '.join(chosen)}" if chosen else "no alarm to acknowledge"}

    def bottle(self, asked: Bottle, request: Request, loop: Loop) -> Any:
        reservoir = _one(loop, asked)
        pump = _pump(reservoir, asked.pump)
        loop.ledger.refill(reservoir.name, asked.pump, request.origin.value, loop.stamp())
        return {"said": f"{words.ROLE[asked.pump]} bottle counted as full: {pump.bottle_ml:g} mL"}

    def prime(self, asked: Prime, request: Request, loop: Loop) -> Any:
        """Run a pump by hand, its tube's end in a cup. Counted like any dose, as if all went into the tank."""
        reservoir = _one(loop, asked)
        most_ml = _pump(reservoir, asked.pump).ml_per_s * PRIME_AT_MOST_S
        if not asked.ml <= most_ml:
            raise RequestRefused(
                f"{asked.ml:g} mL would run longer than {PRIME_AT_MOST_S:g} s: ask for at most {most_ml:.1f} mL"
            )
        done = _run_by_hand(reservoir.permit_prime(asked.pump, asked.ml, loop.stamp()), reservoir, request, loop)
        return {"said": _primed(done, reservoir), "ml": done.ml, "run_s": done.run_s}

    # pumps: tube and rate

    def tube(self, asked: Bottle, request: Request, loop: Loop) -> Any:
        reservoir = _one(loop, asked)
        _pump(reservoir, asked.pump)
        loop.ledger.change_tube(reservoir.name, asked.pump, request.origin.value, loop.stamp())
        reservoir.rates.ran[asked.pump].clear()
        said = (
            f"{reservoir.table.title}: new {words.ROLE[asked.pump]} tube noted. It does not dose until measured: "
            f"fill the tube (evenwater prime), then `evenwater calibrate pump {asked.pump}`"
        )
        return {"said": said}

    def timed_run(self, asked: TimedRun, request: Request, loop: Loop) -> Any:
        """One run into a cylinder. Charged at the rate believed so far."""
        reservoir = _one(loop, asked)
        _pump(reservoir, asked.pump)
        ran = reservoir.rates.ran[asked.pump]
        if not len(ran) < RUNS[1]:
            raise RequestRefused(
                f"{len(ran)} runs are enough: finish, or `evenwater calibrate pump {asked.pump} cancel`"
            )
        decision = reservoir.permit_timed(asked.pump, asked.run_s, loop.stamp())
        if isinstance(decision, Permit) and not decision.run_s >= RUN_S[0]:
            decision = Refusal(decision.request, decision.bound_by or Cap.TOO_SMALL, decision.numbers)
        done = _run_by_hand(decision, reservoir, request, loop)
        ran.append(Ran(reservoir.last_entry, done.run_s, done.ml))
        said = f"run {len(ran)}: {done.run_s:.1f} s, by the old rate {done.ml:.1f} mL"
        return {"said": said, "run": len(ran), "run_s": done.run_s, "assumed_ml": done.ml}

    def finish_pump(self, asked: Measured, _request: Request, loop: Loop) -> Any:
        reservoir, role = _one(loop, asked), asked.pump
        _pump(reservoir, role)
        ran = reservoir.rates.ran[role]
        if len(asked.measured_ml) != len(ran):
            raise RequestRefused(
                f"{len(ran)} timed runs of the {words.ROLE[role]} pump wait for their mL, "
                f"{len(asked.measured_ml)} amounts were told: give one for each, in their order, or cancel"
            )
        stamp = loop.stamp()
        old = reservoir.rates.of(role, stamp.utc.date())
        fit = reservoir.rates.fit(role, asked.measured_ml, stamp.utc.date())
        if fit.rate is None:
            said = f"not kept, {old.ml_per_s:.3g} mL/s stays: {words.rate_fit(fit)}{_AGAIN}"
            return {"accepted": False, "said": said, "fit": plain(fit), "old_ml_per_s": old.ml_per_s}
        if asked.keep:
            reservoir.charge_more(role, sum(asked.measured_ml) - sum(run.ml for run in ran), stamp)
            reservoir.rates.keep(role, fit.rate)
        said = f"{words.ROLE[role]} pump: was {old.ml_per_s:.3g}, {'now' if asked.keep else 'would be'} "
        said += words.rate_fit(fit)
        return {"accepted": True, "said": said, "fit": plain(fit), "old_ml_per_s": old.ml_per_s}

    def cancel_pump(self, asked: Bottle, _request: Request, loop: Loop) -> Any:
        reservoir = _one(loop, asked)
        _pump(reservoir, asked.pump)
        reservoir.rates.ran[asked.pump].clear()
        return {"said": f"{words.ROLE[asked.pump]} pump: runs forgotten, the old rate stays"}

    # new water

    def begin_change(self, asked: Named, request: Request, loop: Loop) -> Any:
        reservoir = _one(loop, asked)
        _no_probe_out(reservoir)
        loop.ledger.hold(reservoir.name, CHANGING, request.origin.value, loop.stamp())
        said = f"{reservoir.table.title}: dosing paused while the water is changed"
        return {"said": said, "steps": list(words.change_out_steps(reservoir.table))}

    def end_change(self, asked: Named, request: Request, loop: Loop) -> Any:
        """New water is in. Also without a begin: a person may have changed it and tell only afterwards."""
        reservoir = _one(loop, asked)
        stamp = loop.stamp()
        loop.ledger.change_water(reservoir.name, request.origin.value, stamp)
        reservoir.forget_water(stamp)
        held = loop.ledger.held(reservoir.name, stamp)
        if held is not None and held.reason == CHANGING:
            loop.ledger.release(reservoir.name, request.origin.value, stamp)
        return {"said": f"new water noted, what was learned of the old is forgotten; {_now(reservoir, loop)}"}

    # calibrating

    def begin(self, asked: Probe, request: Request, loop: Loop) -> Any:
        reservoir = _one(loop, asked)
        if asked.quantity not in (Quantity.PH, Quantity.EC):
            raise RequestRefused(
                f"{words.QUANTITY[asked.quantity]}: only pH and EC probes are calibrated in standards"
            )
        if not reservoir.instruments.has(asked.quantity):
            raise RequestRefused(f"{reservoir.table.title} has no {words.QUANTITY[asked.quantity]} probe")
        _no_probe_out(reservoir)
        before = _persons_hold(reservoir, loop)
        loop.ledger.hold(reservoir.name, CALIBRATING, THE_PROBE, loop.stamp())
        reservoir.instruments.begin_visit(Visit(asked.quantity, before))
        return {"said": f"{reservoir.table.title}: dosing paused while the probe is out of the water"}

    def look(self, asked: Look, _request: Request, loop: Loop) -> Any:
        visit = _visit(_one(loop, asked), asked.quantity)
        if asked.afresh:
            visit.afresh()
        rest = visit.settling()
        return {**plain(rest), "share_settled": _share(rest), "said": _settling_words(asked.quantity, rest)}

    def point(self, asked: Standard, _request: Request, loop: Loop) -> Any:
        reservoir = _one(loop, asked)
        visit = _visit(reservoir, asked.quantity)
        temperature_c = (
            reservoir.instruments.temperature_c() if asked.temperature_c is None else asked.temperature_c
        )
        if temperature_c is None:
            raise RequestRefused("no temperature can be read: give the standard's with --temperature-c")
        try:
            point = visit.take(asked.standard, temperature_c, loop.clock.utc())
        except NotSettledError as early:
            raise RequestRefused(
                f"not settled yet: {_settling_words(asked.quantity, early.settling)}; wait, then take it again"
            ) from early
        except ValueError as wrong:
            raise RequestRefused(str(wrong)) from wrong
        unit = "mV" if asked.quantity is Quantity.PH else "mS"
        said = (
            f"{point.standard} taken: {point.signal:.3f} {unit} at {temperature_c:.1f} °C ({point.reference:.3f})"
        )
        return {"said": said, "point": plain(point)}

    def finish(self, asked: Probe, _request: Request, loop: Loop) -> Any:
        reservoir = _one(loop, asked)
        visit = _visit(reservoir, asked.quantity)
        fit = visit.fit()
        if fit.calibration is None:
            said = f"not kept, the old calibration stays: {words.fit(fit)}"
            return {"accepted": False, "said": said, "fit": plain(fit)}
        wiring = reservoir.instruments.wiring(asked.quantity)
        self._book.put(reservoir.name, asked.quantity, fit.calibration, visit.points, wiring)
        visit.points = []
        said = f"kept: {words.fit(fit)}. Dosing stays paused: {_put_back(asked.quantity)}"
        return {"accepted": True, "said": said, "fit": plain(fit)}

    def back(self, asked: Probe, request: Request, loop: Loop) -> Any:
        """The probe is in the water again. Only a person can know: in a buffer it would be dosed by."""
        reservoir = _one(loop, asked)
        visit = _visit(reservoir, asked.quantity)
        reservoir.instruments.end_visit()
        if _release_own(reservoir, request, loop):
            _hold_on(reservoir, visit.held_before, loop)
        return {"said": _now(reservoir, loop)}

    def cancel(self, asked: Probe, _request: Request, loop: Loop) -> Any:
        reservoir = _one(loop, asked)
        _visit(reservoir, asked.quantity)
        reservoir.instruments.end_visit()
        return {
            "said": f"{reservoir.table.title}: nothing changed, the old calibration stays. Dosing stays paused: "
            "put the probe back in the water, then `evenwater release`"
        }


Act = Callable[[Desk, Any, Request, "Loop"], Any]

METHODS: Mapping[str, tuple[type[Ask], bool, Act]] = {
    "alarms": (Nothing, False, Desk.alarms),
    "ledger": (Doses, False, Desk.ledger),
    "hold": (Hold, False, Desk.hold),
    "release": (Named, True, Desk.release),
    "clear": (Named, True, Desk.clear),
    "ack": (Keys, True, Desk.ack),
    "bottle": (Bottle, True, Desk.bottle),
    "prime": (Prime, True, Desk.prime),
    "tube": (Bottle, True, Desk.tube),
    "calibrate_pump.run": (TimedRun, True, Desk.timed_run),
    "calibrate_pump.finish": (Measured, True, Desk.finish_pump),
    "calibrate_pump.cancel": (Bottle, True, Desk.cancel_pump),
    "change_out.begin": (Named, True, Desk.begin_change),
    "change_out.done": (Named, True, Desk.end_change),
    "calibrate.begin": (Probe, True, Desk.begin),
    "calibrate.look": (Look, True, Desk.look),
    "calibrate.point": (Standard, True, Desk.point),
    "calibrate.finish": (Probe, True, Desk.finish),
    "calibrate.back": (Probe, True, Desk.back),
    "calibrate.cancel": (Probe, True, Desk.cancel),
}


def _parsed(model: type[Ask], request: Request) -> Ask:
    try:
        return model.model_validate(dict(request.params))
    except ValidationError as wrong:
        each = [f"{'.'.join(map(str, e['loc'])) or 'parameters'}: {e['msg']}" for e in wrong.errors()]
        raise WrongParams(f"{request.method}: {'; '.join(each)}") from wrong


def _one(loop: Loop, asked: Named) -> KeptReservoir:
    names = ", ".join(loop.reservoirs)
    if asked.reservoir is None:
        if len(loop.reservoirs) > 1:
            raise RequestRefused(f"which reservoir? Name one with --reservoir: {names}")
        return next(iter(loop.reservoirs.values()))
    if asked.reservoir not in loop.reservoirs:
        raise RequestRefused(f"no reservoir {asked.reservoir}; there is {names}")
    return loop.reservoirs[asked.reservoir]


def _pump(reservoir: KeptReservoir, role: Role) -> Pump:
    pump = reservoir.table.pump.get(role.value)
    if pump is None:
        raise RequestRefused(f"{reservoir.table.title} has no {words.ROLE[role]} pump")
    return pump


def _run_by_hand(decision: Permit | Refusal, reservoir: KeptReservoir, request: Request, loop: Loop) -> Permit:
    """Run into a cup what may run, while the asker waits. Raises RequestRefused with the next step."""
    title, pump = reservoir.table.title, words.ROLE[decision.request.pump]
    if request.given_up.is_set():
        raise RequestRefused("nobody waits for this any more: not begun")
    if isinstance(decision, Refusal):
        raise RequestRefused(f"{title}: {_no_priming(decision, reservoir.condition(loop.stamp()))}")
    outcome = loop.dose(reservoir, decision)
    if outcome is not Outcome.DONE:
        why = words.CAP[Cap.LEDGER] if outcome is None else reservoir.run_note
        raise RequestRefused(f"{title}: the {pump} pump did not run well: {why}")
    return decision


def _no_priming(refusal: Refusal, condition: Condition) -> str:
    """Why a person may not run this pump now, and the next step."""
    if refusal.cap is not Cap.CONDITION:
        return f"{words.refusal(refusal)}. `evenwater status` shows what each cap has left"
    if condition is Condition.LOCKED:
        return "locked: `evenwater status` says why; mend that, `evenwater clear`, `evenwater hold`, then this"
    return "corrects by itself now: pause it first: `evenwater hold priming`, then this"


def _primed(done: Permit, reservoir: KeptReservoir) -> str:
    less = "" if done.bound_by is None else f" (less than asked, by {words.CAP[done.bound_by]})"
    return (
        f"{reservoir.table.title}: {words.ROLE[done.request.pump]} pump ran {done.run_s:.1f} s, {done.ml:.1f} mL"
        f"{less}. It counts as dosed. Put the tube back; a pause ends with `evenwater release`"
    )


def _visit(reservoir: KeptReservoir, quantity: Quantity) -> Visit:
    if reservoir.instruments.visit is None or reservoir.instruments.visit.quantity is not quantity:
        name = words.QUANTITY[quantity]
        raise RequestRefused(f"{reservoir.table.title}: {name} is not being calibrated; begin first")
    return reservoir.instruments.visit


def _no_probe_out(reservoir: KeptReservoir) -> None:
    """One thing after the other: raises RequestRefused while a probe is in a standard."""
    if (visit := reservoir.instruments.visit) is not None:
        raise RequestRefused(
            f"{reservoir.table.title}: {words.QUANTITY[visit.quantity]} is being calibrated; "
            f"{_put_back(visit.quantity)} (or cancel that first)"
        )


def _put_back(quantity: Quantity) -> str:
    return f"put the probe back in the water, then `evenwater calibrate {quantity.value} back`"


def _released(reservoir: KeptReservoir, request: Request, loop: Loop) -> bool:
    _no_probe_out(reservoir)
    return loop.ledger.release(reservoir.name, request.origin.value, loop.stamp())


def _locks_again(reservoir: KeptReservoir, loop: Loop) -> bool:
    """Whether it is locked for the third time within ten minutes: clearing alone does not mend it."""
    standing = loop.ledger.standing(reservoir.name, loop.stamp())
    if standing is None or standing.condition is not Condition.LOCKED:
        return False
    times_s = loop.ledger.locked_at_s(reservoir.name, LOCKS)
    return len(times_s) == LOCKS and not times_s[0] - times_s[-1] > LOCKS_WITHIN_S


def _looked(loop: Loop, *, at_settings: bool) -> bool:
    """A person goes on after bad ends or an update of the program; whether there was anything to go on from.

    at_settings: whether this word can also mean that changed settings were looked at, and nothing else.
    """
    watch = loop.runs.watch(loop.ledger.proven_s(loop.stamp()))
    if watch is None or (watch is Watch.SETTINGS and not at_settings):
        return False
    loop.runs.clear()
    return True


def _release_own(reservoir: KeptReservoir, request: Request, loop: Loop) -> bool:
    """End the hold that `begin` set, if it still stands. One that a person set for as long or longer stays."""
    standing = loop.ledger.held(reservoir.name, loop.stamp())
    if standing is None or standing.who != THE_PROBE:
        return False
    return loop.ledger.release(reservoir.name, request.origin.value, loop.stamp())


def _persons_hold(reservoir: KeptReservoir, loop: Loop) -> Standing | None:
    standing = loop.ledger.held(reservoir.name, loop.stamp())
    return None if standing is None or standing.who == THE_PROBE else standing


def _hold_on(reservoir: KeptReservoir, before: Standing | None, loop: Loop) -> None:
    """Go on with a person's timed hold that the one of calibrating took the place of, for what is left of it."""
    stamp = loop.stamp()
    end = None if before is None else loop.ledger.until(before, stamp)
    if before is not None and end is not None and end > stamp.utc:
        left_s = (end - stamp.utc).total_seconds()
        loop.ledger.hold(reservoir.name, before.reason, before.who, stamp, left_s)


def _now(reservoir: KeptReservoir, loop: Loop) -> str:
    return f"{reservoir.table.title} is {words.condition(reservoir.condition(loop.stamp()))}"


def _titles(reservoirs: list[KeptReservoir]) -> str:
    return ", ".join(reservoir.table.title for reservoir in reservoirs)


def _share(rest: Settling) -> float:
    """How near to settled, 0..1, for a progress bar."""
    if rest.spread is None or rest.allowed_spread is None:
        return 0.0
    calm = 1.0 if rest.spread <= rest.allowed_spread else rest.allowed_spread / rest.spread
    return round(min(1.0, rest.samples / WINDOW) * calm, 3)


def _settling_words(quantity: Quantity, rest: Settling) -> str:
    if rest.mean is None or rest.spread is None or rest.allowed_spread is None:
        return "no reading yet"
    unit = "mV" if quantity is Quantity.PH else "mS"
    return (
        f"{rest.mean:.2f} {unit}, moved {rest.spread:.2f} (at most {rest.allowed_spread:.2f}) "
        f"over {rest.samples} of {WINDOW} samples"
    )
