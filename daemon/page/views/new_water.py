"""New water: dosing paused, what to do in order, and the word that it is in. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from urllib.parse import urlencode

from daemon import words
from daemon.page.markup import Markup, element, joined
from daemon.page.views.by_hand import handled
from daemon.page.views.forms import at_the_tank, cautions, folded, offered, ticked
from daemon.page.views.signs import CONDITION
from daemon.page.visitor import Visitor
from daemon.values import Condition, ReservoirState

PATH = "/doses/water"
PAUSED = (Condition.HELD, Condition.LOCKED)


def to_new_water(of: ReservoirState, text: str) -> Markup:
    """The way to this view."""
    address = f"{PATH}?{urlencode({'reservoir': of.name})}"
    return element("a", text, href=address, class_="step")


def new_water(of: ReservoirState, steps: Iterable[str], visitor: Visitor, among: int) -> Markup:
    """How a reservoir is given new water. steps: what to do; among: how many reservoirs there are."""
    condition = f"{CONDITION[of.condition]} {words.condition(of.condition, of.condition_reason)}"
    return joined(
        element("h1", f"New water for {of.title}"),
        element("p", element("strong", condition), role="status"),
        Markup("") if of.condition in PAUSED else _begin(of, visitor),
        cautions(*handled(of.pumps)),
        element("ol", *(element("li", step) for step in steps)),
        _telling(of, visitor, among),
    )


def _begin(of: ReservoirState, visitor: Visitor) -> Markup:
    told = element("p", "First pause dosing, so that no dose goes into a tank that is being emptied.")
    return offered(visitor, "/change-out/begin", told, button=f"Pause dosing of {of.title}", reservoir=of.name)


def _telling(of: ReservoirState, visitor: Visitor, among: int) -> Markup:
    """The word that it is in: at the end of the steps while it is paused, else for who tells it afterwards."""
    if not visitor.may_act:
        return Markup("")
    if not visitor.may_raise:
        named = words.option(of.name, among)
        return at_the_tank("When it is in", f"evenwater change-out done{named}")
    form = offered(
        visitor,
        "/change-out/done",
        element(
            "p", "What was learned of the old water is forgotten. A pause that began here ends, any other stays."
        ),
        ticked("new", "All of the water is new, and mixed"),
        button="Note the new water",
        raises=True,
        reservoir=of.name,
    )
    if of.condition not in PAUSED:
        return folded("It has been changed already", f"water-{of.name}", form)
    still = element(
        "p", "Still the old water? ", element("a", "Let it dose again on Now", href="/", class_="step")
    )
    return joined(element("h2", "When it is in"), form, still)
