"""`evenwater prime` against the whole program on a stepped bench."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from daemon.cli.main import main
from tests.at_the_tank import AtTheTank, at_the_tank

PRIME = ("prime", "bed1", "ph_down")


@pytest.fixture
def tank(tmp_path: Path) -> Iterator[AtTheTank]:
    """The school garden after its first pass, held by a person."""
    with at_the_tank(tmp_path, control=True) as at:
        at.passes(1)
        at.ask("hold", reason="priming")
        yield at


def typed(tank: AtTheTank, folder: Path, *words: str) -> int:
    """The exit code of a command typed in another shell."""
    return tank.while_answering(lambda: main([*words, "--state", str(folder)]))


def at_a_terminal(monkeypatch: pytest.MonkeyPatch, answer: str) -> list[str]:
    """Somebody answers the question with this; the questions they are asked."""
    questions: list[str] = []

    def answered(question: str) -> str:
        questions.append(question)
        return answer

    monkeypatch.setattr(sys.stdin, "isatty", lambda: True, raising=False)
    monkeypatch.setattr("builtins.input", answered)
    return questions


def test_from_a_script(tank: AtTheTank, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One JSON value; the pump ran once."""
    assert typed(tank, tmp_path, *PRIME, "--ml", "3", "--yes", "--json") == 0
    assert json.loads(capsys.readouterr().out)["ml"] == 3.0
    assert len(tank.runs()) == 1


@pytest.mark.parametrize("words", [(), ("--json",)])
def test_unasked_nothing_runs(tank: AtTheTank, tmp_path: Path, words: tuple[str, ...]) -> None:
    """Without a terminal and without --yes."""
    assert typed(tank, tmp_path, *PRIME, *words) == 2
    assert tank.runs() == []


@pytest.mark.parametrize(("answer", "code"), [("yes", 0), ("", 1), ("no", 1)])
def test_it_asks_before(
    tank: AtTheTank, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, answer: str, code: int
) -> None:
    """For the cup, and with acid for goggles and gloves; only a plain yes runs the pump."""
    asked = at_a_terminal(monkeypatch, answer)
    assert typed(tank, tmp_path, *PRIME) == code
    assert "goggles and gloves" in asked[0]
    assert "cup" in asked[0]
    assert len(tank.runs()) == (answer == "yes")


def test_a_refusal_names_the_next_step(
    tank: AtTheTank, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """On standard error, with exit code 1."""
    tank.ask("release")
    assert typed(tank, tmp_path, *PRIME, "--yes") == 1
    assert "evenwater hold" in capsys.readouterr().err
