"""Trend: what was read over time, with bands, doses and alarms, and ways to look closer. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from daemon import words
from daemon.page.chart import Line, line, summary
from daemon.page.markup import Markup, element, joined
from daemon.page.window import FIELD, SPANS, Window
from daemon.store.trend import Bucket

MARKS = "▲ below a line: a dose. ! above it: an alarm began. Shade: lowest to highest. Dotted: not to dose by."


@dataclass(frozen=True, slots=True)
class Stretch:
    """One line of the trend, with a few wide stretches of the same for a table."""

    line: Line
    rows: Sequence[Bucket]


def trend(
    reservoirs: Mapping[str, str],
    chosen: str,
    window: Window,
    stretches: Sequence[Stretch],
    *,
    missing: str = "",
    trouble: str = "",
) -> Markup:
    """Lines over time of one reservoir.

    reservoirs: titles by name; missing: what marks are not there and why; trouble: what is wrong with the query.
    """
    parts: list[str] = [element("h1", f"Trend of {reservoirs.get(chosen, chosen)}, {_told(window)}")]
    if trouble:
        parts.append(element("p", element("strong", f"! {trouble}."), role="alert"))
    if len(reservoirs) > 1:
        here = {title: _to(name, window) for name, title in reservoirs.items()}
        parts.append(_choices("Reservoir", here, _to(chosen, window)))
    spans = {name: f"/trend?{urlencode({'of': chosen, 'span': name})}" for name in SPANS}
    parts.append(_choices("Up to now", spans, spans.get(window.span, "")))
    ways = {name: _to(chosen, way) for name, way in window.ways().items()}
    parts += [_choices("Along it", ways), _exactly(chosen, window)]
    if not stretches:
        parts.append(element("p", "Nothing was kept of it in this time: the first rows come after five minutes."))
        return joined(*parts)
    told = [MARKS, _of_bands(stretches), missing]
    parts.append(element("p", *(f"{each} " for each in told if each)))
    parts.append(element("div", *map(_stretch, stretches), class_="charts"))
    parts.append(element("p", element("a", "What is shown, as CSV", href=_to(chosen, window, "/trend.csv"))))
    return joined(*parts)


def _told(window: Window) -> str:
    if window.span:
        return f"last {'6 hours' if window.span == 'hours' else window.span}"
    return f"{window.begin:%d %b %Y %H:%M} to {window.end:%d %b %Y %H:%M}"


def _of_bands(stretches: Sequence[Stretch]) -> str:
    """Whether the boxes are the bands of then."""
    banded = [of.line for of in stretches if of.line.steps]
    if not banded:
        return ""
    if all(of.bands for of in banded):
        return "Box: its band as it was at that time."
    if any(of.bands for of in banded):
        return "Box: its band as it was, where that was kept; else today's."
    return "Box: today's band; what it was then was not kept."


def _to(chosen: str, window: Window, path: str = "/trend") -> str:
    return f"{path}?{urlencode({'of': chosen, **window.query})}"


def _choices(label: str, links: Mapping[str, str], here: str = "") -> Markup:
    """links: addresses by what is to be read there."""
    each = [
        element("a", text, href=to, aria_current="true" if to == here else None) for text, to in links.items()
    ]
    return element("nav", *each, aria_label=label, class_="choices")


def _exactly(chosen: str, window: Window) -> Markup:
    """A form for any stretch of time."""
    fields = [
        element(
            "div",
            element("label", f"{name}, UTC", for_=f"trend-{name}"),
            element("input", type="datetime-local", id=f"trend-{name}", name=name, value=f"{moment:{FIELD}}"),
            class_="field",
        )
        for name, moment in (("from", window.begin), ("to", window.end))
    ]
    form = element(
        "form",
        element("input", type="hidden", name="of", value=chosen),
        *fields,
        element("button", "Show this time"),
        method="get",
        action="/trend",
    )
    return element("details", element("summary", "Another time"), form, id="another-time")


def _stretch(of: Stretch) -> Markup:
    quantity = of.line.quantity
    parts: list[str] = [element("h2", words.QUANTITY[quantity])]
    if of.line.buckets:
        parts.append(line(of.line))
    parts.append(element("p", summary(of.line)))
    if of.rows:
        parts.append(
            element(
                "details",
                element("summary", f"{words.QUANTITY[quantity]} as a table"),
                _table(of),
                id=f"table-{quantity}",
            )
        )
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


CSV_HEADINGS = ("from_utc", "reservoir", "quantity", "unit", "lowest", "mean", "highest", "doubted_share")


def rows_of(chosen: str, stretches: Sequence[Stretch]) -> list[tuple[str, ...]]:
    """What is shown, as rows below CSV_HEADINGS: each bucket of each line."""
    return [
        (
            f"{bucket.begins:%Y-%m-%dT%H:%M:%SZ}",
            chosen,
            of.line.quantity.value,
            words.UNIT[of.line.quantity.kind].strip(),
            f"{bucket.low:.3f}",
            f"{bucket.mean:.4f}",
            f"{bucket.high:.3f}",
            f"{bucket.doubted:.3f}",
        )
        for of in stretches
        for bucket in of.line.buckets
    ]
