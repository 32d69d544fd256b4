"""Trend: what was read over time, with doses and alarms as marks. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from daemon import words
from daemon.page.chart import Line, line, summary
from daemon.page.markup import Markup, element, joined
from daemon.store.trend import Bucket

SPANS: Mapping[str, int] = {"day": 1, "week": 7, "month": 30, "season": 120}
"""Days of each stretch of time that can be looked at."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """One line of the trend, with a few wide stretches of the same for a table."""

    line: Line
    rows: Sequence[Bucket]


def trend(reservoirs: Mapping[str, str], chosen: str, span: str, stretches: Sequence[Stretch]) -> Markup:
    """Lines over time of one reservoir. reservoirs: titles by name; span: one of SPANS."""
    parts: list[str] = [element("h1", f"Trend of {reservoirs.get(chosen, chosen)}, last {span}")]
    if len(reservoirs) > 1:
        parts.append(
            _choices("Reservoir", {(name, span): title for name, title in reservoirs.items()}, (chosen, span))
        )
    parts.append(_choices("How long", {(chosen, each): each for each in SPANS}, (chosen, span)))
    parts.append(
        element(
            "p",
            "▲ below a line: a dose. ! above it: an alarm began. Box: today's band. Shade: lowest to highest.",
        )
    )
    parts += [_stretch(of) for of in stretches]
    if not stretches:
        parts.append(element("p", "Nothing was kept of it yet: the first rows come after five minutes."))
    return joined(*parts)


def _choices(label: str, links: Mapping[tuple[str, str], str], chosen: tuple[str, str]) -> Markup:
    """links: what is to be read there, by reservoir and span."""
    each = [
        element(
            "a",
            text,
            href=f"/trend?{urlencode({'of': to[0], 'span': to[1]})}",
            aria_current="true" if to == chosen else None,
        )
        for to, text in links.items()
    ]
    return element("nav", *each, aria_label=label, class_="choices")


def _stretch(of: Stretch) -> Markup:
    quantity = of.line.quantity
    parts: list[str] = [element("h2", words.QUANTITY[quantity])]
    if of.line.buckets:
        parts.append(line(of.line))
    parts.append(element("p", summary(of.line)))
    if of.rows:
        parts.append(element("details", element("summary", "As a table"), _table(of)))
    return element("section", *parts, class_="chart")


def _table(of: Stretch) -> Markup:
    quantity = of.line.quantity
    heads = [element("th", text, scope="col") for text in ("from", "lowest", "mean", "highest")]
    rows = [
        element(
            "tr",
            element("th", f"{row.begins:%d %b %H:%M}", scope="row"),
            *(element("td", words.value(quantity, amount)) for amount in (row.low, row.mean, row.high)),
        )
        for row in of.rows
    ]
    return element("table", element("thead", element("tr", *heads)), element("tbody", *rows))
