"""How a probe comes to rest in its standard, as a picture. Pure."""

from __future__ import annotations

from collections.abc import Sequence

from daemon.measure.settling import WINDOW_S
from daemon.page.markup import Markup, element

WIDE, HIGH = 320.0, 150.0
LEFT, RIGHT, TOP, BOTTOM = 48.0, 312.0, 10.0, 118.0
Point = tuple[float, float]
"""Seconds before the newest (0 or below), and the signal."""


def curve(seen: Sequence[Point], mean: float, allowed: float, unit: str, said: str) -> Markup:
    """The signal over time; the box is what it must stay in for as long to count as at rest. Needs a point.

    allowed: how far it may move in the box, in `unit`; said: the same in words.
    """
    span_s = max(2.0 * WINDOW_S, -seen[0][0])
    signals = [signal for _, signal in seen]
    middle = (max(signals) + min(signals)) / 2.0
    half = max((max(signals) - min(signals)) * 0.6, allowed * 1.5, abs(mean - middle) + allowed)

    def x(at_s: float) -> float:
        return RIGHT + at_s / span_s * (RIGHT - LEFT)

    def y(signal: float) -> float:
        return (TOP + BOTTOM) / 2.0 - (signal - middle) / half * (BOTTOM - TOP) / 2.0

    box = {"x": x(-WINDOW_S), "y": y(mean + allowed / 2.0), "width": RIGHT - x(-WINDOW_S)}
    places = [f"{x(at_s):.1f} {y(signal):.1f}" for at_s, signal in seen]
    d = f"M{'L'.join(places)}" if len(places) > 1 else f"M{places[0]}h1"
    digits = 1 if abs(middle) >= 10.0 else 3
    values = [
        element("text", f"{value:.{digits}f}", x=LEFT - 4, y=y(value) + 4.0, text_anchor="end")
        for value in (middle + 0.8 * half, middle, middle - 0.8 * half)
    ]
    return element(
        "svg",
        element("title", said),
        element("path", d=f"M{LEFT:g} {TOP:g}V{BOTTOM:g}H{RIGHT:g}", class_="axis"),
        element("rect", height=y(mean - allowed / 2.0) - y(mean + allowed / 2.0), class_="band", **box),
        element("path", d=d, class_="mean"),
        *(element("path", d=f"M{x(at_s):.1f} {y(signal):.1f}m-2 0h4", class_="mean") for at_s, signal in seen),
        *values,
        element("text", unit, x=LEFT + 4, y=TOP + 8.0),
        element("text", f"{span_s:.0f} s ago", x=LEFT, y=HIGH - 14.0),
        element("text", "now", x=RIGHT, y=HIGH - 14.0, text_anchor="end"),
        viewBox=f"0 0 {WIDE:g} {HIGH:g}",
        focusable="false",
        role="img",
    )
