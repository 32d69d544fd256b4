"""Two years of minutes of three reservoirs, and how long their trend takes to open: for `make bench`."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import median

from daemon.page.frame import document
from daemon.page.looking_back import Marks, marks, stretches
from daemon.page.views.trend import trend
from daemon.page.window import Window
from daemon.store.history import FILE, History
from daemon.store.trend import opened
from daemon.values import Quantity, ReservoirState
from tests.link.states import reservoir
from tests.store.snapshots import snapshot

DAYS, RESERVOIRS, LOOKS = 730, 3, 5
END = datetime(2026, 3, 1, tzinfo=UTC)
KEPT = (
    Quantity.PH,
    Quantity.EC,
    Quantity.TEMPERATURE,
    Quantity.LEVEL,
    Quantity.AIR_TEMPERATURE,
    Quantity.HUMIDITY,
)
MOST_MS = 300.0

_MINUTES = """
WITH RECURSIVE each(minute) AS (SELECT :first UNION ALL SELECT minute + 1 FROM each WHERE minute + 1 < :end)
INSERT INTO minutes
SELECT :series, minute, 6000 + (minute * 7919 + :series * 101) % 400, minute % 997 = 0 FROM each
"""
_HOURS = """
INSERT INTO hours SELECT series, minute / 60, count(*), sum(value), min(value), max(value), sum(doubted)
FROM minutes WHERE series = :series GROUP BY series, minute / 60
"""


def names() -> tuple[str, ...]:
    """Of the reservoirs."""
    return tuple(f"bed{number}" for number in range(1, RESERVOIRS + 1))


def build(folder: Path, days: int = DAYS) -> int:
    """A history of so many days up to END, made by its own code and filled by the database; how many values."""
    history = History(folder, keep_days=800)
    history.see(snapshot(0.0, 6.0))
    history.close()
    end = int(END.timestamp()) // 60
    with closing(sqlite3.connect(folder / FILE)) as db, db:
        db.executescript("PRAGMA synchronous = OFF; DELETE FROM minutes; DELETE FROM hours; DELETE FROM series;")
        series = [(bed, quantity.value) for bed in names() for quantity in KEPT]
        for number, of in enumerate(series, 1):
            db.execute("INSERT INTO series VALUES (?, ?, ?)", (number, *of))
            db.execute(_MINUTES, {"series": number, "first": end - days * 24 * 60, "end": end})
            db.execute(_HOURS, {"series": number})
        return int(db.execute("SELECT count(*) FROM minutes").fetchone()[0])


def opened_bytes(folder: Path, bed: ReservoirState, window: Window) -> int:
    """How large the trend of one reservoir is, made from the file as the page makes it, and whole."""
    with opened(folder) as trends:
        marked: Marks = marks(trends, bed.last_doses, bed.name, window)
        lines = stretches(trends, bed, window, marked)
    assert len(lines) == len(KEPT)
    return len(document("/trend", None, trend({bed.name: bed.title}, bed.name, window, lines)))


def figures(folder: Path, days: int = DAYS) -> Iterator[tuple[str, float, float, int]]:
    """Stretch of time, ms until its trend is made and of these on the processor (medians of LOOKS), bytes."""
    bed = reservoir(names()[-1])
    for told in (1, 7, 12, 30, 120, days):
        window = Window(END - timedelta(days=told), END, END)
        took_ms, cpu_ms, size = [], [], 0
        for _ in range(LOOKS):
            begun_s, cpu_s = time.perf_counter(), time.process_time()
            size = opened_bytes(folder, bed, window)
            took_ms.append((time.perf_counter() - begun_s) * 1000.0)
            cpu_ms.append((time.process_time() - cpu_s) * 1000.0)
        yield f"{told} days", median(took_ms), median(cpu_ms), size
