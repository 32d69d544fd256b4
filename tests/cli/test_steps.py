"""What commands of several steps share, by each of them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from daemon.cli.main import main
from tests.at_the_tank import AtTheTank

Evenwater = Callable[..., int]
GUIDED = {
    "change-out": ("change-out",),
    "calibrate": ("calibrate", "ph"),
    "calibrate pump": ("calibrate", "pump", "ph_down"),
}
A_STEP = {"change-out": "begin", "calibrate": "begin", "calibrate pump": "run"}
each_guided = pytest.mark.parametrize("name", GUIDED)


@each_guided
@pytest.mark.parametrize(("more", "terminal"), [((), False), (("--json",), False), (("--json",), True)])
def test_the_guided_way_needs_a_terminal_and_a_reader(
    *,
    held: AtTheTank,
    evenwater: Evenwater,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    name: str,
    more: tuple[str, ...],
    terminal: bool,
) -> None:
    """From a script, and for programs, it is a misuse: the steps are named and nothing is begun."""
    monkeypatch.setattr("sys.stdin.isatty", lambda: terminal)
    assert evenwater(*GUIDED[name], *more) == 2
    assert capsys.readouterr().err.startswith(f"evenwater {name}: the guided way needs a terminal; from a script")
    assert held.loop.reservoirs["bed1"].instruments.visit is None
    assert held.service.ledger.held("bed1", held.loop.stamp()).reason == "at work"  # type: ignore[union-attr]
    assert held.runs() == []


@each_guided
def test_a_refusal_goes_to_standard_error(
    evenwater: Evenwater, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    """By the name of the command, with exit code 1 and what there is instead."""
    assert evenwater(*GUIDED[name], A_STEP[name], "--reservoir", "bed9") == 1
    said = capsys.readouterr()
    assert (said.out, said.err) == ("", f"evenwater {name}: no reservoir bed9; there is bed1\n")


@each_guided
def test_without_a_daemon_it_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str) -> None:
    """Exit code 1, by the name of the command."""
    assert main([*GUIDED[name], A_STEP[name], "--state", str(tmp_path)]) == 1
    assert capsys.readouterr().err.startswith(f"evenwater {name}: no daemon")


@pytest.mark.parametrize("words", [("prime", "bed1", "ph_down", "--yes"), (*GUIDED["calibrate pump"], "run")])
def test_no_pump_runs_by_hand_without_a_pause(
    evenwater: Evenwater, tank: AtTheTank, capsys: pytest.CaptureFixture[str], words: tuple[str, ...]
) -> None:
    """On standard error, with the next step."""
    assert evenwater(*words) == 1
    assert "evenwater hold" in capsys.readouterr().err
    assert tank.runs() == []
