"""An audit of what pumps truly did, from the edges on their lines: independent of ledger and permit.

Reckons each pump's run times at the rate the settings give, and looks for any window that held more
than its cap. It reads the settings' caps and knows nothing else of how they are kept.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field
from math import inf
from typing import Protocol

from config.pump import Pump
from config.settings import Settings

HOUR_S, DAY_S = 3600.0, 86400.0
ROUNDING_ML = 0.05  # a run ends on the pump keeper's clock, which steps in fractions of a second


class Edge(Protocol):
    """A line that began or ceased to be driven high."""

    @property
    def at_s(self) -> float: ...
    @property
    def line(self) -> int: ...
    @property
    def on(self) -> bool: ...


@dataclass(slots=True)
class _Line:
    """One pump's line: when it went on, and its runs of the last 24 h as (end, mL)."""

    pump: Pump
    on_since_s: float | None = None
    last_start_s: float | None = None
    runs: deque[tuple[float, float]] = field(default_factory=deque)
    total_ml: float = 0.0
    most_in_a_day_ml: float = 0.0


class Audit:
    """Counts violations over all pumps of the settings. Feed it edges in order."""

    def __init__(self, settings: Settings) -> None:
        self.violations: list[str] = []
        self._lines = {
            pump.line: (f"{name}/{role}", _Line(pump))
            for name, reservoir in settings.reservoir.items()
            for role, pump in reservoir.pump.items()
        }
        self._on: set[int] = set()

    def see(self, edges: Iterable[Edge]) -> None:
        """Take the next edges."""
        for edge in edges:
            if edge.line in self._lines:
                self._take(edge)

    def finish(self, at_s: float) -> None:
        """The end of what is audited: a line still high then is a violation, and what it has run counts."""
        for name, line in self._lines.values():
            if line.on_since_s is not None:
                self._found(name, at_s, "was still running at the end")
                self._end(name, line, at_s)
        self._on.clear()

    def total_ml(self) -> dict[str, float]:
        """mL per pump, as run times at the settings' rates."""
        return {name: round(line.total_ml, 2) for name, line in self._lines.values()}

    def worst_day_share(self) -> float:
        """The fullest 24 h of any pump as a share of its cap: 0 where nothing ran, infinity without a cap."""
        return max((_share(line.most_in_a_day_ml, line.pump) for _, line in self._lines.values()), default=0.0)

    def _take(self, edge: Edge) -> None:
        name, line = self._lines[edge.line]
        if edge.on and line.on_since_s is None:
            self._start(name, line, edge)
        elif not edge.on and line.on_since_s is not None:
            self._end(name, line, edge.at_s)
            self._on.discard(edge.line)

    def _start(self, name: str, line: _Line, edge: Edge) -> None:
        if self._on:
            self._found(name, edge.at_s, "ran while another pump was running")
        if line.last_start_s is not None and edge.at_s - line.last_start_s < line.pump.min_gap_s:
            self._found(name, edge.at_s, f"started {edge.at_s - line.last_start_s:.0f} s after its last start")
        line.on_since_s = line.last_start_s = edge.at_s
        self._on.add(edge.line)

    def _end(self, name: str, line: _Line, at_s: float) -> None:
        started_s = at_s if line.on_since_s is None else line.on_since_s
        line.on_since_s = None
        ml = (at_s - started_s) * line.pump.ml_per_s
        line.total_ml += ml
        line.runs.append((at_s, ml))
        while at_s - line.runs[0][0] >= DAY_S:
            line.runs.popleft()
        pump = line.pump
        hour_ml = sum(run_ml for end_s, run_ml in line.runs if at_s - end_s < HOUR_S)  # reaches into the hour
        day_ml = sum(run_ml for _, run_ml in line.runs)
        line.most_in_a_day_ml = max(line.most_in_a_day_ml, day_ml)
        self._above(name, at_s, "dose", ml, pump.max_per_dose_ml)
        self._above(name, at_s, "hour", hour_ml, pump.max_per_hour_ml)
        self._above(name, at_s, "24 h", day_ml, pump.max_per_day_ml)

    def _above(self, name: str, at_s: float, window: str, ml: float, cap_ml: float | None) -> None:
        if not ml <= (cap_ml or 0.0) + ROUNDING_ML:
            self._found(name, at_s, f"{ml:.2f} mL in one {window}, cap {cap_ml or 0.0:g} mL")

    def _found(self, name: str, at_s: float, what: str) -> None:
        self.violations.append(f"{name} at {at_s:.0f} s: {what}")


def _share(ml: float, pump: Pump) -> float:
    if not ml > 0.0:
        return 0.0
    return ml / pump.max_per_day_ml if pump.max_per_day_ml else inf
