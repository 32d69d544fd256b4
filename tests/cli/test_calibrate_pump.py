"""`evenwater calibrate pump` and `evenwater tube` against the whole program on a stepped bench."""

from __future__ import annotations

import io
import json
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from daemon.cli.main import main
from tests.at_the_tank import AtTheTank, at_the_tank

PUMP = ("calibrate", "pump", "ph_down")
READ = ["8.2", "8.3", "8.2"]


@pytest.fixture
def tank(tmp_path: Path) -> Iterator[AtTheTank]:
    """The school garden after its first pass, held by a person."""
    with at_the_tank(tmp_path, control=True) as at:
        at.passes(1)
        at.ask("hold", reason="measuring")
        yield at


def typed(tank: AtTheTank, folder: Path, *words: str) -> int:
    """The exit code of a command typed in another shell."""
    return tank.while_answering(lambda: main([*words, "--state", str(folder)]))


def guided(
    tank: AtTheTank, folder: Path, monkeypatch: pytest.MonkeyPatch, answers: list[str], *words: str
) -> int:
    """Typed by somebody at a terminal, who answers so; after the last answer they hang up."""

    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    monkeypatch.setattr(sys, "stdin", Terminal("".join(f"{answer}\n" for answer in answers)))
    return typed(tank, folder, *PUMP, *words)


def rate(tank: AtTheTank) -> float:
    """What people see of the acid pump."""
    state = tank.passes(1).reservoirs["bed1"]
    return state.pumps[next(role for role in state.pumps if role == "ph_down")].ml_per_s


def each_run(read: list[str]) -> list[str]:
    return [word for ml in read for word in ("yes", ml)]


def test_from_a_script(tank: AtTheTank, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Each step one JSON value, and 0."""
    for number in (1, 2):
        assert typed(tank, tmp_path, *PUMP, "run", "--run-s", "8", "--json") == 0
        ran = json.loads(capsys.readouterr().out)
        assert (ran["run"], ran["run_s"], ran["assumed_ml"]) == (number, 8.0, 8.0)
    assert typed(tank, tmp_path, *PUMP, "finish", "--json", "--measured-ml", "8.2", "8.4") == 0
    assert json.loads(capsys.readouterr().out)["fit"]["rate"]["ml_per_s"] == pytest.approx(1.0375)
    assert rate(tank) == pytest.approx(1.0375)


def test_a_script_hears_of_what_is_not_kept(
    tank: AtTheTank, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 1, with what to do; then the runs can be forgotten."""
    for _ in range(2):
        assert typed(tank, tmp_path, *PUMP, "run", "--run-s", "8") == 0
    assert typed(tank, tmp_path, *PUMP, "finish", "--measured-ml", "82", "84") == 1
    assert "not kept, 1 mL/s stays" in capsys.readouterr().out
    assert typed(tank, tmp_path, *PUMP, "cancel") == 0
    assert typed(tank, tmp_path, *PUMP, "finish", "--measured-ml", "8.2", "8.4") == 1
    assert "0 timed runs" in capsys.readouterr().err


def test_guided(
    tank: AtTheTank, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Three runs, what was read asked until it is an amount, old against new, and a question before it holds."""
    answers = ["yes", "8,2", "yes", "a lot", "-1", "8.3", "yes", "8.2", "yes"]
    assert guided(tank, tmp_path, monkeypatch, answers, "--run-s", "8") == 0
    said = capsys.readouterr().out
    assert "goggles and gloves" in said
    assert said.count("empty measuring cylinder") == 3
    assert said.count("a number above 0") == 2
    assert said.index("would be 1.03 mL/s") < said.index("Dose by the new rate") < said.index("now 1.03 mL/s")
    assert rate(tank) == pytest.approx(1.029, abs=0.001)
    assert len(tank.runs()) == 3


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
    tank: AtTheTank, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, answers: list[str], runs: int
) -> None:
    """The old rate stays and no run is left waiting; what ran is charged all the same."""
    assert guided(tank, tmp_path, monkeypatch, answers, "--run-s", "8") == 1
    assert len(tank.runs()) == runs
    assert rate(tank) == 1.0
    assert tank.ask("calibrate_pump.run", pump="ph_down")["run"] == 1


@pytest.mark.parametrize("words", [(), ("--json",)])
def test_without_a_terminal_nothing_runs(tank: AtTheTank, tmp_path: Path, words: tuple[str, ...]) -> None:
    """Used wrongly: the steps are named."""
    assert typed(tank, tmp_path, *PUMP, *words) == 2
    assert tank.runs() == []


def test_a_refusal_names_the_next_step(
    tank: AtTheTank, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """On standard error, with exit code 1."""
    tank.ask("release")
    assert typed(tank, tmp_path, *PUMP, "run") == 1
    assert "evenwater hold" in capsys.readouterr().err


def test_a_new_tube_is_told_and_seen(tank: AtTheTank, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The answer says what is next; the status shows rate, date and tube of each pump."""
    assert typed(tank, tmp_path, "status") == 0
    assert "1 mL/s, taken from the settings" in capsys.readouterr().out
    tank.ask("calibrate_pump.run", pump="ph_down")
    tank.ask("calibrate_pump.run", pump="ph_down")
    tank.ask("calibrate_pump.finish", pump="ph_down", measured_ml=[8.2, 8.4])
    tank.passes(1)
    assert typed(tank, tmp_path, "status") == 0
    assert "1.04 mL/s, measured 2026-04-01 (0 days ago); tube run 0.0 h" in capsys.readouterr().out
    assert typed(tank, tmp_path, "tube", "ph_down") == 0
    assert "does not dose until measured" in capsys.readouterr().out
    tank.passes(1)
    assert typed(tank, tmp_path, "status") == 0
    assert "of the tube that was in before" in capsys.readouterr().out
