"""Pictures as SVG: a value on a ruler, an amount of a cap, a line over time. Pure; colours: the style sheet."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from daemon import words
from daemon.page.markup import Markup, element, joined
from daemon.store.trend import Band, Bucket
from daemon.values import Quantity

Ends = tuple[float, float]
"""Lowest and highest."""
WIDE, RULER_HIGH, BAR_HIGH, LINE_HIGH = 320.0, 26.0, 10.0, 190.0
LEFT, RIGHT, TOP, BOTTOM = 42.0, 312.0, 20.0, 152.0
MARGIN = 0.75  # of the band's width, shown on either side of it
LEAST_SPAN_DIGITS = 10  # of the last decimal shown: what varies less looks flat, and no two labels are alike


def ruler(value: float | None, band: Ends) -> Markup:
    """The band as a box on a line; the value as a mark, hollow outside the band and at the end beyond the ruler.

    Decoration beside the same in words: hidden from screen readers.
    """
    low, high = band
    margin = (high - low) * MARGIN

    def x(amount: float) -> float:
        share = (amount - low + margin) / (high - low + 2.0 * margin) if high > low else 0.5
        return 8.0 + min(1.0, max(0.0, share)) * (WIDE - 16.0)

    parts = [
        element("path", d=f"M8 13H{WIDE - 8:g}", class_="axis"),
        element("rect", x=x(low), y=6.0, width=x(high) - x(low), height=14.0, class_="band"),
    ]
    if value is not None:
        at, inside = x(value), low <= value <= high
        d = f"M{at:.1f} 3l7 10l-7 10l-7 -10z"
        parts.append(element("path", d=d, class_="mark in" if inside else "mark out"))
    return _picture(RULER_HIGH, *parts, aria_hidden="true")


def bar(used: float, cap: float) -> Markup:
    """How much of a cap is used, as a filled part of a frame. Hidden from screen readers: the words say it."""
    share = min(1.0, max(0.0, used / cap)) if cap > 0.0 else 1.0
    return _picture(
        BAR_HIGH,
        element("rect", x=0.5, y=0.5, width=WIDE - 1, height=BAR_HIGH - 1, class_="frame"),
        element("rect", x=0.5, y=0.5, width=share * (WIDE - 1), height=BAR_HIGH - 1, class_="used"),
        aria_hidden="true",
    )


@dataclass(frozen=True, slots=True)
class Line:
    """What a picture over time shows. doses, alarms: moments; step: the length of one bucket.

    bands: as they were, each until the next; where none were kept, `band`, today's, stands for all of it.
    """

    quantity: Quantity
    buckets: Sequence[Bucket]
    begin: datetime
    end: datetime
    step: timedelta
    band: Ends | None = None
    doses: Sequence[datetime] = ()
    alarms: Sequence[datetime] = ()
    bands: Sequence[Band] = ()

    @property
    def steps(self) -> Sequence[Band]:
        """The bands to draw, oldest first."""
        return self.bands or ((Band(self.begin, *self.band),) if self.band else ())

    @property
    def ends(self) -> Ends:
        """Lowest and highest value that the picture has room for. Needs a bucket.

        A probe in the air may read anything: there is room for what is not doubted, where there is such.
        """
        sound = [bucket for bucket in self.buckets if not bucket.doubted > 0.0]
        drawn: list[Bucket | Band] = [*(sound or self.buckets), *self.steps]
        known = [edge for of in drawn for edge in (of.low, of.high)]
        low, high = min(known), max(known)
        span = max(high - low, LEAST_SPAN_DIGITS * 10.0 ** -words.DECIMALS[self.quantity.kind])
        room = 0.08 * span + (span - (high - low)) / 2.0
        return low - room, high + room


def summary(of: Line) -> str:
    """The picture in a sentence."""
    name = words.QUANTITY[of.quantity]
    if not of.buckets:
        return f"{name}: nothing was read in this time"
    low, high = min(b.low for b in of.buckets), max(b.high for b in of.buckets)
    said = [
        f"{name}: lowest {words.value(of.quantity, low)}, highest {words.value(of.quantity, high)}",
        f"at the end {words.value(of.quantity, of.buckets[-1].mean)}",
    ]
    said += [_of_bands(of)] if of.steps else []
    if any(b.is_doubted for b in of.buckets):
        said.append("dotted where it was not to dose by")
    return "; ".join(said)


def _of_bands(of: Line) -> str:
    last = of.steps[-1]
    now = f"{last.low:g} to {last.high:g}"
    if not of.bands:
        return f"today's band {now}"
    first = of.steps[0]
    moved = (first.low, first.high) != (last.low, last.high)
    return f"its band {first.low:g} to {first.high:g} at first, {now} at the end" if moved else f"its band {now}"


def line(of: Line) -> Markup:
    """The picture: what it ranged over as an area, its mean as a line, gaps left open. Needs a bucket."""
    scale = _Scale(of)
    return _picture(
        LINE_HIGH,
        element("title", summary(of)),
        _frame(of, scale),
        *(_stretch(run, scale) for run in _unbroken(of.buckets, of.step)),
        *_marks("dose", "156l4 8h-8z", of.doses, scale),
        *_marks("alarm", "4v11m0 2v3", of.alarms, scale),
        role="img",
    )


def _marks(name: str, shape: str, moments: Iterable[datetime], scale: _Scale) -> list[Markup]:
    """One path with a mark at each place; those that fall on one place are one mark."""
    places = sorted({round(scale.x(at)) for at in moments})
    return [element("path", d="".join(f"M{x} {shape}" for x in places), class_=name)] if places else []


class _Scale:
    """From moments and values to places in the picture."""

    def __init__(self, of: Line) -> None:
        self._begin, self._whole = of.begin, of.end - of.begin
        self.low, self.high = of.ends
        self.step = of.step

    def x(self, at: datetime) -> float:
        return LEFT + (at - self._begin) / self._whole * (RIGHT - LEFT)

    def y(self, value: float) -> float:
        """What lies beyond the picture's room is drawn at its edge."""
        inside = min(self.high, max(self.low, value))
        return BOTTOM - (inside - self.low) / (self.high - self.low) * (BOTTOM - TOP)


def _unbroken(buckets: Iterable[Bucket], step: timedelta) -> Iterator[list[Bucket]]:
    """Stretches without a gap, and all to be dosed by or all not."""
    run: list[Bucket] = []
    for bucket in buckets:
        if run and bucket.begins - run[-1].begins > 1.5 * step:
            yield run
            run = []
        elif run and bucket.is_doubted != run[-1].is_doubted:
            yield run
            run = run[-1:] if run[-1].is_doubted else []
        run.append(bucket)
    if run:
        yield run


def _stretch(run: Sequence[Bucket], scale: _Scale) -> Markup:
    at = [scale.x(bucket.begins + scale.step / 2) for bucket in run]
    upper = [f"{x:.1f} {scale.y(b.high):.1f}" for x, b in zip(at, run, strict=True)]
    lower = [f"{x:.1f} {scale.y(b.low):.1f}" for x, b in zip(at, run, strict=True)]
    mean = [f"{x:.1f} {scale.y(b.mean):.1f}" for x, b in zip(at, run, strict=True)]
    doubted = run[-1].is_doubted
    d = f"M{'L'.join(mean)}" if len(mean) > 1 else f"M{mean[0]}h1"
    return joined(
        element("path", d=f"M{'L'.join([*upper, *reversed(lower)])}z", class_="range"),
        element("path", d=d, class_="mean doubted" if doubted else "mean"),
    )


def _frame(of: Line, scale: _Scale) -> Markup:
    low, high = of.ends
    parts = [element("path", d=f"M{LEFT:g} {TOP:g}V{BOTTOM:g}H{RIGHT:g}", class_="axis")]
    if of.steps:
        parts.append(_bands(of, scale))
    for share in (0.1, 0.5, 0.9):
        value = low + share * (high - low)
        text = f"{value:.0%}" if of.quantity is Quantity.LEVEL else _bare(of.quantity, value)
        parts.append(element("text", text, x=LEFT - 4, y=scale.y(value) + 4.0, text_anchor="end"))
    shape = "%H:%M" if of.end - of.begin <= timedelta(days=2) else "%d.%m."
    for share, anchor in ((0.0, "start"), (0.5, "middle"), (1.0, "end")):
        at = of.begin + share * (of.end - of.begin)
        parts.append(element("text", at.strftime(shape), x=scale.x(at), y=182.0, text_anchor=anchor))
    return joined(*parts)


def _bands(of: Line, scale: _Scale) -> Markup:
    """Where it should have been, as one area: along the upper edges, and back along the lower."""
    edges = [max(LEFT, scale.x(step.begins)) for step in of.steps] + [RIGHT]
    spans = list(zip(edges, edges[1:], of.steps, strict=False))
    upper = [f"{a:.1f} {scale.y(step.high):.1f}L{b:.1f} {scale.y(step.high):.1f}" for a, b, step in spans]
    lower = [f"{b:.1f} {scale.y(step.low):.1f}L{a:.1f} {scale.y(step.low):.1f}" for a, b, step in reversed(spans)]
    return element("path", d=f"M{'L'.join([*upper, *lower])}z", class_="band")


def _bare(quantity: Quantity, value: float) -> str:
    return f"{value:.{words.DECIMALS[quantity.kind]}f}"


def _picture(high: float, *parts: str, **attributes: str) -> Markup:
    return element("svg", *parts, viewBox=f"0 0 {WIDE:g} {high:g}", focusable="false", **attributes)
