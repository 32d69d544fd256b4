"""What is done about requests that concern a pump: its bottle, its tube, its rate, a run by hand.

All of them are for a person at the tank; what a pump runs by hand is counted like any dose.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from config.pump import hard_limits
from daemon import words
from daemon.desk.asked import Measured, OfPump, Poured, Prime, TimedRun, now, one, pump_of
from daemon.desk.priming import AT_MOST_S, most_ml
from daemon.desk.requests import Request, RequestRefused
from daemon.dose.permit import ML_PER_L
from daemon.keeping.rates import Ran
from daemon.keeping.reservoir import KeptReservoir
from daemon.link.plain import plain
from daemon.measure.rate import RUN_S, RUNS
from daemon.values import Cap, Condition, Outcome, Permit, Refusal, Role

if TYPE_CHECKING:
    from daemon.loop import Loop

MOST_POURED_ML_PER_L = 50.0  # one part in twenty: beyond it a slip of the unit is likelier than a bottle so large
_STILL_LOCKED = {False: "", True: ": if that was this hand, `evenwater clear`"}
_OTHER_RUNS = "the {} pump has other runs behind it by now: look again, nothing was done"
_AGAIN = ". The runs are kept: finish with other amounts, run once more, or cancel and begin again"


def bottle(asked: OfPump, request: Request, loop: Loop) -> Any:
    """A bottle was filled to the top."""
    reservoir = one(loop, asked)
    pump = pump_of(reservoir, asked.pump)
    loop.ledger.refill(reservoir.name, asked.pump, request.who, loop.stamp())
    return {"said": f"{words.ROLE[asked.pump]} bottle counted as full: {pump.bottle_ml:g} mL"}


def prime(asked: Prime, request: Request, loop: Loop) -> Any:
    """Run a pump by hand, its tube's end in a cup. Counted like any dose, as if all went into the tank."""
    reservoir = one(loop, asked)
    title, what = reservoir.table.title, words.ROLE[asked.pump]
    allowed_ml = most_ml(pump_of(reservoir, asked.pump).ml_per_s)
    if not asked.ml > 0.0:
        raise RequestRefused(f"{title}: {asked.ml:g} mL {what} to fill its tube: must be above 0 mL")
    if not asked.ml <= allowed_ml:
        raise RequestRefused(
            f"{title}: {asked.ml:g} mL {what} would run longer than {AT_MOST_S:g} s: ask for at most "
            f"{allowed_ml:.1f} mL, and once more after that"
        )
    done = _run_by_hand(reservoir.permit_prime(asked.pump, asked.ml, loop.stamp()), reservoir, request, loop)
    return {"said": _primed(done, reservoir), "ml": done.ml, "run_s": done.run_s}


def poured(asked: Poured, request: Request, loop: Loop) -> Any:
    """What a person poured into the water by hand. Into the ledger whatever the caps say: it is in the tank."""
    reservoir, what = one(loop, asked), words.ROLE[asked.pump]
    title, most_ml = reservoir.table.title, MOST_POURED_ML_PER_L * reservoir.table.volume_l
    if asked.pump is Role.TOP_UP:
        raise RequestRefused(f"{title}: water by hand needs no line; all of it new: `evenwater change-out`")
    if not 0.0 < asked.ml <= most_ml:
        raise RequestRefused(
            f"{title}: {asked.ml:g} mL {what} by hand: must be above 0 mL and at most {most_ml:g} mL; more than "
            "that is told in parts"
        )
    usual_ml = _one_dose_ml(reservoir, asked.pump)
    if not (asked.sure or asked.ml <= usual_ml):
        said = (
            f"{title}: {asked.ml:g} mL {what} by hand is more than the {usual_ml:g} mL of one dose; not noted yet"
        )
        return {"accepted": False, "said": said}
    if request.given_up.is_set():
        raise RequestRefused("nobody waits for this any more: not noted")
    note = f"{request.who}: {asked.note}" if asked.note else request.who
    reservoir.poured(asked.pump, asked.ml, note, loop.stamp())
    said = (
        f"{title}: {asked.ml:g} mL {what} by hand noted; it counts as a dose, the next waits until it has mixed"
    )
    return {
        "accepted": True,
        "said": f"{said}. {now(reservoir, loop)}{_STILL_LOCKED[_is_locked(reservoir, loop)]}",
    }


def _one_dose_ml(reservoir: KeptReservoir, role: Role) -> float:
    """The most that one dose of the pump may be; without such a pump, what no setting can raise that above."""
    pump = reservoir.table.pump.get(role.value)
    hard_ml = hard_limits(role.value).share_per_dose * reservoir.table.volume_l * ML_PER_L
    return hard_ml if pump is None or pump.max_per_dose_ml is None else min(pump.max_per_dose_ml, hard_ml)


def _is_locked(reservoir: KeptReservoir, loop: Loop) -> bool:
    return reservoir.condition(loop.stamp()) is Condition.LOCKED


def tube(asked: OfPump, request: Request, loop: Loop) -> Any:
    """A new tube is in: its pump waits until it is measured."""
    reservoir = one(loop, asked)
    pump_of(reservoir, asked.pump)
    loop.ledger.change_tube(reservoir.name, asked.pump, request.who, loop.stamp())
    reservoir.rates.ran[asked.pump].clear()
    said = (
        f"{reservoir.table.title}: new {words.ROLE[asked.pump]} tube noted. It does not dose until measured: "
        f"fill the tube (evenwater prime), then `evenwater calibrate pump {asked.pump}`"
    )
    return {"said": said}


def timed_run(asked: TimedRun, request: Request, loop: Loop) -> Any:
    """One run into a cylinder. Charged at the rate believed so far."""
    reservoir = one(loop, asked)
    pump_of(reservoir, asked.pump)
    ran = reservoir.rates.ran[asked.pump]
    if not len(ran) < RUNS[1]:
        raise RequestRefused(
            f"{len(ran)} runs are enough: finish, or `evenwater calibrate pump {asked.pump} cancel`"
        )
    if asked.runs is not None and asked.runs != len(ran):
        raise RequestRefused(_OTHER_RUNS.format(words.ROLE[asked.pump]))
    decision = reservoir.permit_timed(asked.pump, asked.run_s, loop.stamp())
    if isinstance(decision, Permit) and not decision.run_s >= RUN_S[0]:
        decision = Refusal(decision.request, decision.bound_by or Cap.TOO_SMALL, decision.numbers)
    done = _run_by_hand(decision, reservoir, request, loop)
    ran.append(Ran(reservoir.last_entry, done.run_s, done.ml))
    said = f"run {len(ran)}: {done.run_s:.1f} s, by the old rate {done.ml:.1f} mL"
    return {"said": said, "run": len(ran), "run_s": done.run_s, "assumed_ml": done.ml}


def look_pump(asked: OfPump, _request: Request, loop: Loop) -> Any:
    """The timed runs that wait for their mL."""
    reservoir = one(loop, asked)
    pump_of(reservoir, asked.pump)
    return {"runs": [plain(ran) for ran in reservoir.rates.ran[asked.pump]]}


def finish_pump(asked: Measured, request: Request, loop: Loop) -> Any:
    """Take the rate that the runs and what was read of them make, or say why not."""
    reservoir, role = one(loop, asked), asked.pump
    pump_of(reservoir, role)
    ran = reservoir.rates.ran[role]
    if len(asked.measured_ml) != len(ran):
        raise RequestRefused(
            f"{len(ran)} timed runs of the {words.ROLE[role]} pump wait for their mL, "
            f"{len(asked.measured_ml)} amounts were told: give one for each, in their order, or cancel"
        )
    if asked.first is not None and asked.first != ran[0].entry:
        raise RequestRefused(_OTHER_RUNS.format(words.ROLE[role]))
    stamp = loop.stamp()
    old = reservoir.rates.of(role, stamp.utc.date())
    fit = reservoir.rates.fit(role, asked.measured_ml, stamp.utc.date())
    if fit.rate is None:
        said = f"not kept, {old.ml_per_s:.3g} mL/s stays: {words.rate_fit(fit)}{_AGAIN}"
        return {"accepted": False, "said": said, "fit": plain(fit), "old_ml_per_s": old.ml_per_s}
    if asked.keep:
        reservoir.charge_more(role, sum(asked.measured_ml) - sum(run.ml for run in ran), request.who, stamp)
        reservoir.rates.keep(role, fit.rate)
    said = f"{words.ROLE[role]} pump: was {old.ml_per_s:.3g}, {'now' if asked.keep else 'would be'} "
    said += words.rate_fit(fit)
    return {"accepted": True, "said": said, "fit": plain(fit), "old_ml_per_s": old.ml_per_s}


def cancel_pump(asked: OfPump, _request: Request, loop: Loop) -> Any:
    """Forget the runs."""
    reservoir = one(loop, asked)
    pump_of(reservoir, asked.pump)
    reservoir.rates.ran[asked.pump].clear()
    return {"said": f"{words.ROLE[asked.pump]} pump: runs forgotten, the old rate stays"}


def _run_by_hand(decision: Permit | Refusal, reservoir: KeptReservoir, request: Request, loop: Loop) -> Permit:
    """Run into a cup what may run, while the asker waits. Raises RequestRefused with the next step."""
    title, pump = reservoir.table.title, words.ROLE[decision.request.pump]
    if request.given_up.is_set():
        raise RequestRefused("nobody waits for this any more: not begun")
    if isinstance(decision, Refusal):
        raise RequestRefused(f"{title}: {_no_priming(decision, reservoir.condition(loop.stamp()))}")
    outcome = loop.dose(reservoir, decision, request.who)
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
        f"{less}. It counts as dosed. Put the tube back; a pause ends with `evenwater release`, or on the page"
    )
