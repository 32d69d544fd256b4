"""`evenwater repair`: what it says, and when it keeps its hands off."""

from __future__ import annotations

from pathlib import Path

import pytest

from daemon.cli.main import main
from daemon.lock import StateLock
from daemon.values import Role
from tests.at_the_tank import RIGS, AtTheTank, at_the_tank

SETTINGS = str(RIGS / "quince-lane.toml")


def after_a_dose(folder: Path) -> AtTheTank:
    """A state folder with a ledger of one dose in it."""
    with at_the_tank(folder) as at:
        at.passes(12)
    return at


def test_a_sound_ledger_is_left_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It says so, and changes nothing."""
    after_a_dose(tmp_path)
    before = (tmp_path / "ledger.db").read_bytes()
    assert main(["repair", SETTINGS, "--state", str(tmp_path)]) == 0
    assert "nothing to repair" in capsys.readouterr().out
    assert (tmp_path / "ledger.db").read_bytes() == before


def test_a_damaged_one_is_made_anew_and_the_next_steps_are_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Where the old one lies, what it began from, and how dosing begins again."""
    after_a_dose(tmp_path)
    (tmp_path / "ledger.db").write_bytes(b"torn" * 1000)
    assert main(["repair", SETTINGS, "--state", str(tmp_path)]) == 0
    said = capsys.readouterr().out
    for part in ("damaged-", "no good backup was found", "evenwater clear", "after 24 h"):
        assert part in said
    with at_the_tank(tmp_path) as at:
        at.passes(24)
        assert at.runs() == []
        at.ask("clear")
        at.ask("bottle", pump="ph_down")
        at.passes(24)
        assert at.runs() == []
        assert at.bed().caps[Role.PH_DOWN].last_day_ml >= 500.0


def test_a_running_daemon_is_not_meddled_with(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Its process is named."""
    (tmp_path / "ledger.db").write_bytes(b"torn")
    with StateLock(tmp_path):
        assert main(["repair", SETTINGS, "--state", str(tmp_path)]) == 1
    assert "is in use by process" in capsys.readouterr().err
    assert (tmp_path / "ledger.db").read_bytes() == b"torn"


def test_settings_that_cannot_be_read_stop_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Without them it is not known what to lock."""
    assert main(["repair", str(tmp_path / "none.toml")]) == 1
    assert "no such file" in capsys.readouterr().err
