"""`evenwater calibrate pump` and `evenwater tube` against the whole program on a stepped bench."""

from __future__ import annotations

import io
import json
import sys
from collections.abc import Callable

import pytest

from tests.at_the_tank import AtTheTank

Evenwater = Callable[..., int]

PUMP = ("calibrate", "pump", "ph_down")
READ = ["8.2", "8.3", "8.2"]


def guided(evenwater: Evenwater, monkeypatch: pytest.MonkeyPatch, answers: list[str], *words: str) -> int:
    """Typed by somebody at a terminal, who answers so; after the last answer they hang up."""

    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    monkeypatch.setattr(sys, "stdin", Terminal("".join(f"{answer}\n" for answer in answers)))
    return evenwater(*PUMP, *words)


def rate(held: AtTheTank) -> float:
    """What people see of the acid pump."""
    state = held.passes(1).reservoirs["bed1"]
    return state.pumps[next(role for role in state.pumps if role == "ph_down")].ml_per_s


def each_run(read: list[str]) -> list[str]:
    return [word for ml in read for word in ("yes", ml)]


def test_from_a_script(held: AtTheTank, evenwater: Evenwater, capsys: pytest.CaptureFixture[str]) -> None:
    """Each step one JSON value, and 0."""
    for number in (1, 2):
        assert evenwater(*PUMP, "run", "--run-s", "8", "--json") == 0
        ran = json.loads(capsys.readouterr().out)
        assert (ran["run"], ran["run_s"], ran["assumed_ml"]) == (number, 8.0, 8.0)
    assert evenwater(*PUMP, "finish", "--json", "--measured-ml", "8.2", "8.4") == 0
    assert json.loads(capsys.readouterr().out)["fit"]["rate"]["ml_per_s"] == pytest.approx(1.0375)
    assert rate(held) == pytest.approx(1.0375)


def test_a_script_hears_of_what_is_not_kept(
    held: AtTheTank, evenwater: Evenwater, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 1, with what to do; then the runs can be forgotten."""
    for _ in range(2):
        assert evenwater(*PUMP, "run", "--run-s", "8") == 0
    assert evenwater(*PUMP, "finish", "--measured-ml", "82", "84") == 1
    assert "not kept, 1 mL/s stays" in capsys.readouterr().out
    assert evenwater(*PUMP, "cancel") == 0
    assert evenwater(*PUMP, "finish", "--measured-ml", "8.2", "8.4") == 1
    assert "0 timed runs" in capsys.readouterr().err


def test_guided(
    held: AtTheTank, evenwater: Evenwater, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Three runs, what was read asked until it is an amount, old against new, and a question before it holds."""
    answers = ["yes", "8,2", "yes", "a lot", "-1", "8.3", "yes", "8.2", "yes"]
    assert guided(evenwater, monkeypatch, answers, "--run-s", "8") == 0
    said = capsys.readouterr().out
    assert "goggles and gloves" in said
    assert said.count("empty measuring cylinder") == 3
    assert said.count("a number above 0") == 2
    assert said.index("would be 1.03 mL/s") < said.index("Dose by the new rate") < said.index("now 1.03 mL/s")
    assert rate(held) == pytest.approx(1.029, abs=0.001)
    assert len(held.runs()) == 3


@pytest.mark.parametrize(
    ("answers", "runs"),
    [
        ([*each_run(READ), "no"], 3),
        (each_run(READ), 3),  # hung up at the last question
        (["yes", "8.2", "no"], 1),
        (["no"], 0),
        (each_run(["8.2", "16.0", "8.2"]), 3),  # the runs disagree
    ],
)
def test_guided_and_not_taken(
    held: AtTheTank, evenwater: Evenwater, monkeypatch: pytest.MonkeyPatch, answers: list[str], runs: int
) -> None:
    """The old rate stays and no run is left waiting; what ran is charged all the same."""
    assert guided(evenwater, monkeypatch, answers, "--run-s", "8") == 1
    assert len(held.runs()) == runs
    assert rate(held) == 1.0
    assert held.ask("calibrate_pump.run", pump="ph_down")["run"] == 1


def test_a_new_tube_is_told_and_seen(
    held: AtTheTank, evenwater: Evenwater, capsys: pytest.CaptureFixture[str]
) -> None:
    """The answer says what is next; the status shows rate, date and tube of each pump."""
    assert evenwater("status") == 0
    assert "1 mL/s, taken from the settings" in capsys.readouterr().out
    held.ask("calibrate_pump.run", pump="ph_down")
    held.ask("calibrate_pump.run", pump="ph_down")
    held.ask("calibrate_pump.finish", pump="ph_down", measured_ml=[8.2, 8.4])
    held.passes(1)
    assert evenwater("status") == 0
    assert "1.04 mL/s, measured 2026-04-01 (0 days ago); tube run 0.0 h" in capsys.readouterr().out
    assert evenwater("tube", "ph_down") == 0
    assert "does not dose until measured" in capsys.readouterr().out
    held.passes(1)
    assert evenwater("status") == 0
    assert "of the tube that was in before" in capsys.readouterr().out
