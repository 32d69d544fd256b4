"""The pumps' lines on disk, and the stop program that reads them there."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest

from config.settings import Settings
from daemon.keeping import pump_lines
from daemon.keeping.pump_lines import PumpLinesError, write_pump_lines
from daemon.service import Service
from tests.at_the_tank import at_the_tank as at_the_tank_in
from tests.at_the_tank import one_bed, raw_settings
from tests.systemd.stop_program import StopProgram


@pytest.mark.parametrize("lines", [[17, 27], [9], []])
def test_the_stop_program_reads_what_is_written(tmp_path: Path, lines: list[int]) -> None:
    """It drives exactly these lines low, and is content where there is no pump."""
    write_pump_lines(tmp_path, lines)
    stop = StopProgram(tmp_path)
    assert stop.run(state=tmp_path) == (0, [f"--mode=exit gpiochip0 {line}=0" for line in lines], "")


def test_a_changed_wiring_replaces_the_file_at_once(tmp_path: Path) -> None:
    """The new file is there under its name or not at all, and nothing is left beside it."""
    write_pump_lines(tmp_path, [17])
    before = (tmp_path / "pump-lines").stat().st_ino
    write_pump_lines(tmp_path, [22])
    assert (tmp_path / "pump-lines").stat().st_ino != before
    assert (tmp_path / "pump-lines").read_text().splitlines()[-1] == "22"
    assert [path.name for path in tmp_path.iterdir()] == ["pump-lines"]


def test_the_file_is_on_the_disk_before_it_gets_its_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """First its content, then the folder's list of names: a power cut leaves no empty file."""
    synced: list[tuple[str, bool]] = []

    def sync(path: Path) -> None:
        synced.append((path.name, (tmp_path / "pump-lines").exists()))

    monkeypatch.setattr(pump_lines, "sync", sync)
    write_pump_lines(tmp_path, [17])
    assert synced == [("pump-lines.new", False), (tmp_path.name, True)]


def test_the_same_lines_need_no_room_on_the_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A box that was started before starts again on a full disk; new lines do not pass in silence."""

    def full(path: Path) -> None:
        raise OSError(28, "No space left on device")

    write_pump_lines(tmp_path, [17, 27])
    monkeypatch.setattr(pump_lines, "sync", full)
    write_pump_lines(tmp_path, [17, 27])
    with pytest.raises(PumpLinesError, match=r"pump-lines: cannot be written \(No space left .*free space"):
        write_pump_lines(tmp_path, [22])
    assert [path.name for path in tmp_path.iterdir()] == ["pump-lines"]
    assert (tmp_path / "pump-lines").read_text().splitlines()[-1] == "17 27"


def test_a_start_writes_them(tmp_path: Path) -> None:
    """From the settings, before anything else can fail for want of them."""
    with at_the_tank_in(tmp_path):
        assert (tmp_path / "pump-lines").read_text().splitlines()[-1] == "17 27"


def test_a_start_writes_the_cut_out_last(tmp_path: Path) -> None:
    """The stop program drives the supply's relay low as well, after the pumps."""
    cut_out = Settings.model_validate({**raw_settings(), "cut_out": {"line": 22}})
    with at_the_tank_in(tmp_path, cut_out):
        assert (tmp_path / "pump-lines").read_text().splitlines()[-1] == "17 27 22"


def test_no_start_without_them(tmp_path: Path) -> None:
    """What stands in their place is named; no line has been touched."""
    (tmp_path / "pump-lines").mkdir()
    with pytest.raises(PumpLinesError, match="pump-lines: cannot be written"):
        Service(one_bed(), state_folder=tmp_path, control=False, mqtt=False)


def test_others_may_not_write_them(tmp_path: Path) -> None:
    """Who could, could keep a pump on."""
    before = os.umask(0o022)
    try:
        write_pump_lines(tmp_path, [17])
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "pump-lines").stat().st_mode) & 0o022 == 0
