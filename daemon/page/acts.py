"""What can be done from the page: each path that takes a form, whether it may make it dose, and what it asks.

To add one: a line in ACTS, and its form by `daemon.page.views.forms.offered` with the same `raises`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from urllib.parse import urlencode

from daemon.disk import number
from daemon.page.glimpse import Daemon
from daemon.page.views.forms import FORM
from daemon.page.views.measuring import AMOUNTS

Form = Mapping[str, str]
Do = Callable[[Daemon, Form, str], str]
"""From the daemon, the form and who asks, to what is said.

Raises KeyError for a field that is missing, ValueError (with what to do) for one that is wrong, and ClientError.
"""


@dataclass(frozen=True, slots=True)
class Act:
    """What the form of one path has done.

    back: the view to go on with; carried: fields of the form that tell it what of; typed: those that stand there
    still until it is done; form: in which of that view's forms, where it has several. raises: it may make it
    dose, so it is for the holder of the password, who gives it again in the same form. at_once: no answer in
    between. sure: where the daemon asks whether something is no slip, what the button says that sends what was
    typed once more.
    """

    back: str
    do: Do
    raises: bool = False
    carried: tuple[str, ...] = ()
    at_once: bool = False
    typed: tuple[str, ...] = ()
    form: str = ""
    sure: str = ""

    def way_back(self, form: Form, *, done: bool = False) -> str:
        """Where to go on: the view, with what is carried along."""
        there = given(form, self.carried if done else (*self.carried, *self.typed))
        if self.form and not done:
            there |= {FORM: self.form}
        return f"{self.back}?{urlencode(there)}" if there else self.back


def given(form: Form, names: Iterable[str]) -> dict[str, str]:
    """Those of a form's fields that are there."""
    return {name: form[name] for name in names if name in form}


def _hold(daemon: Daemon, form: Form, by: str) -> str:
    return daemon.acted("hold", by, reservoir=form["reservoir"], reason=form["reason"])


def _acknowledge(daemon: Daemon, form: Form, by: str) -> str:
    return daemon.acted("ack", by, keys=[form["key"]])


def _release(daemon: Daemon, form: Form, by: str) -> str:
    return daemon.acted("release", by, reservoir=form["reservoir"])


def _clear(daemon: Daemon, form: Form, by: str) -> str:
    measured_ph = number_of(form, "measured_ph", "the pH you measured")
    return daemon.acted("clear", by, reservoir=form["reservoir"], measured_ph=measured_ph)


def _prime(daemon: Daemon, form: Form, by: str) -> str:
    _ticked(form, "cup", "the end of the tube is in an empty cup: nothing ran")
    ml = _needed(form, "ml", "How many mL are to run? Type it, as 2: nothing ran.")
    return daemon.acted("prime", by, **_pump(form, "nothing ran"), ml=ml)


def _bottle(daemon: Daemon, form: Form, by: str) -> str:
    _ticked(form, "full", "the bottle is filled to the top: nothing was noted")
    return daemon.acted("bottle", by, **_pump(form))


def _tube(daemon: Daemon, form: Form, by: str) -> str:
    return daemon.acted("tube", by, **_pump(form))


def _poured(daemon: Daemon, form: Form, by: str) -> str:
    ml = _needed(form, "ml", "How many mL did you pour? Type it, as 5: nothing was noted.")
    told = {"ml": ml, "note": form.get("note", ""), "sure": form.get("sure") == "yes"}
    return daemon.acted("poured", by, **_pump(form), **told)


def _pump(form: Form, undone: str = "nothing was noted") -> dict[str, str]:
    """Which pump of which reservoir. Raises ValueError where none was chosen."""
    if "pump" not in form:
        raise ValueError(f"Of which pump? Choose it: {undone}.")
    return {"reservoir": form["reservoir"], "pump": form["pump"]}


def _begin_change(daemon: Daemon, form: Form, by: str) -> str:
    return daemon.acted("change_out.begin", by, reservoir=form["reservoir"])


def _end_change(daemon: Daemon, form: Form, by: str) -> str:
    _ticked(form, "new", "all of the water is new and mixed: nothing was noted")
    return daemon.acted("change_out.done", by, reservoir=form["reservoir"])


def _run_timed(daemon: Daemon, form: Form, by: str) -> str:
    _ticked(form, "cup", "the tube's end is in an empty cylinder: nothing ran")
    run_s = _needed(form, "run_s", "How many seconds is it to run? Type it, as 15: nothing ran.")
    runs = _whole(form, "runs", "the runs so far")  # the same form sent twice is no second run
    return daemon.acted("calibrate_pump.run", by, **_pump(form), run_s=run_s, runs=runs)


def _keep_rate(daemon: Daemon, form: Form, by: str) -> str:
    told = {"measured_ml": amounts_of(form), "first": _whole(form, "first", "the first run")}
    return daemon.acted("calibrate_pump.finish", by, **_pump(form), **told)


def amounts_of(form: Form) -> list[float]:
    """What was read of each timed run, in mL. Raises ValueError for what is no number."""
    read = (number_of(form, name, f"run {number}") for number, name in enumerate(AMOUNTS, 1))
    return [ml for ml in read if ml is not None]


def _forget_runs(daemon: Daemon, form: Form, by: str) -> str:
    return daemon.acted("calibrate_pump.cancel", by, **_pump(form))


def _ticked(form: Form, name: str, what: str) -> None:
    """Raises ValueError where nobody gave their word for it by a tick."""
    if form.get(name) != "yes":
        raise ValueError(f"Tick first that {what}.")


def _needed(form: Form, name: str, question: str) -> float:
    """The number in a field. Raises ValueError with the question where it was left empty, or is no number."""
    number = number_of(form, name, question.partition("?")[0])
    if number is None:
        raise ValueError(question)
    return number


def number_of(form: Form, name: str, what: str) -> float | None:
    """The number in a field, None where it was left empty. Raises ValueError for what is no number."""
    typed = form.get(name, "").strip().replace(",", ".")
    if not typed:
        return None
    try:
        return number(typed)
    except ValueError:
        raise ValueError(f"{what}: {typed!r} is no number, as 6.2 is one") from None


def _begin(daemon: Daemon, form: Form, by: str) -> str:
    return daemon.acted("calibrate.begin", by, **_probe(form))


def _afresh(daemon: Daemon, form: Form, by: str) -> str:
    return daemon.acted("calibrate.look", by, afresh=True, **_probe(form))


def _point(daemon: Daemon, form: Form, by: str) -> str:
    asked = {
        "temperature_c": number_of(form, "temperature_c", "the standard's temperature"),
        "true_c": number_of(form, "true_c", "what the thermometer shows"),
        "litres": number_of(form, "litres", "the litres of water"),
        "standard": form.get("standard") or None,
    }
    return daemon.acted("calibrate.point", by, **_probe(form), **asked)


def _keep(daemon: Daemon, form: Form, by: str) -> str:
    said_so = {name: form.get(name) == "yes" for name in ("accept", "stop_gap")}
    return daemon.acted("calibrate.finish", by, **said_so, **_probe(form))


def _back(daemon: Daemon, form: Form, by: str) -> str:
    return daemon.acted("calibrate.back", by, **_probe(form))


def _cancel(daemon: Daemon, form: Form, by: str) -> str:
    return daemon.acted("calibrate.cancel", by, **_probe(form))


def _probe(form: Form) -> dict[str, str]:
    """Which probe of which reservoir."""
    return {"reservoir": form["reservoir"], "quantity": form["quantity"]}


def _did(daemon: Daemon, form: Form, by: str) -> str:
    counts = {
        "plugs": _whole(form, "plugs", "the plugs"),
        "heads": _whole(form, "heads", "the heads"),
        "grams": number_of(form, "grams", "what it weighed"),
    }
    return daemon.acted("crop.did", by, task=form["task"], **counts)


def _whole(form: Form, name: str, what: str) -> int | None:
    number = number_of(form, name, what)
    if number is None:
        return None
    if number != int(number):
        raise ValueError(f"{what}: {number:g} is no whole number")
    return int(number)


def _walk(daemon: Daemon, form: Form, by: str) -> str:
    found = {name.removeprefix(FOUND): of for name, of in form.items() if name.startswith(FOUND)}
    return daemon.acted("crop.walk", by, where=form["where"], found=found)


FOUND = "found-"  # begins the name of a field for what a walk looks for
_OF_A_PROBE = ("reservoir", "quantity")
_OF_A_PUMP = ("reservoir", "pump")
_READ = ("first", *AMOUNTS)
ACTS: Mapping[str, Act] = {
    "/hold": Act("/", _hold),
    "/acknowledge": Act("/alarms", _acknowledge),
    "/release": Act("/", _release, raises=True),
    "/clear": Act("/", _clear, raises=True),
    "/prime": Act("/doses", _prime, raises=True, typed=(*_OF_A_PUMP, "ml"), form="prime"),
    "/bottle": Act("/doses", _bottle, raises=True, typed=_OF_A_PUMP, form="bottle"),
    "/tube": Act("/doses", _tube, raises=True, typed=_OF_A_PUMP, form="tube"),
    "/poured": Act(
        "/doses",
        _poured,
        raises=True,
        typed=(*_OF_A_PUMP, "ml", "note"),
        form="poured",
        sure="Yes, so much: note it",
    ),
    "/measure/run": Act("/doses/measure", _run_timed, raises=True, carried=(*_OF_A_PUMP, *_READ), at_once=True),
    "/measure/keep": Act("/doses/measure", _keep_rate, raises=True, carried=_OF_A_PUMP, typed=_READ),
    "/measure/cancel": Act("/doses/measure", _forget_runs, carried=_OF_A_PUMP, at_once=True),
    "/change-out/begin": Act("/doses/water", _begin_change, carried=("reservoir",)),
    "/change-out/done": Act("/doses/water", _end_change, raises=True, carried=("reservoir",)),
    "/crop/did": Act("/crop", _did),
    "/crop/walk": Act("/crop", _walk),
    "/calibrate/begin": Act("/calibrate", _begin, carried=_OF_A_PROBE, at_once=True),
    "/calibrate/afresh": Act("/calibrate", _afresh, carried=_OF_A_PROBE, at_once=True),
    "/calibrate/point": Act("/calibrate", _point, carried=_OF_A_PROBE, at_once=True),
    "/calibrate/keep": Act("/calibrate", _keep, carried=_OF_A_PROBE, raises=True, at_once=True),
    "/calibrate/back": Act("/calibrate", _back, carried=_OF_A_PROBE, raises=True),
    "/calibrate/cancel": Act("/calibrate", _cancel, carried=_OF_A_PROBE),
}
