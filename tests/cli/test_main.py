"""The command line as a whole: every command explains itself, and its exit code says how it went."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from daemon.cli.main import FINE, GROUPS, INTERRUPTED, main

FAILED, MISUSED = 1, 2
COMMANDS = sorted(command for commands in GROUPS.values() for command in commands)
NEED_A_DAEMON = [
    ["status"],
    ["away"],
    ["ledger"],
    ["alarms"],
    ["hold", "cleaning"],
    ["release"],
    ["clear"],
    ["ack"],
    ["shelve", "bed1-ph-down-rate-old"],
    ["unshelve"],
    ["out-of-service", "ph"],
    ["in-service", "ph"],
    ["bottle", "ph_down"],
    ["tube", "ph_down"],
    ["prime", "bed1", "ph_down", "--yes"],
    ["poured", "bed1", "ph_down", "--ml", "2"],
    ["calibrate", "ph", "begin"],
    ["change-out", "begin"],
]


def test_the_commands_are_those_that_the_tests_know() -> None:
    """A new one gets its tests."""
    asking = {words[0] for words in NEED_A_DAEMON}
    alone = {"run", "demo", "rehearse", "check", "repair", "export", "watch", "page", "broker"}
    alone |= {"crop", "report", "mix", "notify"}
    assert set(COMMANDS) == asking | alone


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help_with_an_example(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    """That begins as it would be typed."""
    with pytest.raises(SystemExit) as ended:
        main([command, "--help"])
    assert ended.value.code == FINE
    said = capsys.readouterr().out
    assert f"  evenwater {command}" in said.partition("usage:")[2].partition("\n\n")[2]


def test_the_whole_has_help_that_names_every_command(capsys: pytest.CaptureFixture[str]) -> None:
    """With examples, and a version."""
    with pytest.raises(SystemExit) as ended:
        main(["--help"])
    assert ended.value.code == FINE
    said = capsys.readouterr().out
    assert all(f"\n    {command}" in said for command in COMMANDS)
    assert "examples:" in said
    with pytest.raises(SystemExit) as ended:
        main(["--version"])
    assert ended.value.code == FINE
    assert capsys.readouterr().out.startswith("evenwater 0.")


@pytest.mark.parametrize(
    "words",
    [
        [],
        ["juggle"],
        ["status", "--colour"],
        ["hold"],
        ["hold", "x", "--hours", "soon"],
        ["hold", "x", "--hours", "nan"],
        ["hold", "x", "--hours", "inf"],
        ["ledger", "--last", "many"],
        ["bottle", "bleach"],
        ["prime", "bed1", "bleach"],
        ["prime", "bed1", "ph_down", "--ml", "nan"],
        ["poured", "bed1", "ph_down"],
        ["poured", "bed1", "top_up", "--ml", "2"],
        ["poured", "bed1", "ph_down", "--ml", "inf"],
        ["calibrate", "salt"],
        ["calibrate", "ph", "point", "7.00", "--temperature-c", "nan"],
        ["run"],
        ["run", "x.toml", "--for", "14"],
        ["run", "x.toml", "--for", "0s"],
        ["run", "x.toml", "--for", "-1d"],
        ["rehearse", "x.toml", "--days", "0"],
        ["rehearse", "x.toml", "--days", "nan"],
        ["rehearse", "x.toml", "--days", "401"],
        ["rehearse", "x.toml", "--days", "some"],
        ["rehearse", "x.toml", "--seed", "1.5"],
        ["check"],
        ["demo", "--minutes", "0"],
        ["demo", "--minutes", "long"],
    ],
    ids=" ".join,
)
def test_used_wrongly_is_two_with_the_usage(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """And nothing is begun."""
    with pytest.raises(SystemExit) as ended:
        main(words)
    assert ended.value.code == MISUSED
    assert "usage: evenwater" in capsys.readouterr().err


@pytest.mark.parametrize("words", NEED_A_DAEMON, ids=" ".join)
def test_without_a_daemon_an_asking_command_fails_with_the_next_step(
    words: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """On standard error, in one line that names the folder."""
    assert main([*words, "--state", str(tmp_path)]) == FAILED
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith(f"evenwater {words[0]}: no daemon answers in the state folder {tmp_path}")
    assert "evenwater run" in said.err


@pytest.mark.parametrize("command", ["run", "rehearse", "check"])
def test_a_missing_settings_file_fails_with_the_next_step(
    command: str, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """It says which file, and what to start from."""
    missing = str(tmp_path / "nowhere.toml")
    assert main([command, missing]) == FAILED
    said = capfd.readouterr().err
    assert missing in said
    assert "cp config/rigs/pi-example.toml" in said


def test_ctrl_c_is_no_traceback(monkeypatch: pytest.MonkeyPatch) -> None:
    """The shell's own code for it."""

    def interrupted(_folder: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("daemon.cli.ask.state_folder", interrupted)
    assert main(["status"]) == INTERRUPTED == 130


def test_a_reader_that_goes_away_is_no_traceback() -> None:
    """As in `evenwater check settings.toml | true`."""
    reading, writing = os.pipe()
    os.close(reading)
    done = subprocess.run(
        [sys.executable, "-u", "-m", "daemon.cli.main", "check", "config/rigs/quince-lane.toml"],
        cwd=Path(__file__).parents[2],
        stdout=writing,
        stderr=subprocess.PIPE,
        check=False,
    )
    os.close(writing)
    assert b"Traceback" not in done.stderr
    assert done.returncode == FINE
