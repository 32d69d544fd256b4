"""Tests of systemd/pumps-off: the stop program, with a gpioset that records what it is asked."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

PUMPS_OFF = Path(__file__).parents[2] / "systemd" / "pumps-off"
V1, V2 = "gpioset (libgpiod) v1.6.3", "gpioset (libgpiod) v2.1.3"  # first line of --version, from memory

Run = Callable[..., tuple[int, list[str], str]]

GPIOSET = """#!/bin/sh
[ "$1" = --version ] && { echo "$FAKE_VERSION"; exit 0; }
echo "$*" >>"$FAKE_LOG"
case "$*" in *"$FAKE_BUSY=0") exit 1 ;; esac
"""
GPIODETECT = """#!/bin/sh
printf '%s' "$FAKE_CHIPS"
"""


@pytest.fixture
def run(tmp_path: Path) -> Run:
    """Run pumps-off; gives its exit code, the calls of gpioset, and what it said."""
    tools, log, file = tmp_path / "bin", tmp_path / "log", tmp_path / "pump-lines"
    tools.mkdir()
    for name in ("cat", "grep", "head", "sed", "timeout", "tr"):  # and no real gpioset, even on a Pi
        (tools / name).symlink_to(str(shutil.which(name)))
    for name, script in (("gpioset", GPIOSET), ("gpiodetect", GPIODETECT)):
        (tools / name).write_text(script)
        (tools / name).chmod(0o755)

    def _run(
        *lines: str, text: str | None = None, version: str = V1, chips: str = "", busy: str = "none"
    ) -> tuple[int, list[str], str]:
        if text is not None:
            file.write_text(text)
        environ = {
            "PATH": str(tools),
            "PUMP_LINES_FILE": str(file),
            "FAKE_LOG": str(log),
            "FAKE_VERSION": version,
            "FAKE_CHIPS": chips,
            "FAKE_BUSY": busy,
        }
        done = subprocess.run(
            ["/bin/sh", str(PUMPS_OFF), *lines],
            env=environ,
            capture_output=True,
            text=True,
            timeout=10,
            check=False,
        )
        calls = log.read_text().splitlines() if log.exists() else []
        return done.returncode, calls, done.stderr

    return _run


def test_the_first_gpioset_exits_at_once_by_its_mode(run: Run) -> None:
    """Each line is driven low by itself, so that a busy one does not keep the next one on."""
    assert run("17", "27") == (0, ["--mode=exit gpiochip0 17=0", "--mode=exit gpiochip0 27=0"], "")


def test_the_second_gpioset_is_told_not_to_hold(run: Run) -> None:
    """Version 2 holds the line for ever unless its last period is 0."""
    assert run("17", version=V2) == (0, ["--toggle 0 --chip gpiochip0 17=0"], "")


def test_lines_come_from_the_file(run: Run) -> None:
    """Numbers may stand on one line or several, with remarks."""
    code, calls, said = run(text="# pH pumps\n17 27\n22, 23  # stock A and B\r\n\n")
    assert (code, said) == (0, "")
    assert [call.split()[-1] for call in calls] == ["17=0", "27=0", "22=0", "23=0"]


@pytest.mark.parametrize(
    ("chips", "chip"),
    [
        ("gpiochip0 [pinctrl-bcm2711] (58 lines)\n", "gpiochip0"),
        ("gpiochip0 [gpio-brcmstb@107d508500] (32 lines)\ngpiochip4 [pinctrl-rp1] (54 lines)\n", "gpiochip4"),
        ("", "gpiochip0"),
    ],
)
def test_the_chip_is_found_by_its_name(run: Run, chips: str, chip: str) -> None:
    """The header is not always on the first chip."""
    assert run("17", chips=chips)[1] == [f"--mode=exit {chip} 17=0"]


def test_a_busy_line_does_not_stop_the_others(run: Run) -> None:
    """One line that cannot be driven is said, and the rest are still turned off."""
    code, calls, said = run("17", "27", busy="17")
    assert code == 1
    assert len(calls) == 2
    assert "GPIO 17 on gpiochip0 was not driven low" in said


@pytest.mark.parametrize("wrong", ["28", "-1", "GPIO17", "1.7", "017"])
def test_what_is_no_line_is_said_and_passed_over(run: Run, wrong: str) -> None:
    """A slip of the pen turns off the lines that are right, and is reported."""
    code, calls, said = run("22", wrong)
    assert code == 1
    assert calls == ["--mode=exit gpiochip0 22=0"]
    assert f'"{wrong}" is no GPIO number' in said


@pytest.mark.parametrize(("text", "says"), [(None, "cannot read"), ("# nothing yet\n", "names no line")])
def test_not_knowing_the_lines_is_an_error(run: Run, text: str | None, says: str) -> None:
    """Without lines it cannot do its work, and says what to write where."""
    code, calls, said = run(text=text)
    assert (code, calls) == (2, [])
    assert says in said


def test_a_missing_gpioset_is_said(run: Run, tmp_path: Path) -> None:
    """Where gpiod is not installed no line was driven, and the exit code tells."""
    (tmp_path / "bin" / "gpioset").unlink()
    code, _, said = run("17")
    assert code == 1
    assert "GPIO 17" in said
