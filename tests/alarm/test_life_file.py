"""Alarms outlast a restart."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from daemon.alarm.kinds import Kind
from daemon.alarm.life import Cause, acknowledge, active, advance, shelve
from daemon.alarm.life_file import LifeFile

NOW = datetime(2026, 3, 1, 6, 30, tzinfo=UTC)
PROBE = Cause(Kind.PROBE, "bed1", "ph", "pH probe: no answer.")
OLD_RATE = Cause(Kind.RATE_OLD, "bed1", "ph_down", "pH down pump: old.")
WAITING = Cause(Kind.FAR_OUT, "bed1", "ph", "pH 3.9.")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where they are kept."""
    return tmp_path / "alarms.json"


def test_what_people_did_about_them_is_known_at_the_next_start(path: Path) -> None:
    """Acknowledged and shelved, since when, with their words; what was not raised yet is not kept."""
    lives = advance(advance({}, [PROBE, OLD_RATE], 10.0, NOW), [PROBE, OLD_RATE, WAITING], 4000.0, NOW)
    lives = acknowledge(lives, [PROBE.key])
    lives = shelve(lives, OLD_RATE.key, 9000.0, NOW + timedelta(hours=2))
    LifeFile(path).keep(lives)
    known = LifeFile(path).known
    assert active(known) == active(lives)
    assert {key: life.shelved_until_s for key, life in known.items()} == {PROBE.key: None, OLD_RATE.key: 9000.0}
    assert all(life.recalled for life in known.values())


def test_it_is_written_where_something_changed(path: Path) -> None:
    """It is asked at each pass, and a card wears."""
    file, lives = LifeFile(path), advance({}, [PROBE], 10.0, NOW)
    file.keep({})
    assert not path.exists()
    file.keep(lives)
    path.unlink()
    file.keep(advance(lives, [PROBE], 20.0, NOW))
    assert not path.exists()
    file.keep(acknowledge(lives, [PROBE.key]))
    assert path.exists()


@pytest.mark.parametrize(
    "text", ["", "[1]", "{", '[{"kind": "toast"}]', '[{"kind": "probe", "reservoir": "bed1", "about": "ph"}]']
)
def test_a_file_that_cannot_be_read_loses_no_alarm_that_is_there(path: Path, text: str) -> None:
    """It is raised anew, and that there is trouble is told."""
    path.write_text(text, encoding="utf-8")
    file = LifeFile(path)
    assert file.known == {}
    assert str(path) in file.trouble


def test_a_folder_that_is_gone_is_borne(path: Path) -> None:
    """At worst it is raised anew at the next start."""
    LifeFile(path.parent / "gone" / "alarms.json").keep(advance({}, [PROBE], 10.0, NOW))
