"""`evenwater rehearse --scenario`, `--all` and `--compare`."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from daemon.cli.main import main
from sim_hw.scenarios import SCENARIOS

SHORT = ["--days", "1.1"]


def test_a_scenario_by_name(capsys: pytest.CaptureFixture[str]) -> None:
    """It says what it is about, and reports as any rehearsal."""
    assert main(["rehearse", "--scenario", "still", "--days", "0.2"]) == 0
    told = capsys.readouterr()
    assert told.err.startswith("still: no pump")
    assert "0 doses; cap violations: 0" in told.out


def test_ours_beside_others(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A table, the targets, a picture."""
    drawn = tmp_path / "picture.svg"
    words = ["rehearse", "--scenario", "soft", "--compare", "--seeds", "1", "--picture", str(drawn), *SHORT]
    assert main(words) == 0
    lines = capsys.readouterr().out.splitlines()
    ways = ("nothing", "timer", "pid", "pid, dead band", "oracle", "ours")
    told = [line.split("  ")[0] for line in lines]
    assert [each for each in told if each in ways] == list(ways)
    assert sum(line.startswith(("  met", "  MISSED")) for line in lines) == 9
    picture = drawn.read_text(encoding="utf-8")
    assert picture.startswith("<svg")
    assert [way for way in ways if f">{way}</text>" in picture] == list(ways)
    ours = next(line for line in lines if line.startswith("ours"))
    assert re.findall(r">(\d+) doses<", picture)[-1] == ours.split()[5]  # the same run as in the table


def test_a_picture_that_cannot_be_written_is_refused_first(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Not after the minutes that the runs take."""
    nowhere = tmp_path / "gone" / "picture.svg"
    assert main(["rehearse", "--all", "--compare", "--picture", str(nowhere)]) == 1
    assert f"--picture {nowhere}: no folder that can be written to" in capsys.readouterr().err
    assert main(["rehearse", "--scenario", "soft", "--picture", str(tmp_path / "picture.svg")]) == 1
    assert "goes with --compare" in capsys.readouterr().err


def test_a_day_alone_is_too_short(capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing of it would be scored; said before anything is run."""
    assert main(["rehearse", "--all", "--days", "1"]) == 1
    assert "--days 1: with --all or --compare at least 1.1" in capsys.readouterr().err


def test_all_of_them_for_programs(capsys: pytest.CaptureFixture[str]) -> None:
    """One object for each, no cap crossed in any."""
    assert main(["rehearse", "--all", "--json", *SHORT]) == 0
    told = json.loads(capsys.readouterr().out)
    assert [each["scenario"] for each in told] == list(SCENARIOS)
    assert {each["way"] for each in told} == {"ours"}
    assert all(each["violations"] == 0 for each in told)


@pytest.mark.parametrize("words", [["--scenario", "sea"], ["--compare", "--seeds", "0"]])
def test_what_is_not_there_is_refused(words: list[str]) -> None:
    """With exit code 2."""
    with pytest.raises(SystemExit, match="2"):
        main(["rehearse", *words])
