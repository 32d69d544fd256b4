"""`evenwater change-out`, step by step and guided."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from daemon.cli.main import main
from daemon.values import Condition
from tests.at_the_tank import AtTheTank, at_the_tank


@pytest.fixture
def tank(tmp_path: Path) -> Iterator[AtTheTank]:
    """The school garden, reachable by the command line."""
    with at_the_tank(tmp_path, control=True) as at:
        at.passes(1)
        yield at


def run(at: AtTheTank, *words: str) -> int:
    """The command, answered meanwhile."""
    folder = str(at.service.folder)
    return at.while_answering(lambda: main(["change-out", *words, "--state", folder]))


def test_step_by_step(tank: AtTheTank, capsys: pytest.CaptureFixture[str]) -> None:
    """The steps are numbered, and `done` goes on."""
    assert run(tank, "begin") == 0
    said = capsys.readouterr().out
    assert "dosing paused while the water is changed" in said
    assert "  1. Switch off what stands in the water" in said
    assert run(tank, "done", "--json") == 0
    assert "new water noted" in json.loads(capsys.readouterr().out)["said"]
    tank.passes(1)
    assert tank.bed().condition is Condition.KEEPING


def test_guided_asks_after_each_step(
    tank: AtTheTank, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Left in the middle it stays paused, and says how to go on."""
    asked: list[str] = []

    def enter(text: str) -> str:
        asked.append(text)
        return ""

    monkeypatch.setattr("sys.stdin.isatty", lambda: True)
    monkeypatch.setattr("builtins.input", enter)
    assert run(tank) == 0
    assert len(asked) >= 5
    assert "new water noted" in capsys.readouterr().out

    def leave(text: str) -> str:
        raise EOFError

    monkeypatch.setattr("builtins.input", leave)
    assert run(tank) == 1
    assert "stays paused" in capsys.readouterr().out
    tank.passes(1)
    assert tank.bed().condition is Condition.HELD


def test_guided_needs_a_terminal(tank: AtTheTank, capsys: pytest.CaptureFixture[str]) -> None:
    """Else it says what a script does."""
    assert run(tank) == 2
    assert "from a script use the steps" in capsys.readouterr().err


def test_without_a_daemon_it_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 1."""
    assert main(["change-out", "begin", "--state", str(tmp_path)]) == 1
    assert "evenwater change-out:" in capsys.readouterr().err
