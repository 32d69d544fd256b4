"""Every calibration that was accepted, on disk."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.measure.ageing import Made
from daemon.measure.calibrate import Point
from daemon.measure.convert import EcCalibration, PhCalibration
from daemon.measure.history import CalibrationHistory, HistoryError, Past
from daemon.values import Quantity

WHEN = datetime(2026, 3, 2, 9, 12, tzinfo=UTC)
ELECTRODE = PhCalibration(slope_percent=98.0, offset_mv=4.0, day="2026-03-02")
POINTS = (Point("7.00", 7.02, 2.9, 0.3, 20.1, WHEN, 50.0), Point("4.01", 4.0, 176.0, 0.2, 20.3, WHEN, 61.5))
FIRST = Made(WHEN, {"slope_percent": 98.0, "offset_mv": 4.0}, ("7.00", "4.01"), 61.5)


@pytest.fixture
def history(tmp_path: Path) -> CalibrationHistory:
    return CalibrationHistory(tmp_path / "state" / "made.jsonl")


def add(history: CalibrationHistory) -> None:
    history.add("bed1", Quantity.PH, ELECTRODE, POINTS, WHEN)


def test_what_is_added_is_there_by_reservoir_and_quantity(history: CalibrationHistory) -> None:
    """Over a restart; the longest time to settle, the standards, the numbers."""
    assert history.of("bed1", Quantity.PH) == Past()
    add(history)
    history.add("bed1", Quantity.EC, EcCalibration(cell_constant_per_cm=1.0, day="2026-03-02"), (), WHEN)
    history.add(
        "bed2", Quantity.PH, PhCalibration(slope_percent=99.0, offset_mv=0.0, day="", stop_gap=True), (), WHEN
    )
    again = CalibrationHistory(history.path)
    assert again.of("bed1", Quantity.PH) == Past((FIRST,))
    (cell,) = again.of("bed1", Quantity.EC).made
    assert (cell.numbers, cell.settled_s) == ({"cell_constant_per_cm": 1.0, "offset_ms": 0.0}, None)
    (gap,) = again.of("bed2", Quantity.PH).made
    assert gap.stop_gap


@given(cut=st.integers(1, 60))
def test_a_torn_line_costs_only_itself(cut: int, tmp_path_factory: pytest.TempPathFactory) -> None:
    """A power cut in the middle of a line: counted; the next one begins a line of its own."""
    history = CalibrationHistory(tmp_path_factory.mktemp("state") / "made.jsonl")
    add(history)
    add(history)
    history.path.write_bytes(history.path.read_bytes()[:-cut])
    add(history)
    past = history.of("bed1", Quantity.PH)
    assert past.made[:2] == (FIRST, FIRST)
    assert len(past.made) + past.damaged == 3


@pytest.mark.parametrize(
    "line",
    [
        b"[]",
        b"7",
        b"{}",
        b"\xff\xfe",
        b"[" * 5000,
        b'{"utc": "2026-03-02T09:12:00", "reservoir": "bed1", "quantity": "ph", "numbers": {}, '
        b'"stop_gap": false, "standards": [], "settled_s": null}',
        b'{"utc": "2026-03-02T09:12:00+00:00", "reservoir": "bed1", "quantity": "ph", "numbers": {"a": NaN}, '
        b'"stop_gap": false, "standards": [], "settled_s": null}',
        b'{"utc": "2026-03-02T09:12:00+00:00", "reservoir": "bed1", "quantity": "ph", "numbers": {"a": true}, '
        b'"stop_gap": false, "standards": [], "settled_s": null}',
    ],
)
def test_a_spoiled_line_is_passed_over_and_counted(history: CalibrationHistory, line: bytes) -> None:
    """Whatever it holds: no time zone, no number, nothing."""
    add(history)
    with history.path.open("ab") as file:
        file.write(line + b"\n")
    add(history)
    assert history.of("bed1", Quantity.PH) == Past((FIRST, FIRST), 1)


def test_a_disk_that_cannot_be_written_is_told(history: CalibrationHistory) -> None:
    """With the file's name; a folder in its place is one damaged line."""
    history.path.mkdir(parents=True)
    with pytest.raises(HistoryError, match=r"made\.jsonl: cannot be written"):
        add(history)
    assert history.of("bed1", Quantity.PH) == Past((), 1)
