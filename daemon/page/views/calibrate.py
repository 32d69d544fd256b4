"""Calibrate: a probe step by step through its standards, and what its past says of it. Pure.

Choose the probe; put it in the standard and watch it come to rest; take the point; see new against old; keep it;
put the probe back. Each step shows whether it is done, is now, or comes later.
"""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import urlencode

from daemon import words, words_of_calibration
from daemon.page.curve import curve
from daemon.page.markup import Markup, element, joined
from daemon.page.views.fitted import NEVER_DOSED_BY, Result, stop_gap, typed, weighed
from daemon.page.views.forms import field, offered
from daemon.page.visitor import Visitor
from daemon.values import Quantity, ReservoirState, State

STEPS = (
    "Choose the probe",
    "Put it in and let it come to rest",
    "Take the point",
    "New against old",
    "Back in the water",
)
PLACE = {
    Quantity.PH: "Rinse it with clean water, dab it dry without rubbing, put it into fresh buffer: usually 7.00 "
    "first, then 4.01. Bottles and probe should be near the water's temperature. Never pour used buffer back.",
    Quantity.EC: "Rinse it, shake the drops off, put it into fresh standard, usually 1.413, and tap it against "
    "the glass until no bubble is left in the cell.",
    Quantity.TEMPERATURE: "Hold a reference thermometer beside it and stir until both are at rest.",
    Quantity.LEVEL: "Circulation off, bed drained, water still. First with little water in the reservoir, none "
    "is best; then filled by measured cans.",
}
SIGNAL = {Quantity.PH: "mV", Quantity.EC: "mS", Quantity.TEMPERATURE: "°C", Quantity.LEVEL: "share"}
CALIBRATED = tuple(SIGNAL)
LEAST_POINTS = {Quantity.PH: 2, Quantity.EC: 1, Quantity.TEMPERATURE: 1, Quantity.LEVEL: 2}
_SIGN = {True: "✓", False: "○", None: "▸"}


@dataclass(frozen=True, slots=True)
class Look:
    """A probe in its standard, as the daemon tells it. seen: seconds before the newest, and signals.

    stop_gap: what was kept is one.
    """

    settled: bool
    share_settled: float
    said: str
    candidates: tuple[str, ...]
    bottles: tuple[str, ...]
    points: tuple[str, ...]
    seen: tuple[tuple[float, float], ...]
    kept: bool
    stop_gap: bool = False
    mean: float | None = None
    allowed_spread: float | None = None


@dataclass(frozen=True, slots=True)
class Past:
    """What was made of a probe and how it ages, line by line."""

    said: str


@dataclass(frozen=True, slots=True)
class Going:
    """A calibration that is going on. stop_gap: what its one point makes for now, where there is just one."""

    quantity: Quantity
    look: Look
    result: Result | None
    stop_gap: Result | None = None


def calibrate(
    state: State,
    chosen: str,
    visitor: Visitor,
    *,
    probe: Quantity | None = None,
    going: Going | None = None,
    past: Past | None = None,
) -> Markup:
    """The guided steps for the probe that is out of the water, else for the one that was chosen, else a choice.

    chosen: a reservoir's name; past: of the probe that is out or chosen.
    """
    of = state.reservoirs[chosen]
    if going is not None:
        name = words.QUANTITY[going.quantity]
        steps = _going(of, going, visitor)
    elif probe is not None:
        name, steps = words.QUANTITY[probe], _before(of, probe, visitor)
    else:
        return joined(element("h1", "Calibrate"), *(_choice(one, visitor) for one in state.reservoirs.values()))
    parts: list[str] = [element("h1", f"Calibrate {name} of {of.title}"), steps]
    if past is not None:
        lines = [element("li", line) for line in past.said.splitlines() if line]
        parts += [element("h2", "What its past says"), element("ul", *lines)]
    if going is None:
        parts.append(element("p", element("a", "Another probe", href="/calibrate")))
    return joined(*parts)


def _choice(of: ReservoirState, visitor: Visitor) -> Markup:
    """Each probe that can be calibrated, with how it stands."""
    rows = [
        element(
            "li",
            element("a", f"{words.QUANTITY[quantity]} probe", href=_address(of, quantity), class_="step"),
            element("span", f"{words.verdict(verdict)}"),
            element("span", _made(verdict.reading.calibration if verdict.reading else "")),
        )
        for quantity, verdict in of.verdicts.items()
        if quantity.kind in CALIBRATED
    ]
    told = "" if visitor.may_act else "You may look; whoever holds the password calibrates."
    listed = element("ul", *rows, class_="choice") if rows else element("p", "It has no probe to calibrate.")
    return element("section", element("h2", of.title), element("p", told) if told else "", listed)


def _made(day: str) -> str:
    return f"calibrated on {day}" if day else "no calibration is used for it"


def _address(of: ReservoirState, quantity: Quantity) -> str:
    return f"/calibrate?{urlencode({'reservoir': of.name, 'quantity': quantity.value})}"


def _before(of: ReservoirState, quantity: Quantity, visitor: Visitor) -> Markup:
    meanwhile = words_of_calibration.OUT_OF_THE_WATER[quantity.kind]
    begin = offered(
        visitor,
        "/calibrate/begin",
        element(
            "p",
            f"Dosing of {of.title} pauses while {meanwhile}. The old calibration stays until you keep a new one.",
        ),
        button="Begin",
        reservoir=of.name,
        quantity=quantity.value,
    )
    return element(
        "ol",
        _step(0, None, begin or "Whoever holds the password may begin."),
        *(_step(n, False) for n in range(1, 5)),
        class_="steps",
    )


def _going(of: ReservoirState, going: Going, visitor: Visitor) -> Markup:
    """The steps from the water to the water again."""
    look, quantity = going.look, going.quantity
    if look.kept:
        done = [_step(n, True) for n in range(4)]
        return element("ol", *done, _step(4, None, _back(of, going, visitor)), class_="steps")
    taken = [element("li", point) for point in look.points]
    third = joined(element("ul", *taken) if taken else "", _take(of, going, visitor))
    fourth = _fourth(of, going, visitor)
    steps = (
        _step(0, True),
        _step(1, True if look.settled else None, _resting(of, going, visitor)),
        _step(2, None if look.settled else bool(taken), third),
        _step(3, None if going.result is not None and going.result.rows else False, fourth),
        _step(4, False),
    )
    stop = offered(
        visitor,
        "/calibrate/cancel",
        element(
            "p", "The old calibration stays. Dosing stays paused until the probe is back and it is released."
        ),
        button="Stop without keeping anything",
        reservoir=of.name,
        quantity=quantity.value,
    )
    folded = element("details", element("summary", "Stop here"), stop, id="stop-here") if stop else ""
    return joined(element("ol", *steps, class_="steps"), folded)


def _step(number: int, done: bool | None, *content: str) -> Markup:
    """done: None for the step that is now."""
    said = {True: "done", False: "later", None: "now"}[done]
    head = element("h2", f"{_SIGN[done]} {STEPS[number]}", element("span", f" ({said})", class_="why"))
    return element("li", head, *content, class_=f"step-{said}")


def _resting(of: ReservoirState, going: Going, visitor: Visitor) -> Markup:
    """How far the signal has come to rest."""
    look, kind = going.look, going.quantity.kind
    rest = "✓ At rest: take the point." if look.settled else "Not at rest yet: wait."
    shown = (
        curve(look.seen, look.mean, look.allowed_spread, SIGNAL[kind], look.said)
        if look.seen and look.mean is not None and look.allowed_spread is not None
        else element("p", "No reading yet.")
    )
    live = element(
        "div",
        shown,
        element("p", f"{look.share_settled:.0%} of the way: {look.said}", class_="why"),
        id="resting",
    )
    told = element("p", element("strong", rest), role="status", id="rest")
    moved = offered(
        visitor,
        "/calibrate/afresh",
        button="I have just moved it: look afresh",
        reservoir=of.name,
        quantity=going.quantity.value,
    )
    return joined(element("p", PLACE[kind]), told, live, moved)


def _take(of: ReservoirState, going: Going, visitor: Visitor) -> Markup:
    quantity, look = going.quantity, going.look
    if quantity.kind is Quantity.TEMPERATURE:
        asked = [_number("true_c", "What the reference thermometer shows, °C", quantity, required=True)]
    elif quantity.kind is Quantity.LEVEL:
        asked = [_number("litres", "Litres of water that are in the reservoir", quantity, required=True)]
    else:
        asked = [
            _bottles(look),
            _number("temperature_c", "Its temperature in °C, if it is not the water's", quantity),
        ]
    return offered(
        visitor,
        "/calibrate/point",
        *asked,
        button="Take this point",
        reservoir=of.name,
        quantity=quantity.value,
    )


def _number(name: str, label: str, quantity: Quantity, *, required: bool = False) -> Markup:
    return field(name, label, f"{name}-{quantity.value}", required=required, inputmode="decimal", maxlength=8)


def _bottles(look: Look) -> Markup:
    """Which bottle: what the label says. Where two fit the signal none is chosen for the person.

    The list keeps its order from look to look: what somebody has chosen must not become another bottle.
    """
    only = look.candidates[0] if len(look.candidates) == 1 else ""
    choices = [
        element(
            "option",
            f"{name} (by its signal)" if name in look.candidates else name,
            value=name,
            id=f"standard-{name}",
            selected=name == only,
        )
        for name in look.bottles
    ]
    nothing = element("option", "what its label says …", value="", id="standard-none")
    return element(
        "div",
        element("label", "Which bottle it is in", for_="standard"),
        element("select", nothing, *choices, id="standard", name="standard", required=True),
        class_="field",
    )


def _fourth(of: ReservoirState, going: Going, visitor: Visitor) -> Markup:
    """What the points make; where they are too few what is missing, or of pH what one makes for now."""
    taken, least = len(going.look.points), LEAST_POINTS[going.quantity.kind]
    if going.result is None or not taken:
        return Markup("")
    if taken >= least:
        return weighed(of, going.quantity, going.result, visitor)
    told = element("p", f"{taken} of {least} points taken: put it into the next one, above.")
    return told if going.stop_gap is None else joined(told, stop_gap(of, going.quantity, going.stop_gap, visitor))


def _back(of: ReservoirState, going: Going, visitor: Visitor) -> Markup:
    quantity, soon = going.quantity, "It doses again from the next passes on, if its values ask for it."
    told = (
        "The new calibration is kept. Dosing is still paused: in a bottle the probe would mislead it. "
        f"{words_of_calibration.BACK_IN_THE_WATER[quantity.kind].capitalize()}, then say so here."
    )
    form = offered(
        visitor,
        "/calibrate/back",
        element("p", f"! {NEVER_DOSED_BY}" if going.look.stop_gap else soon),
        button="It is in the water",
        raises=True,
        reservoir=of.name,
        quantity=quantity.value,
    )
    return joined(element("p", told), form or typed(f"evenwater calibrate {quantity} back"))
