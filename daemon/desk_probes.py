"""What is done about requests of a person who calibrates a probe in standards.

Dosing pauses meanwhile by a hold of its own, which stands aside for one that a person sets.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from daemon import words
from daemon.asked import Look, Probe, Standard, now, one
from daemon.calibrating import NotSettledError, Visit
from daemon.dose.ledger_standing import Standing
from daemon.link.plain import plain
from daemon.measure.settling import WINDOW, Settling
from daemon.requests import Request, RequestRefused
from daemon.reservoir import KeptReservoir
from daemon.values import Quantity

if TYPE_CHECKING:
    from daemon.loop import Loop

CALIBRATING = "calibrating"
MOST_OFF_PH = 0.3  # a hand meter is good for 0.1, a strip for 0.2 to 0.3 (common practice)
SLACK_PH = 1e-9  # decimals such as 6.3 - 6.0 are not exact in binary
_IN_DOUBT = "the pH probe is in doubt, it stays locked"
_MEASURED = "`evenwater clear --measured-ph N`"
_OR_CALIBRATE = "calibrate the probe (`evenwater calibrate ph`), then `evenwater clear`"
THE_PROBE = "calibrate"  # who holds while a probe is out of the water: a name no request can give itself


def begin(asked: Probe, request: Request, loop: Loop) -> Any:
    """A probe comes out of the water: pause, and read it as in a standard."""
    reservoir = one(loop, asked)
    if asked.quantity not in (Quantity.PH, Quantity.EC):
        raise RequestRefused(
            f"{words.QUANTITY[asked.quantity]}: only pH and EC probes are calibrated in standards"
        )
    if not reservoir.instruments.has(asked.quantity):
        raise RequestRefused(f"{reservoir.table.title} has no {words.QUANTITY[asked.quantity]} probe")
    no_probe_out(reservoir)
    before = _persons_hold(reservoir, loop)
    loop.ledger.hold(reservoir.name, CALIBRATING, THE_PROBE, loop.stamp())
    reservoir.instruments.begin_visit(Visit(asked.quantity, before))
    return {"said": f"{reservoir.table.title}: dosing paused while the probe is out of the water"}


def look(asked: Look, _request: Request, loop: Loop) -> Any:
    """How far the signal has come to rest."""
    visit = _visit(one(loop, asked), asked.quantity)
    if asked.afresh:
        visit.afresh()
    rest = visit.settling()
    return {**plain(rest), "share_settled": _share(rest), "said": _settling_words(asked.quantity, rest)}


def point(asked: Standard, _request: Request, loop: Loop) -> Any:
    """Take the settled signal as that of a standard."""
    reservoir = one(loop, asked)
    visit = _visit(reservoir, asked.quantity)
    temperature_c = reservoir.instruments.temperature_c() if asked.temperature_c is None else asked.temperature_c
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
    said = f"{point.standard} taken: {point.signal:.3f} {unit} at {temperature_c:.1f} °C ({point.reference:.3f})"
    return {"said": said, "point": plain(point)}


def finish(asked: Probe, _request: Request, loop: Loop) -> Any:
    """Keep what the points make, or say why not; it stays paused."""
    reservoir = one(loop, asked)
    visit = _visit(reservoir, asked.quantity)
    fit = visit.fit()
    if fit.calibration is None:
        said = f"not kept, the old calibration stays: {words.fit(fit)}"
        return {"accepted": False, "said": said, "fit": plain(fit)}
    reservoir.instruments.keep(asked.quantity, fit.calibration, visit.points)
    visit.points = []
    said = f"kept: {words.fit(fit)}. Dosing stays paused: {_put_back(asked.quantity)}"
    return {"accepted": True, "said": said, "fit": plain(fit)}


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
    return loop.ledger.release(reservoir.name, request.origin.value, loop.stamp())


def _visit(reservoir: KeptReservoir, quantity: Quantity) -> Visit:
    if reservoir.instruments.visit is None or reservoir.instruments.visit.quantity is not quantity:
        name = words.QUANTITY[quantity]
        raise RequestRefused(f"{reservoir.table.title}: {name} is not being calibrated; begin first")
    return reservoir.instruments.visit


def _put_back(quantity: Quantity) -> str:
    return f"put the probe back in the water, then `evenwater calibrate {quantity.value} back`"


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


# a probe in doubt


def doubt_of_ph(measured_ph: float | None, reservoir: KeptReservoir, loop: Loop) -> str:
    """Why a lock that doubts the pH probe may not be cleared yet, and the next step; "" where nothing doubts it.

    measured_ph: of the water, by a hand meter or a test strip. A calibration made since the lock will do as well.
    """
    standing = loop.ledger.standing(reservoir.name, loop.stamp())
    if standing is None or not words.doubts_ph(standing.reason):
        return ""
    if reservoir.instruments.calibrated_since(Quantity.PH, standing.since):
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
