"""The command that plays the world, against a live bench."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from sim_hw.__main__ import main
from sim_hw.bench import Bench, open_rig
from tests.sim_hw.a_bench import a_table


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where the bench listens."""
    return tmp_path / "var" / "bench.sock"


@pytest.fixture
def bench(path: Path) -> Iterator[Bench]:
    """A live bench with a socket."""
    with closing(open_rig(a_table(socket=str(path)))) as opened:
        opened.play("look")
        yield opened


def run(path: Path, *arguments: str) -> int:
    """The command's exit code."""
    return main(["--socket", str(path), *arguments])


COMMANDS = [
    ("dip ph 7.00", "probe: bed1/ph  in: 7.00"),
    ("dip ec 1.413 --temperature 25", "temperature_c: 25.000"),
    ("back ph", "in: tank"),
    ("unplug ph", "fault: probe_unplugged  target: bed1/ph"),
    ("empty ph_down", "left_ml: 0.000"),
    ("refill ph_down", "left_ml: 1000.000"),
    ("add-water 5", "tank: bed1  volume_l: 65.0"),
    ("drain 10 --tank bed1", "tank: bed1  volume_l: 50.0"),
    ("fault pump_fast ph_down --for 60 --size 3", "fault: pump_fast"),
    ("look", "bed1: 60.00 L, pH 7.20"),
]


@pytest.mark.parametrize(("line", "says"), COMMANDS)
def test_every_command_is_done_and_told(
    bench: Bench, path: Path, capsys: pytest.CaptureFixture[str], line: str, says: str
) -> None:
    """Exit code 0 and one line about what is so now."""
    assert run(path, *line.split()) == 0
    assert says in capsys.readouterr().out


def test_unplugged_is_plugged_in_and_a_fault_is_mended(
    bench: Bench, path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """And look tells of them in between."""
    for line in ("unplug ph", "fault pump_dead ph_up", "look"):
        assert run(path, *line.split()) == 0
    told = capsys.readouterr().out
    assert "fault: probe_unplugged on bed1/ph since 0 s" in told
    assert "fault: pump_dead on bed1/ph_up since 0 s" in told
    for line in ("plug ph", "mend pump_dead ph_up"):
        assert run(path, *line.split()) == 0
    assert bench.play("look")["faults"] == []


def test_json_is_one_object(bench: Bench, path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """For programs; the option may stand after the command."""
    assert main(["look", "--json", "--socket", str(path)]) == 0
    assert json.loads(capsys.readouterr().out)["tanks"]["bed1"]["pumps"]["ph_down"]["left_ml"] == 1000.0


def test_a_refusal_is_exit_code_1(bench: Bench, path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With the bench's words on the error stream."""
    assert run(path, "dip", "ph", "8.5") == 1
    assert "no pH buffer" in capsys.readouterr().err


@pytest.mark.parametrize("line", ["", "jump", "drain", "drain much", "fault gremlin ph"])
def test_used_wrongly_is_exit_code_2(path: Path, line: str) -> None:
    """As argparse says it."""
    with pytest.raises(SystemExit) as caught:
        run(path, *line.split())
    assert caught.value.code == 2


def test_without_a_bench_the_module_says_what_to_do(tmp_path: Path) -> None:
    """As a person types it, in a folder where none runs."""
    done = subprocess.run(
        [sys.executable, "-m", "sim_hw", "--socket", str(tmp_path / "none.sock"), "look"],
        capture_output=True,
        text=True,
        cwd=os.getcwd(),
        check=False,
        timeout=30,
    )
    assert done.returncode == 1
    assert "no bench answers" in done.stderr
    assert "evenwater demo" in done.stderr
