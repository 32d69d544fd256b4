"""What is kept of the readings, and what becomes of it in trouble."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from daemon.store.history import FILE, MOST_ROWS, TRUST_WITHIN_S, WRITE_EVERY_S, History
from daemon.store.trend import Band, Row, opened
from daemon.values import Quantity, State
from tests.link.states import alarm
from tests.store.snapshots import MIDNIGHT, snapshot

PH = ("bed1", "ph")
A_YEAR = timedelta(days=365)
HOUR_S = 3600.0


def rows(folder: Path) -> list[Row]:
    """All that was kept of the pH."""
    with opened(folder) as trends:
        return list(trends.rows(PH, MIDNIGHT - A_YEAR, MIDNIGHT + A_YEAR))


def live(
    history: History, until_s: float, *, begin_s: float = 0.0, trusted: bool = True, off_s: float = 0.0
) -> None:
    """A reading of pH 6 each minute."""
    at_s = begin_s
    while at_s < until_s:
        history.see(snapshot(at_s, 6.0, trusted=trusted, off_s=off_s))
        at_s += 60.0


def test_each_minute_is_kept_at_its_time(tmp_path: Path) -> None:
    """In thousandths, and nothing twice."""
    history = History(tmp_path, keep_days=800)
    for minute in range(10):
        history.see(snapshot(minute * 60.0, 6.0 + minute / 1000.0, trusted=True))
    history.close()
    history.close()
    assert rows(tmp_path) == [
        Row(MIDNIGHT + timedelta(minutes=minute), 6.0 + minute / 1000.0, doubted=False) for minute in range(10)
    ]


def test_it_is_written_in_batches(tmp_path: Path) -> None:
    """A card wears by the number of writes."""
    history = History(tmp_path, keep_days=800)
    live(history, WRITE_EVERY_S)
    assert rows(tmp_path) == []
    live(history, WRITE_EVERY_S + 1.0, begin_s=WRITE_EVERY_S)
    assert len(rows(tmp_path)) == WRITE_EVERY_S / 60.0
    history.close()


def test_it_goes_on_in_the_same_file(tmp_path: Path) -> None:
    """A minute in which the program was restarted is kept by its newer part."""
    for begin_s in (0.0, 600.0):
        history = History(tmp_path, keep_days=800)
        live(history, begin_s + 600.0, begin_s=begin_s)
        history.close()
    assert len(rows(tmp_path)) == 20


def test_what_was_read_before_the_clock_was_right_is_dated_right(tmp_path: Path) -> None:
    """A board without a clock battery starts hours behind, until the network tells."""
    history = History(tmp_path, keep_days=800)
    live(history, HOUR_S, trusted=False, off_s=-5 * HOUR_S)
    history.see(snapshot(HOUR_S, 6.0))
    history.close()
    assert [row.at for row in rows(tmp_path)] == [MIDNIGHT + timedelta(minutes=minute) for minute in range(61)]


def test_a_clock_that_is_never_right_is_better_than_none(tmp_path: Path) -> None:
    """A box without a network: after some hours its own time is taken."""
    history = History(tmp_path, keep_days=800)
    live(history, TRUST_WITHIN_S + HOUR_S, trusted=False)
    assert len(rows(tmp_path)) == pytest.approx(60, abs=WRITE_EVERY_S / 60.0)
    history.close()


def test_a_full_disk_loses_nothing_of_a_day(tmp_path: Path) -> None:
    """Rows wait, the trouble is told, and ends by itself."""
    folder = tmp_path / "gone"
    history = History(folder, keep_days=800)
    live(history, HOUR_S)
    assert str(folder / FILE) in history.trouble
    folder.mkdir()
    live(history, 2 * HOUR_S, begin_s=HOUR_S)
    assert history.trouble == ""
    history.close()
    assert len(rows(folder)) == 120


def test_memory_is_bounded(tmp_path: Path) -> None:
    """However long the trouble lasts: the oldest rows go."""
    history = History(tmp_path / "gone", keep_days=800)
    for minute in range(MOST_ROWS + 100):
        history.see(snapshot(minute * 60.0, 6.0))
    (tmp_path / "gone").mkdir()
    history.close()
    kept = rows(tmp_path / "gone")
    assert len(kept) == MOST_ROWS
    assert kept[-1].at == MIDNIGHT + timedelta(minutes=MOST_ROWS + 99)


def test_a_damaged_file_is_put_aside_and_a_new_one_begun(tmp_path: Path) -> None:
    """Nothing that waits is lost by it; the damaged one stays for who can read it."""
    (tmp_path / FILE).write_bytes(b"not a database, though long enough to look like one" * 40)
    history = History(tmp_path, keep_days=800)
    history.see(snapshot(0.0, 6.0))
    assert FILE in history.trouble
    live(history, HOUR_S, begin_s=60.0)
    history.close()
    assert len(rows(tmp_path)) == 60
    assert (tmp_path / f"{FILE}.damaged").read_bytes().startswith(b"not a database")


def test_a_newer_file_is_left_alone(tmp_path: Path) -> None:
    """Of a version that knows more than this one."""
    with sqlite3.connect(tmp_path / FILE) as db:
        db.execute("PRAGMA user_version = 9")
    db.close()
    history = History(tmp_path, keep_days=800)
    live(history, HOUR_S)
    assert "another version" in history.trouble
    history.close()
    with sqlite3.connect(tmp_path / FILE) as db:
        assert db.execute("SELECT count(*) FROM sqlite_master").fetchone() == (0,)
    db.close()


def test_what_is_no_number_is_left_out(tmp_path: Path) -> None:
    """And the rest of its batch is kept."""
    history = History(tmp_path, keep_days=800)
    history.see(snapshot(0.0, float("nan")))
    history.see(snapshot(60.0, 6.0))
    history.close()
    assert [row.value for row in rows(tmp_path)] == [6.0]


def test_old_minutes_go_and_their_hours_stay(tmp_path: Path) -> None:
    """Nobody looks at single minutes of years ago; the picture of them stays."""
    history = History(tmp_path, keep_days=2)
    live(history, 3 * 24 * HOUR_S)
    now = MIDNIGHT + timedelta(days=3)
    history.drop_old(now)
    history.close()
    assert min(row.at for row in rows(tmp_path)) == MIDNIGHT + timedelta(days=1)
    with opened(tmp_path) as trends:
        assert len(trends.buckets(PH, MIDNIGHT, now, 36)) == 36


def test_what_happened_is_kept_with_its_words(tmp_path: Path) -> None:
    """Alarms and conditions, for the marks in a picture."""
    history = History(tmp_path, keep_days=800)
    history.see(snapshot(0.0, 6.0))
    history.see(replace(snapshot(60.0, 6.0), alarms=(alarm(text="pH probe: unplugged"),)))
    history.see(snapshot(120.0, 6.0))
    history.close()
    with opened(tmp_path) as trends:
        found = trends.events(MIDNIGHT, datetime(2026, 3, 2, tzinfo=UTC))
    assert [(event.what, event.key, (event.at - MIDNIGHT).total_seconds()) for event in found] == [
        ("keeping", "", 0.0),
        ("raised", "bed1-ph-probe", 60.0),
        ("over", "bed1-ph-probe", 120.0),
    ]


def banded(at_s: float, low: float) -> State:
    """A snapshot with a band of pH from there to 6.5."""
    state = snapshot(at_s, 6.0)
    bed = replace(state.reservoirs["bed1"], bands={Quantity.PH: (low, 6.5)})
    return replace(state, reservoirs={"bed1": bed})


def test_bands_are_kept_as_they_were(tmp_path: Path) -> None:
    """One that was there before the time looked at still holds in it; a restart with the same adds none."""
    for begin_s, low in ((0.0, 5.5), (3600.0, 5.5), (7200.0, 5.8)):
        history = History(tmp_path, keep_days=800)
        history.see(banded(begin_s, low))
        history.see(banded(begin_s + 60.0, low))
        history.close()
    with opened(tmp_path) as trends:
        whole = trends.bands(PH, MIDNIGHT - A_YEAR, MIDNIGHT + A_YEAR)
        late = trends.bands(PH, MIDNIGHT + timedelta(hours=1), MIDNIGHT + timedelta(hours=3))
        before = trends.bands(PH, MIDNIGHT - A_YEAR, MIDNIGHT)
    changed = MIDNIGHT + timedelta(hours=2)
    assert whole == (Band(MIDNIGHT, 5.5, 6.5), Band(changed, 5.8, 6.5))
    assert late == (Band(MIDNIGHT + timedelta(hours=1), 5.5, 6.5), Band(changed, 5.8, 6.5))
    assert before == ()


def test_a_file_from_before_bands_were_kept_is_read_and_gone_on_with(tmp_path: Path) -> None:
    """Its readings stay, and from now on its bands are kept, too."""
    history = History(tmp_path, keep_days=800)
    live(history, 600.0)
    history.close()
    with closing(sqlite3.connect(tmp_path / FILE)) as db:
        db.execute("DROP TABLE bands")
    with opened(tmp_path) as trends:
        assert trends.bands(PH, MIDNIGHT - A_YEAR, MIDNIGHT + A_YEAR) == ()
    history = History(tmp_path, keep_days=800)
    history.see(banded(700.0, 5.5))
    history.close()
    assert len(rows(tmp_path)) == 11
    with opened(tmp_path) as trends:
        assert [band.low for band in trends.bands(PH, MIDNIGHT - A_YEAR, MIDNIGHT + A_YEAR)] == [5.5]
