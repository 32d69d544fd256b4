"""Snapshots in, a row for each minute and probe out; and what began, ended or moved between two snapshots. Pure.

A row is the mean of a minute's readings. Its time stays the box's monotonic one until the wall clock is known to
be right: what was measured before a clock without a battery was set belongs to the moment it was measured at.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from statistics import fmean

from daemon import words
from daemon.values import Alarm, Condition, State

MINUTE_S = 60.0
Series = tuple[str, str]
"""Reservoir and quantity."""


@dataclass(frozen=True, slots=True)
class Minute:
    """One probe's mean of one minute. at_s: its beginning, monotonic; doubted: one of them was not to dose by."""

    series: Series
    at_s: float
    value: float
    doubted: bool


@dataclass(frozen=True, slots=True)
class Happened:
    """Something that began or ended at `at_s` (monotonic): an alarm, by its key, or a reservoir's condition."""

    at_s: float
    reservoir: str
    what: str  # "raised", "over" or the condition's name
    key: str
    text: str


@dataclass(frozen=True, slots=True)
class Banded:
    """The band of one series from `at_s` (monotonic) on, in its unit."""

    series: Series
    at_s: float
    low: float
    high: float


@dataclass(slots=True)
class _Open:
    """The readings of one probe in the minute that is going on."""

    values: list[float] = field(default_factory=list)
    doubted: bool = False


class Minutes:
    """Gathers readings until their minute is over. Fed one snapshot a pass."""

    def __init__(self) -> None:
        self._minute: int | None = None
        self._open: dict[Series, _Open] = {}

    def see(self, state: State) -> list[Minute]:
        """Take in a snapshot; the rows of the minute that it ends, if it ends one."""
        minute = int(state.at_s // MINUTE_S)
        ended = self.end() if minute != self._minute else []
        self._minute = minute
        for name, reservoir in state.reservoirs.items():
            for quantity, verdict in reservoir.verdicts.items():
                if verdict.reading is not None:
                    of = self._open.setdefault((name, quantity.value), _Open())
                    of.values.append(verdict.reading.value)
                    of.doubted = of.doubted or not verdict.usable
        return ended

    def end(self) -> list[Minute]:
        """The rows of the minute that is going on; it begins anew."""
        at_s = (self._minute or 0) * MINUTE_S
        rows = [Minute(series, at_s, fmean(of.values), of.doubted) for series, of in self._open.items()]
        self._open = {}
        return rows


def happened(before: State | None, now: State) -> Iterator[Happened]:
    """What began or ended since the snapshot before: alarms and conditions."""
    were = {} if before is None else {alarm.key: alarm for alarm in before.alarms}
    are = {alarm.key: alarm for alarm in now.alarms}
    yield from (_alarm("raised", alarm, now.at_s) for key, alarm in are.items() if key not in were)
    yield from (_alarm("over", alarm, now.at_s) for key, alarm in were.items() if key not in are)
    stood: Mapping[str, Condition | None]
    stood = {} if before is None else {name: of.condition for name, of in before.reservoirs.items()}
    for name, reservoir in now.reservoirs.items():
        if reservoir.condition is not stood.get(name):
            text = reservoir.condition_reason or words.CONDITION[reservoir.condition]
            yield Happened(now.at_s, name, reservoir.condition.value, "", text)


def banded(before: State | None, now: State) -> Iterator[Banded]:
    """Bands that are other than in the snapshot before; of the first snapshot all."""
    for name, reservoir in now.reservoirs.items():
        was = before.reservoirs.get(name) if before is not None else None
        for quantity, (low, high) in reservoir.bands.items():
            if was is None or was.bands.get(quantity) != (low, high):
                yield Banded((name, quantity.value), now.at_s, low, high)


def _alarm(what: str, alarm: Alarm, at_s: float) -> Happened:
    return Happened(at_s, alarm.reservoir, what, alarm.key, alarm.text)
