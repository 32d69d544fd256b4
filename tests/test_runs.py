"""How runs began and ended: three bad ends, an update, a record that cannot be read."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.altered import Altered
from daemon.runs import AFTER_UPDATE_S, BAD_ENDS, WITHIN_S, Record, Runs, Watch, begun


def starts(path: Path, *at_s: float, clean: bool = False, version: str = "1") -> Runs:
    """One run after the other, at these proven times."""
    for proven_s in at_s:
        runs = Runs(path, proven_s, version)
        if clean:
            runs.end()
    return runs


def test_three_bad_ends_within_ten_minutes_only_watch(tmp_path: Path) -> None:
    """The first start is none; the fourth finds the third."""
    path = tmp_path / "runs.json"
    assert starts(path, 0.0, 100.0, 200.0).watch(200.0) is None
    runs = starts(path, 300.0)
    assert runs.watch(300.0) is Watch.BAD_ENDS
    assert runs.bad_ends == BAD_ENDS


@pytest.mark.parametrize(("apart_s", "watches"), [(WITHIN_S / 2, True), (WITHIN_S / 2 + 1.0, False)])
def test_bad_ends_further_apart_do_not_count(tmp_path: Path, apart_s: float, watches: bool) -> None:
    """Three within exactly ten minutes do."""
    runs = starts(tmp_path / "runs.json", *(apart_s * n for n in range(8)))
    assert (runs.watch(apart_s * 8) is Watch.BAD_ENDS) is watches


def test_clean_ends_never_count(tmp_path: Path) -> None:
    """A hundred restarts by a person."""
    assert starts(tmp_path / "runs.json", *map(float, range(100)), clean=True).watch(100.0) is None


def test_it_watches_until_a_person_clears_it(tmp_path: Path) -> None:
    """Over clean restarts and days; then the count begins anew."""
    path = tmp_path / "runs.json"
    starts(path, 0.0, 1.0, 2.0, 3.0).end()
    runs = starts(path, 9e5, clean=True)
    assert runs.watch(9e5) is Watch.BAD_ENDS
    runs.clear()
    assert runs.watch(9e5) is None
    assert starts(path, 9e5 + 1.0).watch(9e5 + 1.0) is None


def test_a_time_that_went_back_counts_as_just_now(tmp_path: Path) -> None:
    """Proven time cannot; if it seems to, that is no excuse."""
    assert starts(tmp_path / "runs.json", 5000.0, 4000.0, 3000.0, 2000.0).watch(2000.0) is Watch.BAD_ENDS


def test_a_new_version_watches_for_an_hour(tmp_path: Path) -> None:
    """Over restarts; then it goes on by itself. The first version ever does not."""
    path = tmp_path / "runs.json"
    assert starts(path, 0.0, clean=True, version="1").watch(0.0) is None
    assert starts(path, 10.0, clean=True, version="2").watch(10.0) is Watch.UPDATED
    runs = starts(path, 1000.0, clean=True, version="2")
    assert runs.watch(10.0 + AFTER_UPDATE_S - 1.0) is Watch.UPDATED
    assert runs.watch(10.0 + AFTER_UPDATE_S) is None


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{",
        "[]",
        "null",
        "{}",
        '{"running": 1, "version": "", "bad_ends_s": [], "latched": false, "new_until_s": null}',
        '{"running": true, "version": "", "bad_ends_s": ["x"], "latched": false, "new_until_s": null}',
        '{"running": true, "version": "", "bad_ends_s": [NaN], "latched": false, "new_until_s": null}',
        '{"running": true, "version": "", "bad_ends_s": [], "latched": false, "new_until_s": Infinity}',
        '{"running": true, "version": "", "bad_ends_s": [], "latched": false, "new_until_s": null, '
        '"dose_numbers": 1}',
        '{"running": true, "version": "", "bad_ends_s": [], "latched": false, "new_until_s": null, '
        '"dose_numbers": {"a": NaN}}',
    ],
)
def test_a_record_that_cannot_be_read_only_watches(tmp_path: Path, text: str) -> None:
    """Until a person clears it, which makes it anew."""
    path = tmp_path / "runs.json"
    path.write_text(text)
    runs = Runs(path, 0.0, "1")
    assert runs.watch(0.0) is Watch.FILE
    runs.clear()
    assert runs.watch(0.0) is None
    assert json.loads(path.read_text())["running"] is True


def test_a_record_that_cannot_be_written_only_watches(tmp_path: Path) -> None:
    """Else a crash would leave no trace; it never stops the start."""
    runs = Runs(tmp_path / "missing" / "runs.json", 0.0, "1")
    assert runs.watch(0.0) is Watch.FILE
    (tmp_path / "missing").mkdir()
    runs.clear()
    assert runs.watch(0.0) is None


@given(st.lists(st.floats(0.0, 1e6), max_size=10), st.floats(0.0, 1e6), st.booleans())
def test_a_latch_is_never_lost_by_beginning(ends_s: list[float], proven_s: float, running: bool) -> None:
    """Whatever the times are."""
    before = Record(running, "1", tuple(ends_s), latched=True)
    assert begun(before, proven_s, "1", {}).latched


def run_by(path: Path, version: str = "1", **dose_numbers: float) -> Runs:
    """A run by these settings, ended well."""
    runs = Runs(path, 0.0, version, dose_numbers)
    runs.end()
    return runs


def test_settings_far_from_those_of_the_last_run_only_watch(tmp_path: Path) -> None:
    """Until they are put back, over restarts; the first run has nothing to compare with."""
    path = tmp_path / "runs.json"
    assert run_by(path, cap=5.0).watch(0.0) is None
    for _ in range(2):
        runs = run_by(path, cap=16.0)
        assert runs.watch(0.0) is Watch.SETTINGS
        assert runs.altered == (Altered("cap", 5.0, 16.0),)
    assert run_by(path, cap=5.0).watch(0.0) is None


def test_settings_that_a_person_cleared_are_the_usual_ones(tmp_path: Path) -> None:
    """Then the old ones would be far off."""
    path = tmp_path / "runs.json"
    run_by(path, cap=5.0)
    runs = run_by(path, cap=50.0)
    runs.clear()
    assert runs.watch(0.0) is None
    assert run_by(path, cap=50.0).watch(0.0) is None
    assert run_by(path, cap=5.0).watch(0.0) is Watch.SETTINGS


def test_a_number_left_out_for_a_while_is_not_forgotten(tmp_path: Path) -> None:
    """Else a slip would pass by way of a run without it."""
    path = tmp_path / "runs.json"
    run_by(path, cap=5.0)
    assert run_by(path).watch(0.0) is None
    assert run_by(path, cap=50.0).watch(0.0) is Watch.SETTINGS


def test_small_steps_are_taken_over(tmp_path: Path) -> None:
    """Each within three times of the last."""
    path = tmp_path / "runs.json"
    assert [run_by(path, cap=cap).watch(0.0) for cap in (1.0, 3.0, 9.0, 3.0)] == [None] * 4


def test_one_word_clears_one_reason(tmp_path: Path) -> None:
    """Who clears the settings has not yet looked at why the program ended badly."""
    path = tmp_path / "runs.json"
    for proven_s in (0.0, 1.0, 2.0):
        Runs(path, proven_s, "1", {"cap": 5.0})
    runs = Runs(path, 3.0, "1", {"cap": 50.0})
    assert runs.watch(3.0) is Watch.SETTINGS
    runs.clear()
    assert runs.watch(3.0) is Watch.BAD_ENDS
    runs.clear()
    assert runs.watch(3.0) is None


def test_a_record_from_before_numbers_were_kept_is_read(tmp_path: Path) -> None:
    """An upgrade is no reason to call a person."""
    path = tmp_path / "runs.json"
    path.write_text('{"running": false, "version": "1", "bad_ends_s": [], "latched": false, "new_until_s": null}')
    assert run_by(path, cap=5.0).watch(0.0) is None
