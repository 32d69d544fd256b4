"""The history read for a picture."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daemon.store.history import History
from daemon.store.trend import HistoryError, opened
from tests.store.snapshots import MIDNIGHT, snapshot

PH = ("bed1", "ph")
HOUR = timedelta(hours=1)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Ten days at pH 6, with one minute at 7.5 on the fifth."""
    folder = tmp_path_factory.mktemp("history")
    history = History(folder, keep_days=800)
    for minute in range(10 * 24 * 60):
        history.see(snapshot(minute * 60.0, 7.5 if minute == 7000 else 6.0))
    history.close()
    return folder


@pytest.mark.parametrize("points", [20, 200, 400])
def test_a_short_excursion_stays_visible(folder: Path, points: int) -> None:
    """By hours as well as by minutes, at its place."""
    with opened(folder) as trends:
        buckets = trends.buckets(PH, MIDNIGHT, MIDNIGHT + 240 * HOUR, points)
    assert len(buckets) == pytest.approx(points, abs=points / 2)
    high = max(buckets, key=lambda bucket: bucket.high)
    assert (high.low, high.high) == (6.0, 7.5)
    width = buckets[1].begins - buckets[0].begins
    assert high.begins <= MIDNIGHT + timedelta(minutes=7000) < high.begins + width
    assert all(bucket.high == 6.0 for bucket in buckets if bucket is not high)


@settings(max_examples=30)
@given(begin_min=st.integers(0, 14_000), minutes=st.integers(1, 20_000), points=st.integers(1, 500))
def test_never_more_points_than_asked_and_nothing_left_out(
    folder: Path, begin_min: int, minutes: int, points: int
) -> None:
    """Whatever part of it is looked at: each minute of it is in one of its buckets."""
    begin = MIDNIGHT + timedelta(minutes=begin_min)
    end = begin + timedelta(minutes=minutes)
    with opened(folder) as trends:
        buckets = trends.buckets(PH, begin, end, points)
        kept = sum(1 for _ in trends.rows(PH, begin, end))
    assert len(buckets) <= points
    assert bool(buckets) >= bool(kept)
    assert any(bucket.high == 7.5 for bucket in buckets) >= (begin_min <= 7000 < begin_min + minutes)


def test_what_was_not_kept(folder: Path) -> None:
    """Gives nothing; a span without length is refused."""
    with opened(folder) as trends:
        assert trends.series() == (PH,)
        assert trends.buckets(("bed9", "ph"), MIDNIGHT, MIDNIGHT + HOUR) == ()
        assert trends.buckets(PH, MIDNIGHT - 9 * HOUR, MIDNIGHT - 8 * HOUR) == ()
        assert list(trends.rows(("bed9", "ph"), MIDNIGHT, MIDNIGHT + HOUR)) == []
        with pytest.raises(ValueError, match="begin must be before end"):
            trends.buckets(PH, MIDNIGHT, MIDNIGHT)


def test_no_history_says_what_to_do(tmp_path: Path) -> None:
    """Nor does looking make one."""
    with pytest.raises(HistoryError, match="does not exist"), opened(tmp_path):
        pass
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_is_none_says_so(tmp_path: Path) -> None:
    """With its name."""
    (tmp_path / "history.db").write_bytes(b"no database" * 100)
    with pytest.raises(HistoryError, match="cannot be read"), opened(tmp_path) as trends:
        trends.series()
