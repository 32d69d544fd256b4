"""Tests of systemd/pumps-off: the stop program, with a gpioset that records what it is asked."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.systemd.stop_program import V2, StopProgram

Run = Callable[..., tuple[int, list[str], str]]


@pytest.fixture
def run(tmp_path: Path) -> Run:
    """Run it; `text` is what pump-lines in the state folder holds. Gives exit code, calls of gpioset, words."""
    stop = StopProgram(tmp_path)

    def _run(*lines: str, text: str | None = None, **world: Any) -> tuple[int, list[str], str]:
        if text is not None:
            (tmp_path / "pump-lines").write_text(text)
        return stop.run(*lines, state=tmp_path, **world)

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


def test_lines_written_by_hand_are_the_second_choice(tmp_path: Path) -> None:
    """Those of the state folder are of the last start; without them, the ones beside the settings."""
    stop, state, settings = StopProgram(tmp_path), tmp_path / "state", tmp_path / "etc"
    assert stop.run(state=state, settings=settings)[0] == 2
    for folder, line in ((settings, "27"), (state, "17")):
        folder.mkdir()
        (folder / "pump-lines").write_text(line)
        code, calls, _ = stop.run(state=state, settings=settings)
        assert (code, calls[-1]) == (0, f"--mode=exit gpiochip0 {line}=0")


def test_a_box_without_pumps_is_fine(run: Run) -> None:
    """The daemon says so in a word, since an empty file may be a broken one."""
    assert run(text="# none here\nnone\n") == (0, [], "")
    assert run(text="17 none\n")[0] == 1


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
