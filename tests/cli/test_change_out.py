"""`evenwater change-out`, step by step and guided."""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest

from daemon.values import Condition
from tests.at_the_tank import AtTheTank

Evenwater = Callable[..., int]


def test_step_by_step(tank: AtTheTank, evenwater: Evenwater, capsys: pytest.CaptureFixture[str]) -> None:
    """The steps are numbered, and `done` goes on."""
    assert evenwater("change-out", "begin") == 0
    said = capsys.readouterr().out
    assert "dosing paused while the water is changed" in said
    assert "  1. Switch off what stands in the water" in said
    assert evenwater("change-out", "done", "--json") == 0
    assert "new water noted" in json.loads(capsys.readouterr().out)["said"]
    tank.passes(1)
    assert tank.bed().condition is Condition.KEEPING


def test_guided_asks_after_each_step(
    tank: AtTheTank, evenwater: Evenwater, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Left in the middle it stays paused, and says how to go on."""
    asked: list[str] = []

    def enter(text: str) -> str:
        asked.append(text)
        return ""

    monkeypatch.setattr("sys.stdin.isatty", lambda: True)
    monkeypatch.setattr("builtins.input", enter)
    assert evenwater("change-out") == 0
    assert len(asked) >= 5
    assert "new water noted" in capsys.readouterr().out

    def leave(text: str) -> str:
        raise EOFError

    monkeypatch.setattr("builtins.input", leave)
    assert evenwater("change-out") == 1
    assert "stays paused" in capsys.readouterr().out
    tank.passes(1)
    assert tank.bed().condition is Condition.HELD
