"""What a pump gives in a second, measured from a phone: timed runs into a cylinder, what was read of each, old
against new. Pure.

    pause  ->  run  ->  what was read of it  ->  run  ->  read  ...  ->  old against new  ->  keep
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import urlencode

from daemon import words
from daemon.desk.priming import HANGING, ONE_IN_A_CYLINDER, READ_OFF
from daemon.measure.rate import RUN_S, RUNS
from daemon.page.markup import Markup, element, joined
from daemon.page.views.forms import at_the_tank, carried, cautions, field, folded, offered, ticked
from daemon.page.views.priming import care, first_pause
from daemon.page.visitor import Visitor
from daemon.values import ReservoirState, Role, State

PATH = "/doses/measure"
AMOUNTS = tuple(f"ml{number}" for number in range(1, RUNS[1] + 1))
"""The fields of what was read of each run, in their order."""
USUAL_RUN_S = 15.0


@dataclass(frozen=True, slots=True)
class Ran:
    """A timed run whose mL nobody has told the daemon yet. entry: its line in the ledger; ml: as charged."""

    entry: int
    run_s: float
    ml: float


@dataclass(frozen=True, slots=True)
class Timed:
    """The runs of one pump that wait for their mL, as the daemon tells them."""

    runs: tuple[Ran, ...]

    @property
    def first(self) -> str:
        """What tells these runs from others, as a form has it; "" where there is none."""
        return str(self.runs[0].entry) if self.runs else ""


@dataclass(frozen=True, slots=True)
class Reckoned:
    """What the amounts make, as the daemon reckons it. accepted: whether it would dose by it."""

    accepted: bool
    said: str


def to_measuring(of: ReservoirState, text: str, **more: str) -> Markup:
    """The way to this view, of one pump or to choose one."""
    return element("a", text, href=f"{PATH}?{urlencode({'reservoir': of.name, **more})}", class_="step")


def pumps_to_measure(state: State) -> Markup:
    """Each pump, with what it is taken to give."""
    chosen = [
        element(
            "section",
            element("h2", of.title),
            element("ul", *(_pump(of, role) for role in of.pumps), class_="choice"),
        )
        for of in state.reservoirs.values()
        if of.pumps
    ]
    return joined(element("h1", "Measure a pump"), *(chosen or [element("p", "There is no pump.")]))


def _pump(of: ReservoirState, role: Role) -> Markup:
    link = to_measuring(of, f"{words.ROLE[role]} pump", pump=role.value)
    return element("li", link, element("span", words.rate(of.pumps[role])))


def measuring(
    of: ReservoirState,
    role: Role,
    visitor: Visitor,
    timed: Timed,
    read: Mapping[str, str],
    *,
    reckoned: Reckoned | None = None,
    trouble: str = "",
) -> Markup:
    """One pump, from run to run.

    read: what was read of the runs so far, as typed, by the names of their fields; reckoned: what it makes;
    trouble: why it makes nothing.
    """
    parts = [
        element("h1", f"Measure the {words.ROLE[role]} pump of {of.title}"),
        element("p", words.rate(of.pumps[role])),
    ]
    if not visitor.may_raise:
        command = f"evenwater calibrate pump {role} --reservoir {of.name}"
        return joined(*parts, at_the_tank("It is measured", command) if visitor.may_act else "")
    if timed.runs:
        parts.append(_reading(of, role, timed, read))
    if trouble:
        parts.append(element("p", trouble, role="alert"))
    if reckoned is not None:
        parts.append(_weighed(of, role, visitor, {"first": timed.first, **read}, reckoned))
    if len(read) == len(timed.runs) < RUNS[1] and not trouble:
        parts.append(_next(of, role, visitor, len(timed.runs) + 1, {"first": timed.first, **read}))
    if timed.runs:
        parts.append(_forgetting(of, role, visitor))
    return joined(*parts)


def _reading(of: ReservoirState, role: Role, timed: Timed, read: Mapping[str, str]) -> Markup:
    """A field for each run; nothing is told to the daemon by it."""
    fields = [
        field(
            name,
            f"Run {number}, {ran.run_s:.1f} s, by the old rate {ran.ml:.1f} mL: what you read, in mL",
            f"read-{ran.entry}",
            required=True,
            value=read.get(name),
            inputmode="decimal",
            maxlength=7,
        )
        for number, (name, ran) in enumerate(zip(AMOUNTS, timed.runs, strict=False), 1)
    ]
    hidden = carried({"reservoir": of.name, "pump": role.value, "first": timed.first})
    return joined(
        element("h2", "What the cylinder showed"),
        element("p", READ_OFF),
        element("form", *hidden, *fields, element("button", "This is what I read"), method="get", action=PATH),
    )


def _weighed(
    of: ReservoirState, role: Role, visitor: Visitor, along: Mapping[str, str], reckoned: Reckoned
) -> Markup:
    parts = [element("h2", "New against old"), element("p", f"{reckoned.said}.")]
    if reckoned.accepted:
        told = element("p", "It doses by the new rate from then on. A pause stays until it is released.")
        parts.append(
            offered(
                visitor,
                "/measure/keep",
                told,
                *carried(along),
                button="Dose by the new rate",
                raises=True,
                reservoir=of.name,
                pump=role.value,
            )
        )
    return joined(*parts)


def _next(of: ReservoirState, role: Role, visitor: Visitor, number: int, along: Mapping[str, str]) -> Markup:
    heading = element("h2", f"Run {number}, of at least {RUNS[0]} and at most {RUNS[1]}")
    if waits := first_pause(of):
        return joined(heading, waits)
    form = offered(
        visitor,
        "/measure/run",
        cautions(
            care((role,)),
            "The tube has to be full up to its end: fill it first, from Doses." if number == 1 else "",
            HANGING,
            ONE_IN_A_CYLINDER,
            "What runs counts as dosed, against the caps and the bottle; the caps may cut it short.",
        ),
        field(
            "run_s",
            f"How long, in s: {RUN_S[0]:g} to {RUN_S[1]:g}",
            "run-s",
            required=True,
            value=f"{USUAL_RUN_S:g}",
            inputmode="decimal",
            maxlength=5,
        ),
        ticked("cup", "Its end is in an empty measuring cylinder, and I stay beside it"),
        *carried({"runs": str(number - 1), **along}),
        button="Run the pump now",
        raises=True,
        reservoir=of.name,
        pump=role.value,
    )
    return joined(heading, form)


def _forgetting(of: ReservoirState, role: Role, visitor: Visitor) -> Markup:
    told = element("p", "The old rate stays; what ran stays counted.")
    form = offered(
        visitor, "/measure/cancel", told, button="Forget these runs", reservoir=of.name, pump=role.value
    )
    return folded("Begin again", "measure-again", form)
