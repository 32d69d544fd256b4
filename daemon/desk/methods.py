"""What the loop does about each request, and what it says to the person who asked.

Pausing is free to everyone the links let in; silencing needs to be no replay. Everything that can make the daemon
dose again (clear, bottle, tube, prime, poured, change-out, calibrate, in-service) is for a person at the tank:
Origin.LOCAL only. Of it all, a controller that the settings name may release.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError

from daemon import words
from daemon.alarm import life
from daemon.desk import box, crop, probes, pumps, reach
from daemon.desk.asked import (
    Ask,
    Clear,
    Did,
    Doses,
    Finish,
    Hold,
    Keys,
    Look,
    Measured,
    Named,
    Nothing,
    OfPump,
    Poured,
    Prime,
    Probe,
    Result,
    Shelve,
    Standard,
    TimedRun,
    Walk,
    now,
    one,
    with_probe,
)
from daemon.desk.probes import both_ph, doubt_of_ph, no_probe_out, release_own
from daemon.desk.requests import Origin, Request, RequestRefused, UnknownMethod, WrongParams
from daemon.dose.ledger import LedgerError
from daemon.keeping.reservoir import KeptReservoir
from daemon.link.plain import plain
from daemon.measure.book import BookError
from daemon.runs import Watch
from daemon.values import AlarmState, Condition

if TYPE_CHECKING:
    from daemon.loop import Loop

HOUR_S = 3600.0
LOCKS = 3  # as many within LOCKS_WITHIN_S, and clearing one more does not go on dosing
LOCKS_WITHIN_S = 600.0
LOCKS_AGAIN = (
    "it locked 3 times within 10 minutes; look for the cause while it measures, then `evenwater release`"
)


def answer(request: Request, loop: Loop) -> None:
    """Do what is asked, or refuse it; the asker gets one answer either way."""
    try:
        result = _do(request, loop)
    except RequestRefused as refused:
        result = refused
    except (LedgerError, BookError) as trouble:
        result = RequestRefused(str(trouble))
    request.answer(result)


def _do(request: Request, loop: Loop) -> Any:
    if request.method not in METHODS:
        raise UnknownMethod(f"{request.method}: not a request; known are {', '.join(sorted(METHODS))}")
    model, least, act = METHODS[request.method]
    if not request.origin.is_at_least(least):
        raise RequestRefused(f"{request.method}: only for a person at the tank, by the command line there")
    return act(_parsed(model, request), request, loop)


# looking


def alarms(_asked: Nothing, _request: Request, loop: Loop) -> Any:
    """What calls for a person, gravest first."""
    return plain(life.active(loop.lives))


def ledger(asked: Doses, _request: Request, loop: Loop) -> Any:
    """The last lines of the ledger, newest first."""
    return plain(loop.ledger.recent(asked.last))


# pausing and going on


def hold(asked: Hold, request: Request, loop: Loop) -> Any:
    """Pause dosing, of one reservoir or all."""
    held = [one(loop, asked)] if asked.reservoir is not None else list(loop.reservoirs.values())
    for_s = None if asked.hours is None else asked.hours * HOUR_S
    for reservoir in held:
        release_own(reservoir, request, loop)  # a person's hold outlasts the one of calibrating
        loop.ledger.hold(reservoir.name, asked.reason, request.who, loop.stamp(), for_s)
    end = "until `evenwater release`" if asked.hours is None else f"for {asked.hours:g} h or until released"
    return {"said": f"{_titles(held)}: dosing paused {end} ({asked.reason})"}


def release(asked: Named, request: Request, loop: Loop) -> Any:
    """Go on after a hold, of one reservoir or all."""
    chosen = [one(loop, asked)] if asked.reservoir is not None else list(loop.reservoirs.values())
    released = [r for r in chosen if _released(r, request, loop)]
    if _looked(loop, at_settings=False):
        released = chosen
    if not released:
        return {"said": f"{_titles(chosen)}: was not held"}
    return {"said": "; ".join(now(reservoir, loop) for reservoir in released)}


def clear(asked: Clear, request: Request, loop: Loop) -> Any:
    """Open the lock of one reservoir; one that doubts the pH probe only once that was compared."""
    reservoir = one(loop, asked)
    if doubt := doubt_of_ph(asked.measured_ph, reservoir, loop):
        return {"accepted": False, "said": f"{reservoir.table.title}: {doubt}"}
    if again := _locks_again(reservoir, loop):
        loop.ledger.hold(reservoir.name, LOCKS_AGAIN, "evenwater", loop.stamp())  # before: never in between
    who = f"{request.who}{both_ph(asked.measured_ph, reservoir)}"
    cleared = loop.ledger.clear(reservoir.name, who, loop.stamp())
    if _looked(loop, at_settings=not cleared) and not cleared:
        return {"said": f"watching ended; {now(reservoir, loop)}"}
    if not cleared:
        return {"said": f"{reservoir.table.title}: was not locked"}
    why = f": {LOCKS_AGAIN}" if again else ""
    return {"said": f"lock cleared; {now(reservoir, loop)}{why}"}


def ack(asked: Keys, _request: Request, loop: Loop) -> Any:
    """Silence alarms: those named, or all. Clears nothing."""
    here = {alarm.key for alarm in life.active(loop.lives)}
    unknown = sorted(set(asked.keys) - here)
    if unknown:
        raise RequestRefused(f"no such alarm: {', '.join(unknown)}; `evenwater alarms` lists what there is")
    chosen = asked.keys or tuple(sorted(here))
    loop.lives = life.acknowledge(loop.lives, chosen)
    return {"said": f"acknowledged: {', '.join(chosen)}" if chosen else "no alarm to acknowledge"}


def shelve(asked: Shelve, _request: Request, loop: Loop) -> Any:
    """Silence an alarm of low priority until a set time."""
    if not life.may_be_shelved(loop.lives, asked.key):
        low = [a.key for a in life.active(loop.lives) if life.may_be_shelved(loop.lives, a.key)]
        there = f"those of low priority are {', '.join(low)}" if low else "there is none of low priority"
        raise RequestRefused(f"{asked.key}: only an alarm of low priority can be shelved; {there}")
    stamp = loop.stamp()
    until = stamp.utc + timedelta(hours=asked.hours)
    until_s = loop.ledger.proven_s(stamp) + asked.hours * HOUR_S
    loop.lives = life.shelve(loop.lives, asked.key, until_s, until)
    return {"said": f"{asked.key}: silent until {until:%Y-%m-%d %H:%M} UTC; `evenwater unshelve` ends that"}


def unshelve(asked: Keys, _request: Request, loop: Loop) -> Any:
    """Let shelved alarms be told again: those named, or all."""
    shelved = [a.key for a in life.active(loop.lives) if a.state is AlarmState.SHELVED]
    chosen = [key for key in shelved if not asked.keys or key in asked.keys]
    loop.lives = life.unshelve(loop.lives, chosen)
    return {"said": f"told again: {', '.join(chosen)}" if chosen else "no such alarm is shelved"}


def out_of_service(asked: Probe, _request: Request, loop: Loop) -> Any:
    """Take a probe out of service: nothing is dosed by it, and it raises no alarm of its own."""
    reservoir = with_probe(loop, asked)
    reservoir.instruments.out_of_service.add(asked.quantity)
    name = words.QUANTITY[asked.quantity]
    return {"said": f"{reservoir.table.title}: the {name} probe is out of service; nothing is dosed by it"}


def in_service(asked: Probe, _request: Request, loop: Loop) -> Any:
    """Let a probe count again."""
    reservoir = with_probe(loop, asked)
    reservoir.instruments.out_of_service.discard(asked.quantity)
    return {"said": f"{reservoir.table.title}: the {words.QUANTITY[asked.quantity]} probe is in service"}


# new water


def begin_change(asked: Named, request: Request, loop: Loop) -> Any:
    """Pause, and tell the steps."""
    reservoir = one(loop, asked)
    no_probe_out(reservoir)
    loop.ledger.hold(reservoir.name, words.CHANGING, request.who, loop.stamp())
    said = f"{reservoir.table.title}: dosing paused while the water is changed"
    return {"said": said, "steps": list(words.change_out_steps(reservoir.table))}


def end_change(asked: Named, request: Request, loop: Loop) -> Any:
    """New water is in. Also without a begin: a person may have changed it and tell only afterwards."""
    reservoir = one(loop, asked)
    stamp = loop.stamp()
    loop.ledger.change_water(reservoir.name, request.who, stamp)
    reservoir.forget_water(stamp)
    held = loop.ledger.held(reservoir.name, stamp)
    if held is not None and held.reason == words.CHANGING:
        loop.ledger.release(reservoir.name, request.who, stamp)
    return {"said": f"new water noted, what was learned of the old is forgotten; {now(reservoir, loop)}"}


Act = Callable[[Any, Request, "Loop"], Any]

METHODS: Mapping[str, tuple[type[Ask], Origin, Act]] = {
    "alarms": (Nothing, Origin.REMOTE, alarms),
    "ledger": (Doses, Origin.REMOTE, ledger),
    "settings": (Nothing, Origin.LOCAL, box.settings),
    "box": (Nothing, Origin.LOCAL, box.box),
    "reach": (Nothing, Origin.LOCAL, reach.reach),
    "hold": (Hold, Origin.REMOTE, hold),
    "release": (Named, Origin.SIGNED, release),
    "clear": (Clear, Origin.LOCAL, clear),
    "ack": (Keys, Origin.VOUCHED, ack),
    "shelve": (Shelve, Origin.VOUCHED, shelve),
    "unshelve": (Keys, Origin.VOUCHED, unshelve),
    "out_of_service": (Probe, Origin.LOCAL, out_of_service),
    "in_service": (Probe, Origin.LOCAL, in_service),
    "bottle": (OfPump, Origin.LOCAL, pumps.bottle),
    "prime": (Prime, Origin.LOCAL, pumps.prime),
    "poured": (Poured, Origin.LOCAL, pumps.poured),
    "tube": (OfPump, Origin.LOCAL, pumps.tube),
    "calibrate_pump.run": (TimedRun, Origin.LOCAL, pumps.timed_run),
    "calibrate_pump.look": (OfPump, Origin.LOCAL, pumps.look_pump),
    "calibrate_pump.finish": (Measured, Origin.LOCAL, pumps.finish_pump),
    "calibrate_pump.cancel": (OfPump, Origin.LOCAL, pumps.cancel_pump),
    "change_out.begin": (Named, Origin.LOCAL, begin_change),
    "change_out.done": (Named, Origin.LOCAL, end_change),
    "crop.did": (Did, Origin.LOCAL, crop.did),
    "crop.walk": (Walk, Origin.LOCAL, crop.walk),
    "calibrate.begin": (Probe, Origin.LOCAL, probes.begin),
    "calibrate.look": (Look, Origin.LOCAL, probes.look),
    "calibrate.point": (Standard, Origin.LOCAL, probes.point),
    "calibrate.result": (Result, Origin.LOCAL, probes.result),
    "calibrate.history": (Probe, Origin.REMOTE, probes.history),
    "calibrate.finish": (Finish, Origin.LOCAL, probes.finish),
    "calibrate.back": (Probe, Origin.LOCAL, probes.back),
    "calibrate.cancel": (Probe, Origin.LOCAL, probes.cancel),
}


def _parsed(model: type[Ask], request: Request) -> Ask:
    try:
        return model.model_validate(dict(request.params))
    except ValidationError as wrong:
        each = [f"{'.'.join(map(str, e['loc'])) or 'parameters'}: {e['msg']}" for e in wrong.errors()]
        raise WrongParams(f"{request.method}: {'; '.join(each)}") from wrong


def _released(reservoir: KeptReservoir, request: Request, loop: Loop) -> bool:
    no_probe_out(reservoir)
    return loop.ledger.release(reservoir.name, request.who, loop.stamp())


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


def _titles(reservoirs: list[KeptReservoir]) -> str:
    return ", ".join(reservoir.table.title for reservoir in reservoirs)
