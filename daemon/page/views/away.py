"""Leaving it alone: for so many days, what lasts, what to see to first, what nobody can know. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from itertools import groupby

from daemon import words
from daemon.away.items import ALL_ELSE, BEYOND, MOST_DAYS, SIGN, Item, summed, worst
from daemon.page.markup import Markup, element, joined
from daemon.page.views.forms import field

PATH = "/rig/away"


def away(days: int, until: date, items: Sequence[Item], *, trouble: str = "") -> Markup:
    """Place by place. until: the day on which you are back; trouble: what is wrong with what was asked for."""
    return joined(
        element("h1", f"Left alone for {words.days(days)}, until {until:%d %b %Y}"),
        element("p", element("strong", f"! {trouble}."), role="alert") if trouble else Markup(""),
        _for_how_long(days),
        element("p", element("strong", f"{SIGN[worst(items)]} {summed(items)}.")),
        *(_place(where, list(of)) for where, of in groupby(items, lambda item: item.where)),
        element("p", BEYOND),
    )


def to_away(text: str) -> Markup:
    """A link to it."""
    return element("a", text, href=PATH, class_="step")


def _for_how_long(days: int) -> Markup:
    asked = field(
        "days",
        f"For how many days, 1 to {MOST_DAYS}",
        "away-days",
        value=str(days),
        inputmode="numeric",
        maxlength=2,
    )
    return element("form", asked, element("button", "Look ahead"), method="get", action=PATH)


def _place(where: str, items: Sequence[Item]) -> Markup:
    rows = [
        element(
            "li",
            element("strong", f"{SIGN[item.mark]} {item.mark.value}"),
            element("span", item.said),
            element("span", f"To do: {item.todo}", class_="why") if item.todo else Markup(""),
        )
        for item in items
    ]
    return element("section", element("h2", where or ALL_ELSE), element("ul", *rows, class_="barriers"))
