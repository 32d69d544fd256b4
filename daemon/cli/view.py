"""The live view in a terminal: values against their bands, trend lines, doses with reasons, caps used.

`render` is a function from a snapshot and its trends to something rich can draw.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Mapping
from datetime import datetime

from rich.console import Group, RenderableType
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from daemon import words
from daemon.values import (
    Alarm,
    CapUse,
    Condition,
    Entry,
    Priority,
    Quality,
    Quantity,
    ReservoirState,
    Role,
    State,
    Verdict,
)

TREND_POINTS = 20
GAUGE_CELLS = 17
BAR_CELLS = 6
# A terminal of 80 columns shows a whole row; a wider one only has more room around it.
_STEPS = "▁▂▃▄▅▆▇█"
_MARK = {Quality.GOOD: "●", Quality.UNCERTAIN: "◐", Quality.BAD: "✕"}
_STYLE = {Quality.GOOD: "bold", Quality.UNCERTAIN: "italic", Quality.BAD: "reverse"}
_CONDITION_STYLE = {
    Condition.KEEPING: "bold",
    Condition.WATCHING: "italic",
    Condition.HELD: "bold underline",
    Condition.LOCKED: "bold reverse",
}
_PRIORITY_MARK = {Priority.HIGH: "!!!", Priority.MEDIUM: "!!", Priority.LOW: "!"}


class Trends:
    """The last values of each quantity, thinned so that a line covers `span_s` of rig time."""

    def __init__(self, span_s: float) -> None:
        self._step_s = span_s / TREND_POINTS
        self._next_s = 0.0
        self._kept: dict[tuple[str, Quantity], deque[float | None]] = {}

    def see(self, state: State) -> None:
        """Keep this snapshot's values if a step of time has gone by."""
        if state.at_s < self._next_s:
            return
        self._next_s = state.at_s + self._step_s
        for reservoir in state.reservoirs.values():
            for quantity, verdict in reservoir.verdicts.items():
                line = self._kept.setdefault((reservoir.name, quantity), deque(maxlen=TREND_POINTS))
                line.append(verdict.reading.value if verdict.usable and verdict.reading else None)

    def line(self, reservoir: str, quantity: Quantity, smallest_span: float) -> str:
        """The values as a row of bars, lowest to highest; a gap where there was no good value."""
        return sparkline(self._kept.get((reservoir, quantity), ()), smallest_span)


def sparkline(values: Iterable[float | None], smallest_span: float) -> str:
    """Bars scaled to the values' own range, but never finer than `smallest_span` (so noise looks flat)."""
    kept = list(values)
    known = [value for value in kept if value is not None]
    if not known:
        return ""
    middle = (max(known) + min(known)) / 2
    span = max(max(known) - min(known), smallest_span)
    top = len(_STEPS) - 1

    def step(value: float) -> int:
        return min(top, max(0, top // 2 + round((value - middle) / span * top)))

    return "".join(" " if value is None else _STEPS[step(value)] for value in kept)


def gauge(value: float | None, low: float, high: float) -> Text:
    """The band as a thick line inside a thin one, with a mark where the value stands."""
    margin = (high - low) * 0.75
    left, width = low - margin, (high - low) + 2 * margin

    def cell(amount: float) -> int:
        return min(GAUGE_CELLS - 1, max(0, int((amount - left) / width * GAUGE_CELLS)))

    cells = ["─"] * GAUGE_CELLS
    for index in range(cell(low), cell(high) + 1):
        cells[index] = "━"
    text = Text("".join(cells))
    if value is not None:
        at = cell(value)
        inside = low <= value <= high
        text = (
            Text("".join(cells[:at]))
            + Text("◆" if inside else "◇", style="bold")
            + Text("".join(cells[at + 1 :]))
        )
    return Text(f"{low:g} ", style="dim") + text + Text(f" {high:g}", style="dim")


def render(state: State, trends: Trends, title: str, footer: str = "") -> RenderableType:
    """The whole picture for one snapshot."""
    parts: list[RenderableType] = [_head(state, title)]
    parts += [_reservoir(reservoir, trends) for reservoir in state.reservoirs.values()]
    parts.append(_alarms(state.alarms))
    if footer:
        parts.append(Text(footer, style="dim"))
    return Group(*parts)


def _head(state: State, title: str) -> Text:
    head = Text(title, style="bold")
    head.append(f"   {state.utc:%Y-%m-%d %H:%M:%S} UTC   pass {state.passes}", style="dim")
    head.append(f"   rig {state.rig}", style="dim")
    return head


def _reservoir(reservoir: ReservoirState, trends: Trends) -> Panel:
    condition = Text(
        words.condition(reservoir.condition, reservoir.condition_reason),
        style=_CONDITION_STYLE[reservoir.condition],
    )
    waiting = Text(reservoir.waiting_for, style="dim")
    body = Group(
        condition,
        waiting,
        Text(),
        _values(reservoir, trends),
        Text(),
        _caps(reservoir.caps),
        Text(),
        _doses(reservoir.last_doses),
    )
    return Panel(body, title=Text(reservoir.title), title_align="left", border_style="dim")


def _values(reservoir: ReservoirState, trends: Trends) -> RenderableType:
    table = Table.grid(padding=(0, 1))
    for width in (11, 10, 0, TREND_POINTS, 0):
        table.add_column(no_wrap=True, min_width=width)
    for quantity, verdict in reservoir.verdicts.items():
        table.add_row(*_value_row(reservoir, quantity, verdict, trends))
    reasons = [
        Text(f"{_MARK[verdict.quality]} {words.QUANTITY[quantity]} {verdict.quality.value}: {words.why(verdict)}")
        for quantity, verdict in reservoir.verdicts.items()
        if verdict.quality is not Quality.GOOD
    ]
    return Group(table, *reasons)


def _value_row(
    reservoir: ReservoirState, quantity: Quantity, verdict: Verdict, trends: Trends
) -> tuple[RenderableType, ...]:
    amount = words.believed(verdict)
    band = reservoir.bands.get(quantity)
    smallest = (band[1] - band[0]) / 4 if band else 1.0
    return (
        Text(words.QUANTITY[quantity]),
        Text(words.value(quantity, amount), style=_STYLE[verdict.quality]),
        gauge(amount, *band) if band else Text(),
        Text(trends.line(reservoir.name, quantity, smallest) if band else ""),
        Text(_MARK[verdict.quality]),
    )


def _caps(caps: Mapping[Role, CapUse]) -> Table:
    table = Table.grid(padding=(0, 1))
    for role, use in caps.items():
        table.add_row(
            Text(words.ROLE[role]),
            Text(f"hour {_bar(use.last_hour_ml, use.max_per_hour_ml)}"),
            Text(f"24 h {_bar(use.last_day_ml, use.max_per_day_ml)}"),
            Text(f"bottle {use.bottle_left_ml:.0f} mL", style="dim"),
        )
    return table


def _bar(used_ml: float, cap_ml: float) -> str:
    full = 0 if cap_ml <= 0 else min(BAR_CELLS, round(used_ml / cap_ml * BAR_CELLS))
    return f"{'▰' * full}{'▱' * (BAR_CELLS - full)} {used_ml:.1f} of {cap_ml:.0f} mL"


def _doses(entries: tuple[Entry, ...]) -> RenderableType:
    if not entries:
        return Text("no dose yet", style="dim")
    return Text("\n").join(Text(f"{_clock(entry.utc)}  {words.entry(entry)}") for entry in entries)


def _alarms(alarms: tuple[Alarm, ...]) -> RenderableType:
    if not alarms:
        return Text("no alarm", style="dim")
    lines = [
        Text(f"{_PRIORITY_MARK[a.priority]} {a.key} ({a.state.value.replace('_', ' ')}): {a.text}", style="bold")
        for a in alarms
    ]
    return Text("\n").join(lines)


def _clock(utc: datetime) -> str:
    return f"{utc:%H:%M:%S}"
