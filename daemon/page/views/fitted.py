"""What the points of a calibration make, beside the old one, and the form that keeps it. Pure."""

from __future__ import annotations

from dataclasses import dataclass

from daemon.measure.judge import STOP_GAP_DAYS
from daemon.page.markup import Markup, element, joined
from daemon.page.views.forms import folded, offered, ticked
from daemon.page.visitor import Visitor
from daemon.values import Quality, Quantity, ReservoirState

NEVER_DOSED_BY = (
    f"A stop-gap is shown and never dosed by, and void after {STOP_GAP_DAYS:g} days: pH stays uncorrected until "
    "it is calibrated in two buffers."
)
ONE_BUFFER = (
    "One buffer tells the offset alone; the slope is the old one, or a guess where there is none. "
    "4.01 is the one for it: a dead bulb shows in it, and would not in 7.00."
)


@dataclass(frozen=True, slots=True)
class Fit:
    """How sound what the points make is."""

    quality: Quality


@dataclass(frozen=True, slots=True)
class Result:
    """What would be kept: in words, and row by row (what, old, new); no row while the points make nothing."""

    said: str
    fit: Fit
    rows: tuple[tuple[str, str, str], ...]


def weighed(of: ReservoirState, quantity: Quantity, result: Result, visitor: Visitor) -> Markup:
    """New beside old; and the form that keeps it, with a word for what is odd about it."""
    if not result.rows:
        return element("p", f"{result.said}.")
    odd = result.fit.quality is not Quality.GOOD
    accept = [ticked("accept", "I have checked it, and it is right")] if odd else []
    form = offered(
        visitor,
        "/calibrate/keep",
        *accept,
        button="Keep the new calibration",
        raises=True,
        reservoir=of.name,
        quantity=quantity.value,
    )
    kept = form or typed(f"evenwater calibrate {quantity} finish{' --accept' if odd else ''}")
    return joined(_beside(result, "!" if odd else "✓"), kept)


def stop_gap(of: ReservoirState, quantity: Quantity, result: Result, visitor: Visitor) -> Markup:
    """What one buffer makes, for who has no second at hand: what it is worth, and the form that keeps it."""
    told = element("p", ONE_BUFFER), element("p", element("strong", f"! {NEVER_DOSED_BY}"))
    if not result.rows:
        parts = [element("p", f"{result.said}.")]
    else:
        form = offered(
            visitor,
            "/calibrate/keep",
            ticked("accept", "I know: it is for now, and for looking only"),
            button="Keep it as a stop-gap",
            raises=True,
            reservoir=of.name,
            quantity=quantity.value,
            stop_gap="yes",
        )
        command = f"evenwater calibrate {quantity} finish --stop-gap --accept"
        parts = [_beside(result, "!"), form or typed(command)]
    return folded("Only this one buffer at hand? A stop-gap", "stop-gap", joined(*told, *parts))


def _beside(result: Result, sign: str) -> Markup:
    """Old and new, row by row, and what is to be said of it."""
    heads = [element("th", text, scope="col") for text in ("", "old", "new")]
    rows = [
        element("tr", element("th", row[0], scope="row"), *(element("td", each) for each in row[1:]))
        for row in result.rows
    ]
    return joined(
        element("table", element("thead", element("tr", *heads)), element("tbody", *rows)),
        element("p", element("strong", f"{sign} {result.said}.")),
    )


def typed(command: str) -> Markup:
    """What this visitor is not offered here."""
    return element("p", "To do that, type at the tank: ", element("code", command), class_="tank")
