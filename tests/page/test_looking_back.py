"""What a trend is made of."""

from __future__ import annotations

from datetime import timedelta
from itertools import pairwise
from pathlib import Path

import pytest

from daemon.page.looking_back import MOST_LOOKED_BACK, marks, stretches, wider
from daemon.page.views.trend import CSV_HEADINGS, rows_of
from daemon.page.window import Window
from daemon.store.history import History
from daemon.store.trend import opened
from daemon.values import Quantity
from tests.link.states import entry, reservoir
from tests.page.two_years import END, KEPT, build, names, opened_bytes
from tests.store.snapshots import MIDNIGHT, snapshot

DAY = timedelta(days=1)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two days at pH 6, with a gap in the middle of the second."""
    folder = tmp_path_factory.mktemp("history")
    history = History(folder, keep_days=800)
    for minute in range(2 * 24 * 60):
        if not 2000 <= minute < 2300:
            history.see(snapshot(minute * 60.0, 6.0 + minute / 10_000.0))
    history.close()
    return folder


def test_each_quantity_that_was_kept_is_a_line_with_its_marks(folder: Path) -> None:
    """Doses of this reservoir in this time only; what the ledger does not tell any more is said."""
    window = Window(MIDNIGHT, MIDNIGHT + 2 * DAY, MIDNIGHT + 2 * DAY)
    with opened(folder) as trends:
        marked = marks(trends, [entry(7, 2.5)], "bed1", window)
        (line,) = stretches(trends, reservoir(), window, marked)
    assert line.line.quantity is Quantity.PH
    assert marked.missing == ""
    assert len(line.rows) <= 8
    assert line.rows[0].low == 6.0
    rows = rows_of("bed1", [line])
    assert len(rows) == len(line.line.buckets)
    assert len(rows[0]) == len(CSV_HEADINGS)
    assert rows[0][:4] == ("2026-03-01T00:00:00Z", "bed1", "ph", "")


def test_a_line_is_broken_at_a_gap_and_nowhere_else(folder: Path) -> None:
    """At every width of its buckets."""
    for hours in (6, 12, 24, 40, 47):
        window = Window(MIDNIGHT + timedelta(minutes=1), MIDNIGHT + timedelta(hours=hours), MIDNIGHT + 2 * DAY)
        with opened(folder) as trends:
            (line,) = stretches(trends, reservoir(), window, marks(trends, [], "bed1", window))
        buckets, step = line.line.buckets, line.line.step
        gaps = sum(b.begins - a.begins > 1.5 * step for a, b in pairwise(buckets))
        assert gaps == (hours >= 40), hours


def test_marks_that_the_ledger_no_longer_tells_are_said_to_be_missing(folder: Path) -> None:
    """From the oldest line that it told."""
    window = Window(MIDNIGHT - 900 * DAY, MIDNIGHT + 2 * DAY, MIDNIGHT + 2 * DAY)
    many = [entry(number, 1.0) for number in range(MOST_LOOKED_BACK, 0, -1)]
    with opened(folder) as trends:
        assert marks(trends, many, "bed1", window).missing.startswith("Doses before ")


def test_wide_rows_keep_the_extremes(folder: Path) -> None:
    """Lowest and highest of all they stand for."""
    window = Window(MIDNIGHT, MIDNIGHT + 2 * DAY, MIDNIGHT + 2 * DAY)
    with opened(folder) as trends:
        buckets = trends.buckets(("bed1", "ph"), window.begin, window.end, 320)
    rows = wider(buckets, window, 8)
    assert min(row.low for row in rows) == min(bucket.low for bucket in buckets)
    assert max(row.high for row in rows) == max(bucket.high for bucket in buckets)
    assert [row.begins for row in rows] == sorted({row.begins for row in rows})


def test_the_history_of_the_bench_is_whole(tmp_path: Path) -> None:
    """What `make bench` times is what a page would show."""
    assert build(tmp_path, days=2) == 2 * 24 * 60 * len(KEPT) * len(names())
    bed = reservoir(names()[0])
    assert opened_bytes(tmp_path, bed, Window(END - DAY, END, END)) > 10_000
