"""What a trend is made of: read from the history, and from the ledger by the daemon."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from daemon.page.chart import Line
from daemon.page.views.trend import Stretch
from daemon.page.window import Window
from daemon.store.trend import Bucket, Trends, grid_of
from daemon.values import Entry, Quantity, ReservoirState

POINTS, ROWS = 320, 8  # of a line, and of its table
MOST_LOOKED_BACK = 1000  # lines of the ledger, for marks in the trend


@dataclass(frozen=True, slots=True)
class Marks:
    """Moments of doses and alarms to mark; missing: what is not marked, and why, "" for nothing."""

    doses: Sequence[datetime]
    alarms: Sequence[datetime]
    missing: str = ""


def marks(trends: Trends, entries: Sequence[Entry], chosen: str, window: Window) -> Marks:
    """Those of one reservoir. entries: the last MOST_LOOKED_BACK lines of the ledger, newest first."""
    events = trends.events(window.begin, window.end)
    alarms = [event.at for event in events if event.what == "raised" and event.reservoir == chosen]
    doses = [dose.utc for dose in entries if dose.reservoir == chosen and window.begin <= dose.utc <= window.end]
    oldest = entries[-1].utc if len(entries) >= MOST_LOOKED_BACK else window.begin
    missing = f"Doses before {oldest:%d %b %Y} are not marked." if oldest > window.begin else ""
    return Marks(doses, alarms, missing)


def stretches(trends: Trends, of: ReservoirState, window: Window, marked: Marks) -> list[Stretch]:
    """One for each quantity that was kept of it."""
    known = {
        Quantity(name) for reservoir, name in trends.series() if reservoir == of.name and name in set(Quantity)
    }
    return [_stretch(trends, of, quantity, window, marked) for quantity in Quantity if quantity in known]


def _stretch(trends: Trends, of: ReservoirState, quantity: Quantity, window: Window, marked: Marks) -> Stretch:
    series = (of.name, quantity.value)
    buckets = trends.buckets(series, window.begin, window.end, POINTS)
    line = Line(
        quantity,
        buckets,
        window.begin,
        window.end,
        grid_of(window.begin, window.end, POINTS).step,
        of.bands.get(quantity),
        marked.doses,
        marked.alarms,
        trends.bands(series, window.begin, window.end),
    )
    return Stretch(line, wider(buckets, window, ROWS))


def wider(buckets: Sequence[Bucket], window: Window, count: int) -> tuple[Bucket, ...]:
    """The same in at most `count` stretches of equal length; the mean is that of the buckets in each."""
    places = [min(count - 1, int((bucket.begins - window.begin) / window.length * count)) for bucket in buckets]
    made = []
    for place in sorted({max(0, each) for each in places}):
        within = [bucket for bucket, at in zip(buckets, places, strict=True) if max(0, at) == place]
        made.append(
            Bucket(
                window.begin + place * window.length / count,
                min(bucket.low for bucket in within),
                max(bucket.high for bucket in within),
                sum(bucket.mean for bucket in within) / len(within),
                sum(bucket.doubted for bucket in within) / len(within),
            )
        )
    return tuple(made)
