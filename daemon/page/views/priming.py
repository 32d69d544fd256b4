"""Filling a pump's tube by hand, its end in a cup: the form, and what has to be so first. Pure."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping

from daemon import words
from daemon.desk.priming import AT_MOST_S, SHARP, USUAL_ML, gear, most_ml
from daemon.page.markup import Markup, element
from daemon.page.views.forms import at_the_tank, cautions, choice, field, folded, offered, still_in, ticked
from daemon.page.visitor import Visitor
from daemon.values import Condition, ReservoirState, Role

LABEL = "Fill a tube by hand"
NONE_YET = "which one …"


def priming(of: ReservoirState, visitor: Visitor, among: int, asked: Mapping[str, str]) -> Markup:
    """For who may have it done the form, or what to do before it; for others the command. Nothing without a pump.

    among: how many reservoirs there are; asked: what of a form that was sent stands in it still.
    """
    if not of.pumps or not visitor.may_act:
        return Markup("")
    if not visitor.may_raise:
        return at_the_tank(LABEL, f"evenwater prime {of.name} {next(iter(of.pumps))}")
    given = still_in("prime", of.name, asked)
    form = first_pause(of) or _form(of, visitor, among, given)
    return folded(LABEL, f"prime-{of.name}", form, open_=bool(given))


def first_pause(of: ReservoirState) -> Markup:
    """What keeps a pump from running by hand; nothing where it may."""
    if of.condition is Condition.KEEPING:
        told = f"{of.title} corrects by itself now: pause it first, so that no dose comes in between. "
    elif of.condition is Condition.LOCKED:
        told = f"{of.title} is locked: see to that first, then pause it. "
    else:
        return Markup("")
    return element("p", told, element("a", "To Now", href="/", class_="step"))


def care(pumps: Collection[Role]) -> str:
    """What to wear and have at hand beside these pumps; "" where none of them burns."""
    sharp = next((role for role in pumps if role in SHARP), None)
    return f"{gear(sharp)}Water to rinse within reach; follow the bottle's label." if sharp else ""


def _form(of: ReservoirState, visitor: Visitor, among: int, given: Mapping[str, str]) -> Markup:
    return offered(
        visitor,
        "/prime",
        cautions(
            care(of.pumps),
            "Put the end of the tube into an empty cup, and stay beside it until this page answers.",
            "What runs counts as dosed, against the caps and the bottle, and is written down with who asked.",
        ),
        choice(
            "pump",
            which("pump", of, among),
            dict(_pumps(of)),
            f"prime-pump-{of.name}",
            given.get("pump", ""),
            none=NONE_YET,
        ),
        field(
            "ml",
            f"How much in mL: at most what {AT_MOST_S:g} s give, or less by its caps",
            f"prime-ml-{of.name}",
            required=True,
            value=given.get("ml", f"{USUAL_ML:g}"),
            inputmode="decimal",
            maxlength=6,
        ),
        ticked("cup", "The end of its tube is in an empty cup"),
        button="Run the pump now",
        raises=True,
        reservoir=of.name,
    )


def which(what: str, of: ReservoirState, among: int) -> str:
    """The label of a choice; with several reservoirs it tells of which. among: how many there are."""
    return f"Which {what}" if among == 1 else f"Which {what} of {of.title}"


def _pumps(of: ReservoirState) -> Iterator[tuple[str, str]]:
    """Each pump, with how much of it may run at once."""
    for role, pump in of.pumps.items():
        yield role.value, f"{words.ROLE[Role(role)]}: {most_ml(pump.ml_per_s):.1f} mL in {AT_MOST_S:g} s"
