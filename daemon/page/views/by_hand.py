"""What hands did at the pumps: a bottle filled, a new tube, something poured in. Forms to tell it by. Pure."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping

from daemon import words
from daemon.page.markup import Markup, joined
from daemon.page.views.forms import at_the_tank, cautions, choice, field, folded, offered, still_in, ticked
from daemon.page.views.priming import NONE_YET, care, which
from daemon.page.visitor import Visitor
from daemon.values import ReservoirState, Role
from daemon.words_of_mixing import ACID_INTO_WATER, KEPT_APART

BOTTLE, TUBE, POURED = "A bottle is full again", "A new tube is in", "Something was poured in by hand"
LONGEST_NOTE = 120  # characters: in the ledger's line there is room for who told it, too
POURABLE = tuple(role for role in Role if role is not Role.TOP_UP)


def by_hand(of: ReservoirState, visitor: Visitor, among: int, asked: Mapping[str, str]) -> Markup:
    """For who may tell it a form each; for others the commands. Nothing for who only looks.

    among: how many reservoirs there are; asked: what of a form that was sent stands in it still.
    """
    if not visitor.may_act:
        return Markup("")
    if not visitor.may_raise:
        return joined(*(at_the_tank(what, command) for what, command in _commands(of, among)))
    bottle, tube, poured = (still_in(form, of.name, asked) for form in ("bottle", "tube", "poured"))
    of_pumps = (_bottle(of, visitor, among, bottle), _tube(of, visitor, among, tube)) if of.pumps else ()
    return joined(*of_pumps, _poured(of, visitor, among, poured))


def _commands(of: ReservoirState, among: int) -> Iterator[tuple[str, str]]:
    named = words.option(of.name, among)
    for pump in list(of.pumps)[:1]:
        yield BOTTLE, f"evenwater bottle {pump}{named}"
        yield TUBE, f"evenwater tube {pump}{named}"
    yield POURED, f"evenwater poured {of.name} {POURABLE[0]} --ml 5"


def _bottle(of: ReservoirState, visitor: Visitor, among: int, given: Mapping[str, str]) -> Markup:
    left = {
        role.value: f"{words.ROLE[role]}: {use.bottle_left_ml:.0f} mL left by what was dosed"
        for role, use in of.caps.items()
    }
    form = offered(
        visitor,
        "/bottle",
        cautions(
            *handled(of.pumps),
            "Into each bottle only what its label says: no stock into another, no acid or base into a stock.",
            "It counts as full to the top from now on, so its pump may go on dosing.",
        ),
        choice(
            "pump",
            which("bottle", of, among),
            left,
            f"bottle-pump-{of.name}",
            given.get("pump", ""),
            none=NONE_YET,
        ),
        ticked("full", "It is filled to the top, and back in its place"),
        button="Count the bottle as full",
        raises=True,
        reservoir=of.name,
    )
    return folded(BOTTLE, f"bottle-{of.name}", form, open_=bool(given))


def _tube(of: ReservoirState, visitor: Visitor, among: int, given: Mapping[str, str]) -> Markup:
    ran = {
        role.value: ": ".join(filter(None, (words.ROLE[role], words.tube(pump))))
        for role, pump in of.pumps.items()
    }
    form = offered(
        visitor,
        "/tube",
        cautions(
            care(of.pumps),
            "What is left in the old tube drips: a cup under it.",
            "Its pump doses no more until it is measured: another tube delivers another amount.",
        ),
        choice(
            "pump", which("tube", of, among), ran, f"tube-pump-{of.name}", given.get("pump", ""), none=NONE_YET
        ),
        button="Note the new tube",
        raises=True,
        reservoir=of.name,
    )
    return folded(TUBE, f"tube-{of.name}", form, open_=bool(given))


def _poured(of: ReservoirState, visitor: Visitor, among: int, given: Mapping[str, str]) -> Markup:
    poured = {role.value: words.ROLE[role] for role in POURABLE}
    what = "What was poured in" if among == 1 else f"What was poured into {of.title}"
    form = offered(
        visitor,
        "/poured",
        cautions(
            *handled(POURABLE),
            "Never acid right after base or base after acid: let the first one mix.",
            "It counts as a dose, against caps and from that pump's bottle; the next waits until it has mixed.",
        ),
        choice("pump", what, poured, f"poured-pump-{of.name}", given.get("pump", ""), none=NONE_YET),
        field(
            "ml",
            "How much, in mL of what is in that bottle",
            f"poured-ml-{of.name}",
            required=True,
            value=given.get("ml"),
            inputmode="decimal",
            maxlength=8,
        ),
        field(
            "note",
            "Why, for whoever looks later, if you like",
            f"poured-note-{of.name}",
            value=given.get("note"),
            maxlength=LONGEST_NOTE,
        ),
        button="Note what was poured",
        raises=True,
        reservoir=of.name,
    )
    return folded(POURED, f"poured-{of.name}", form, open_=bool(given))


def handled(pumps: Collection[Role]) -> Iterator[str]:
    """The cautions of what these pumps give, where it is poured from one thing into another."""
    if burns := care(pumps):
        yield f"{burns} {ACID_INTO_WATER.capitalize()}."
    if {Role.STOCK_A, Role.STOCK_B} <= set(pumps):
        yield f"{KEPT_APART[0].upper()}{KEPT_APART[1:]}."
