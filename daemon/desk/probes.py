"""What is done about requests of a person who calibrates a probe in standards.

Dosing pauses meanwhile by a hold of its own, which stands aside for one that a person sets.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from daemon import words, words_of_calibration
from daemon.desk.asked import Finish, Look, Probe, Result, Standard, now, one, with_probe
from daemon.desk.calibrating import NotSettledError, Visit, WhichStandardError
from daemon.desk.requests import Request, RequestRefused
from daemon.dose.ledger_standing import Standing
from daemon.keeping.reservoir import KeptReservoir
from daemon.link.plain import plain
from daemon.measure.ageing import forecasts, notes
from daemon.measure.calibrate import AnyFit
from daemon.measure.change import change
from daemon.measure.convert import PhCalibration
from daemon.measure.echo import heard
from daemon.measure.settling import WINDOW, WINDOW_S, Settling
from daemon.measure.uncertainty import of_ph
from daemon.values import Quality, Quantity

if TYPE_CHECKING:
    from daemon.loop import Loop

CALIBRATING = "calibrating"
MOST_OFF_PH = 0.3  # a hand meter is good for 0.1, a strip for 0.2 to 0.3 (common practice)
SLACK_PH = 1e-9  # decimals such as 6.3 - 6.0 are not exact in binary
_IN_DOUBT = "the pH probe is in doubt, it stays locked"
_MEASURED = "`evenwater clear --measured-ph N`"
_OR_CALIBRATE = "calibrate the probe (`evenwater calibrate ph`), then `evenwater clear`"
UNTOLD_C = 20.0  # written beside a level where no temperature is known; nothing is reckoned with it
THE_PROBE = "calibrate"  # who holds while a probe is out of the water: a name no request can give itself


def begin(asked: Probe, request: Request, loop: Loop) -> Any:
    """A probe comes out of the water: pause, and read it as in a standard."""
    reservoir = with_probe(loop, asked)
    _can_be_calibrated(reservoir, asked.quantity)
    no_probe_out(reservoir)
    before = _persons_hold(reservoir, loop)
    loop.ledger.hold(reservoir.name, CALIBRATING, THE_PROBE, loop.stamp())
    reservoir.instruments.begin_visit(asked.quantity, before)
    meanwhile = words_of_calibration.OUT_OF_THE_WATER[asked.quantity.kind]
    said = f"{reservoir.table.title}: dosing paused while {meanwhile}"
    return {"said": said, "old": plain(reservoir.instruments.calibration(asked.quantity))}


def _can_be_calibrated(reservoir: KeptReservoir, quantity: Quantity) -> None:
    instruments, title = reservoir.instruments, reservoir.table.title
    if quantity.kind not in words_of_calibration.OUT_OF_THE_WATER:
        raise RequestRefused(
            f"{title}: {words.QUANTITY[quantity]} is not calibrated here; nothing is dosed by it"
        )
    if quantity is Quantity.LEVEL and not instruments.measures_share:
        raise RequestRefused(f"{title}: a float switch says enough or low; there is nothing to calibrate")


def look(asked: Look, _request: Request, loop: Loop) -> Any:
    """How far the signal has come to rest, and which bottles it may be of; seen: seconds, signal."""
    reservoir = one(loop, asked)
    visit = _visit(reservoir, asked.quantity)
    if asked.afresh:
        visit.afresh()
    rest, temperature_c = visit.settling(), reservoir.instruments.temperature_c()
    candidates = () if temperature_c is None else visit.candidates(temperature_c)
    return {
        **plain(rest),
        "share_settled": _share(rest),
        "candidates": list(candidates),
        "said": words_of_calibration.settling(asked.quantity.kind, rest),
        "brief": words_of_calibration.settling_briefly(asked.quantity.kind, rest),
        "seen": [[one.at_s - visit.seen[-1].at_s, one.signal] for one in visit.seen],
        "points": [words_of_calibration.point(asked.quantity.kind, taken) for taken in visit.points],
        "kept": visit.kept,
        "stop_gap": visit.kept and isinstance(visit.before, PhCalibration) and visit.before.stop_gap,
        "bottles": list(visit.bottles(temperature_c)),
    }


def point(asked: Standard, _request: Request, loop: Loop) -> Any:
    """Take the settled signal as that of a standard, or of what a thermometer or measured water says."""
    reservoir = one(loop, asked)
    visit = _visit(reservoir, asked.quantity)
    reference, temperature_c = _reference(asked, reservoir), _temperature_of(asked, reservoir)
    try:
        taken = visit.take(asked.standard, temperature_c, loop.clock.utc(), reference)
    except NotSettledError as early:
        said = words_of_calibration.settling(asked.quantity.kind, early.settling)
        raise RequestRefused(f"not settled yet: {said}; wait, then take it again") from early
    except WhichStandardError as which:
        raise RequestRefused(
            words_of_calibration.which_standard(asked.quantity.kind, which.candidates)
        ) from which
    except ValueError as wrong:
        raise RequestRefused(str(wrong)) from wrong
    return {"said": words_of_calibration.point(asked.quantity.kind, taken), "point": plain(taken)}


def _temperature_of(asked: Standard, reservoir: KeptReservoir) -> float:
    """Of what the probe stands in, °C. A level has no use for it."""
    known_c = asked.true_c if asked.quantity.kind is Quantity.TEMPERATURE else asked.temperature_c
    temperature_c = reservoir.instruments.temperature_c() if known_c is None else known_c
    if temperature_c is None and asked.quantity.kind is not Quantity.LEVEL:
        raise RequestRefused("no temperature can be read: give the standard's with --temperature-c")
    return UNTOLD_C if temperature_c is None else temperature_c


def _reference(asked: Standard, reservoir: KeptReservoir) -> float | None:
    """The true value beside the probe's; None for a bottle, which names it."""
    if asked.quantity.kind is Quantity.TEMPERATURE:
        if asked.true_c is None:
            raise RequestRefused("what does the reference thermometer show? Say it, as in: --true-c 20.4")
        return asked.true_c
    if asked.quantity.kind is Quantity.LEVEL:
        if asked.litres is None:
            raise RequestRefused("how much water is in the reservoir? Say it, as in: --litres 60")
        return asked.litres / reservoir.table.volume_l
    return None


def result(asked: Result, _request: Request, loop: Loop) -> Any:
    """What `finish` would keep: new against old. Nothing is changed by it."""
    return _weighed(_visit(one(loop, asked), asked.quantity), asked)[1]


def finish(asked: Finish, _request: Request, loop: Loop) -> Any:
    """Keep what the points make, or say why not; it stays paused."""
    reservoir = one(loop, asked)
    visit = _visit(reservoir, asked.quantity)
    fit, answer = _weighed(visit, asked)
    if fit.calibration is None:
        return {**answer, "accepted": False, "said": f"not kept, the old calibration stays: {answer['said']}"}
    if fit.quality is not Quality.GOOD and not asked.accept:
        said = f"not kept yet, the old calibration stays: {answer['said']}. If that is right: finish --accept"
        return {**answer, "accepted": False, "said": said}
    trouble = reservoir.instruments.keep(asked.quantity, fit.calibration, visit.points)
    reservoir.calibrated(asked.quantity, loop.stamp())
    visit.points, visit.before, visit.kept = [], fit.calibration, True
    left_out = f" It is missing in the history: {trouble}." if trouble else ""
    said = f"kept: {answer['said']}.{left_out} Dosing stays paused: {_put_back(asked.quantity)}"
    return {**answer, "accepted": True, "said": said}


def _weighed(visit: Visit, asked: Result) -> tuple[AnyFit, dict[str, Any]]:
    """The fit, and what can be told of it: old and new, and what pH 5.8 (or such) would have read by the old."""
    if asked.stop_gap and asked.quantity.kind is not Quantity.PH:
        raise RequestRefused("only pH has a stop-gap: an offset from one buffer")
    fit, old = visit.fit(stop_gap=asked.stop_gap), visit.before
    answer = {
        "said": words_of_calibration.fit(fit),
        "fit": plain(fit),
        "old": plain(old),
        "rows": [],
        "change": {},
    }
    if fit.calibration is not None:
        changed = change(old, fit.calibration)
        doubt_ph = of_ph(visit.points, fit.calibration) if isinstance(fit.calibration, PhCalibration) else None
        rows = words_of_calibration.old_and_new(old, fit.calibration, changed, doubt_ph)
        answer |= {"change": plain(changed), "rows": plain(rows), "standard_uncertainty_ph": doubt_ph}
    return fit, answer


def history(asked: Probe, _request: Request, loop: Loop) -> Any:
    """What was made of a probe, how it ages, and when it will fail."""
    reservoir, today = with_probe(loop, asked), loop.clock.utc().date()
    past, table = reservoir.instruments.past(asked.quantity), reservoir.table
    ahead = forecasts(asked.quantity.kind, past.made, today)
    said = notes(past.made, ahead, today, table.calibration_warn_days, table.calibration_expire_days)
    by_doses = heard(reservoir.echo) if asked.quantity is Quantity.PH else None
    shown = [] if by_doses is None else [words_of_calibration.echo(by_doses)]
    return {
        "said": "\n".join([words_of_calibration.history(past, ahead, said), *shown]),
        "by_doses": plain(by_doses),
        "outlook": words_of_calibration.outlook(ahead, said),
        "made": plain(past.made),
        "forecasts": plain(ahead),
        "notes": plain(said),
        "damaged": past.damaged,
    }


def back(asked: Probe, request: Request, loop: Loop) -> Any:
    """The probe is in the water again. Only a person can know: in a buffer it would be dosed by."""
    reservoir = one(loop, asked)
    visit = _visit(reservoir, asked.quantity)
    reservoir.instruments.end_visit()
    if release_own(reservoir, request, loop):
        _hold_on(reservoir, visit.held_before, loop)
    return {"said": now(reservoir, loop)}


def cancel(asked: Probe, _request: Request, loop: Loop) -> Any:
    """Leave the old calibration as it is; it stays paused."""
    reservoir = one(loop, asked)
    _visit(reservoir, asked.quantity)
    reservoir.instruments.end_visit()
    return {
        "said": f"{reservoir.table.title}: nothing changed, the old calibration stays. Dosing stays paused: "
        "put the probe back in the water, then `evenwater release`"
    }


def no_probe_out(reservoir: KeptReservoir) -> None:
    """One thing after the other: raises RequestRefused while a probe is in a standard."""
    if (visit := reservoir.instruments.visit) is not None:
        raise RequestRefused(
            f"{reservoir.table.title}: {words.QUANTITY[visit.quantity]} is being calibrated; "
            f"{_put_back(visit.quantity)} (or cancel that first)"
        )


def release_own(reservoir: KeptReservoir, request: Request, loop: Loop) -> bool:
    """End the hold that `begin` set, if it still stands. One that a person set for as long or longer stays."""
    standing = loop.ledger.held(reservoir.name, loop.stamp())
    if standing is None or standing.who != THE_PROBE:
        return False
    return loop.ledger.release(reservoir.name, request.who, loop.stamp())


def _visit(reservoir: KeptReservoir, quantity: Quantity) -> Visit:
    if reservoir.instruments.visit is None or reservoir.instruments.visit.quantity is not quantity:
        name = words.QUANTITY[quantity]
        raise RequestRefused(
            f"{reservoir.table.title}: {name} is not being calibrated; begin first (after a restart the old "
            "calibration holds: begin again, or put the probe back in the water and `evenwater release`)"
        )
    return reservoir.instruments.visit


def _put_back(quantity: Quantity) -> str:
    back_in = words_of_calibration.BACK_IN_THE_WATER[quantity.kind]
    return f"{back_in}, then `evenwater calibrate {quantity.value} back`"


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


def _share(rest: Settling) -> float:
    """How near to settled, 0..1, for a progress bar: of the window's samples and span, its spread and drift."""
    if rest.spread is None or rest.allowed_spread is None:
        return 0.0
    filled = min(1.0, rest.samples / WINDOW, rest.span_s / WINDOW_S)
    calm = _within(rest.spread, rest.allowed_spread)
    if filled == 1.0:  # a drift of fewer samples says nothing
        calm *= _within(rest.drift_per_min, rest.allowed_per_min)
    return round(filled * calm, 3)


def _within(moved: float | None, allowed: float | None) -> float:
    if moved is None or allowed is None or abs(moved) <= allowed:
        return 1.0
    return allowed / abs(moved)


# a probe in doubt


def doubt_of_ph(measured_ph: float | None, reservoir: KeptReservoir, loop: Loop) -> str:
    """Why a lock that doubts the pH probe may not be cleared yet, and the next step; "" where nothing doubts it.

    measured_ph: of the water, by a hand meter or a test strip. A calibration made since the lock will do as well.
    """
    standing = loop.ledger.standing(reservoir.name, loop.stamp())
    if standing is None or not words.doubts_ph(standing.reason):
        return ""
    if reservoir.instruments.calibrated_between(Quantity.PH, standing.since, loop.clock.utc()):
        return ""
    ph = reservoir.instruments.verdicts.get(Quantity.PH)
    if measured_ph is None:
        return (
            f"{_IN_DOUBT}: measure the water with a hand meter or a test strip, then {_MEASURED}; {_OR_CALIBRATE}"
        )
    if ph is None or ph.reading is None or not ph.usable:
        why = "it shows nothing" if ph is None else words.why(ph)
        return (
            f"{_IN_DOUBT}, and cannot be compared with pH {measured_ph:.2f}: {why}; mend that, or {_OR_CALIBRATE}"
        )
    if not abs(ph.reading.value - measured_ph) <= MOST_OFF_PH + SLACK_PH:
        return (
            f"the probe reads pH {ph.reading.value:.2f}, measured was {measured_ph:.2f}: more than "
            f"{MOST_OFF_PH:g} apart, it stays locked; measure once more, and if it is so: {_OR_CALIBRATE}"
        )
    return ""


def both_ph(measured_ph: float | None, reservoir: KeptReservoir) -> str:
    """What was measured beside what the probe reads, for the ledger; "" where nothing was measured."""
    if measured_ph is None:
        return ""
    ph = reservoir.instruments.verdicts.get(Quantity.PH)
    reads = "nothing" if ph is None or ph.reading is None else f"pH {ph.reading.value:.2f}"
    return f": measured pH {measured_ph:.2f}, the probe read {reads}"
