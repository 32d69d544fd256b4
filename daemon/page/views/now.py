"""Now: each reservoir, what it does and waits for, its values against their bands, a way to pause. Pure."""

from __future__ import annotations

from daemon import words
from daemon.page.chart import ruler
from daemon.page.markup import Markup, element, joined
from daemon.page.views.forms import field, folded, offered
from daemon.page.views.new_water import to_new_water
from daemon.page.views.signs import CONDITION, QUALITY
from daemon.page.visitor import Visitor
from daemon.values import Condition, Quality, ReservoirState, State, Verdict

LONGEST_REASON = 200  # characters, as a request may carry


def now(state: State, visitor: Visitor) -> Markup:
    """Each reservoir: what it does and waits for, its values against their bands, last doses, a way to pause."""
    among = len(state.reservoirs)
    reservoirs = [_reservoir(of, visitor, among) for of in state.reservoirs.values()]
    return joined(element("h1", "Now"), *reservoirs, _next_task(state.next_task))


def _next_task(said: str) -> Markup:
    """What is most urgent in the garden, with the way to how it is done."""
    if not said:
        return Markup("")
    told = element("p", f"{said}. ", element("a", "How, and tick it off", href="/crop", class_="step"))
    return element("section", element("h2", "Next in the garden"), told, id="next-task")


def _reservoir(of: ReservoirState, visitor: Visitor, among: int) -> Markup:
    condition = f"{CONDITION[of.condition]} {words.condition(of.condition, of.condition_reason)}"
    doses = [element("li", f"{entry.utc:%d %b %H:%M} {words.entry(entry)}") for entry in of.last_doses[:3]]
    return element(
        "section",
        element("h2", of.title),
        element("p", element("strong", condition)),
        element("p", of.waiting_for),
        element("ul", *(_reading(of, verdict) for verdict in of.verdicts.values()), class_="readings"),
        element("h3", "Last doses"),
        element("ol", *doses) if doses else element("p", "No dose yet."),
        _pausing(of, visitor, among),
        id=f"reservoir-{of.name}",
        class_=f"reservoir {of.condition.value}",
    )


def _reading(of: ReservoirState, verdict: Verdict) -> Markup:
    quantity, amount = verdict.quantity, words.believed(verdict)
    band = of.bands.get(quantity)
    parts: list[str] = [
        element("span", words.QUANTITY[quantity], class_="quantity"),
        element("span", words.value(quantity, amount), class_="amount"),
        element("span", f"{QUALITY[verdict.quality]} {verdict.quality.value}", class_="quality"),
    ]
    if band:
        parts += [ruler(amount, band), element("span", _against(amount, *band), class_="against")]
    if verdict.quality is not Quality.GOOD:
        parts.append(element("span", words.why(verdict), class_="why"))
    return element("li", *parts)


def _against(amount: float | None, low: float, high: float) -> str:
    band = f"band {low:g} to {high:g}"
    if amount is None:
        return f"{band}, value not known"
    if low <= amount <= high:
        return f"◆ inside its {band}"
    return f"◇ {'below' if amount < low else 'above'} its {band}"


def _pausing(of: ReservoirState, visitor: Visitor, among: int) -> Markup:
    named = words.option(of.name, among)
    if of.condition is Condition.LOCKED:
        command = f"evenwater clear{named}"
        return _at_the_tank("To clear it, once its cause is found and mended", command, _clearing(of, visitor))
    if of.condition is Condition.HELD:
        again = _at_the_tank("To let it dose again", f"evenwater release{named}", _releasing(of, visitor))
        return joined(_changing(of), again) if of.condition_reason == words.CHANGING else again
    or_here = " or releases it here" if visitor.may_raise else ""
    label, limits = "Why, for whoever looks later", {"required": True, "maxlength": LONGEST_REASON}
    form = offered(
        visitor,
        "/hold",
        field("reason", label, f"reason-{of.name}", **limits),
        element("p", f"It stays paused until somebody types evenwater release{named} at the tank{or_here}."),
        button=f"Pause dosing of {of.title}",
        reservoir=of.name,
    )
    return folded("Pause dosing", f"pause-{of.name}", form)


def _changing(of: ReservoirState) -> Markup:
    """A release alone would go on by what was learned of the old water."""
    return element("p", "Is new water in? Say so: ", to_new_water(of, "New water, step by step"))


def _releasing(of: ReservoirState, visitor: Visitor) -> Markup:
    told = element("p", "It doses again from the next pass on, if its values ask for it.")
    button = f"Let {of.title} dose again"
    form = offered(visitor, "/release", told, button=button, raises=True, reservoir=of.name)
    return folded("Let it dose again", f"release-{of.name}", form)


def _clearing(of: ReservoirState, visitor: Visitor) -> Markup:
    label = "pH of the water by something else than its probe, where the probe is in doubt"
    form = offered(
        visitor,
        "/clear",
        element("p", f"{of.condition_reason}. Only once you were at the tank, and its cause is mended."),
        field("measured_ph", label, f"measured-{of.name}", inputmode="decimal", maxlength=5),
        button=f"Clear the lock of {of.title}",
        raises=True,
        reservoir=of.name,
    )
    return folded("Clear the lock", f"clear-{of.name}", form)


def _at_the_tank(what: str, command: str, form: Markup) -> Markup:
    """What may make it dose: a command to type, and the form for whom it is offered."""
    return joined(element("p", f"{what}, type at the tank: ", element("code", command), class_="tank"), form)
