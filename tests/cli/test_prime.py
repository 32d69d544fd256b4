"""`evenwater prime` against the whole program on a stepped bench."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable

import pytest

from tests.at_the_tank import AtTheTank

Evenwater = Callable[..., int]

PRIME = ("prime", "bed1", "ph_down")


def at_a_terminal(monkeypatch: pytest.MonkeyPatch, answer: str) -> list[str]:
    """Somebody answers the question with this; the questions they are asked."""
    questions: list[str] = []

    def answered(question: str) -> str:
        questions.append(question)
        return answer

    monkeypatch.setattr(sys.stdin, "isatty", lambda: True, raising=False)
    monkeypatch.setattr("builtins.input", answered)
    return questions


def test_from_a_script(held: AtTheTank, evenwater: Evenwater, capsys: pytest.CaptureFixture[str]) -> None:
    """One JSON value; the pump ran once."""
    assert evenwater(*PRIME, "--ml", "3", "--yes", "--json") == 0
    assert json.loads(capsys.readouterr().out)["ml"] == 3.0
    assert len(held.runs()) == 1


@pytest.mark.parametrize("words", [(), ("--json",)])
def test_unasked_nothing_runs(held: AtTheTank, evenwater: Evenwater, words: tuple[str, ...]) -> None:
    """Without a terminal and without --yes."""
    assert evenwater(*PRIME, *words) == 2
    assert held.runs() == []


@pytest.mark.parametrize(("answer", "code"), [("yes", 0), ("", 1), ("no", 1)])
def test_it_asks_before(
    held: AtTheTank, evenwater: Evenwater, monkeypatch: pytest.MonkeyPatch, answer: str, code: int
) -> None:
    """For the cup, and with acid for goggles and gloves; only a plain yes runs the pump."""
    asked = at_a_terminal(monkeypatch, answer)
    assert evenwater(*PRIME) == code
    assert "goggles and gloves" in asked[0]
    assert "cup" in asked[0]
    assert len(held.runs()) == (answer == "yes")
