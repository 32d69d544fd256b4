"""`evenwater run`: keeps the reservoirs until its time is up or it is told to stop."""

from __future__ import annotations

import argparse
import os
import re
import signal
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from daemon.cli.main import main
from daemon.cli.run import seconds, stopping_at_signals
from daemon.service import Service
from daemon.values import Outcome
from tests.at_the_tank import BEGINNING, CALIBRATIONS, RIGS, TO_A_DOSE, at_the_tank


@pytest.fixture
def settings_file(tmp_path: Path) -> Path:
    """The school garden on a stepped bench, without MQTT, its state beside it and calibrated."""
    text = (RIGS / "quince-lane.toml").read_text(encoding="utf-8")
    text = text.replace("time_factor = 60.0", "time_factor = 0").replace(
        '"var/bench.sock"', f'"{tmp_path}/b.sock"'
    )
    text = text.replace("[mqtt]", "[mqtt]\nenabled = false")
    text = text.replace('state_folder = "var"', f'state_folder = "{tmp_path}/state"')
    file = tmp_path / "garden.toml"
    file.write_text(text, encoding="utf-8")
    (tmp_path / "state").mkdir()
    (tmp_path / "state" / "calibrations.toml").write_text(CALIBRATIONS.format(name="bed1"), encoding="utf-8")
    return file


@pytest.mark.parametrize(
    ("text", "so_many"), [("14d", 1209600.0), ("2h", 7200.0), ("90m", 5400.0), ("30s", 30.0), ("2.5h", 9000.0)]
)
def test_a_time_has_a_unit(text: str, so_many: float) -> None:
    """In seconds."""
    assert seconds(text) == so_many


@pytest.mark.parametrize("text", ["14", "d", "", "0h", "-2h", "1e3s", "2 h", "nand", "infs", "2w", "2h30m"])
def test_what_is_no_time_is_refused(text: str) -> None:
    """With the text and an example."""
    with pytest.raises(argparse.ArgumentTypeError, match="as in 14d") as caught:
        seconds(text)
    assert repr(text) in str(caught.value)


def test_it_ends_by_itself_after_so_much_rig_time(settings_file: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """Exit 0; the log has one line per change of state, and the ledger what was dosed."""
    assert main(["run", str(settings_file), "--for", "20m"]) == 0
    lines = capfd.readouterr().out.splitlines()
    state = settings_file.parent / "state"
    assert lines[0] == f"evenwater: keeping bed1; state in {state}"
    assert lines[1] == "Bed 1: keeping (corrects by itself)"
    assert lines[-1] == "evenwater: stopped, pumps off"
    dosed = [
        line
        for line in lines
        if re.match(r"Bed 1: dosed \d\.\d mL pH down, pH \d\.\d\d, aim 6\.00; drifting ", line)
    ]
    with closing(sqlite3.connect(state / "ledger.db")) as db:
        assert db.execute("SELECT count(*) FROM entries").fetchone() == (len(dosed),)
    assert len(dosed) >= 2


def test_a_state_folder_of_its_own_can_be_given(settings_file: Path, tmp_path: Path) -> None:
    """In place of the one that the settings name."""
    other = tmp_path / "other"
    assert main(["run", str(settings_file), "--for", "1m", "--state", str(other)]) == 0
    assert (other / "ledger.db").exists()
    assert not (tmp_path / "state" / "ledger.db").exists()


def test_what_the_settings_leave_unwise_is_noted_at_the_start(
    settings_file: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """On standard error."""
    text = settings_file.read_text(encoding="utf-8")
    settings_file.write_text(text.replace("min_gap_s = 360.0", "min_gap_s = 60.0"), encoding="utf-8")
    assert main(["run", str(settings_file), "--for", "10s"]) == 0
    assert "note: [reservoir.bed1.pump.ph_down] min_gap_s" in capfd.readouterr().err


def unknown_rig(file: Path) -> None:
    text = file.read_text(encoding="utf-8")
    file.write_text(text.replace("sim_hw.bench:open_rig", "no.such:rig", 1), encoding="utf-8")


def wrong_key(file: Path) -> None:
    text = file.read_text(encoding="utf-8")
    file.write_text(text.replace("volume_l = 60.0\nmixing", "volume_ml = 60.0\nmixing"), encoding="utf-8")


@pytest.mark.parametrize(
    ("spoil", "says"),
    [(unknown_rig, "no.such"), (wrong_key, "volume_ml")],
)
def test_what_stops_a_start_is_told_in_one_message(
    settings_file: Path, spoil: Callable[[Path], None], says: str, capfd: pytest.CaptureFixture[str]
) -> None:
    """Exit 1, on standard error, with no traceback."""
    spoil(settings_file)
    assert main(["run", str(settings_file), "--for", "10m"]) == 1
    said = capfd.readouterr()
    assert "Traceback" not in said.err
    assert says in said.err.partition("evenwater run: ")[2]
    assert "keeping" not in said.out


def test_a_spoilt_ledger_measures_and_says_what_to_do(
    settings_file: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """Locked, with the file and the next step; it does not leave the tank unwatched."""
    (settings_file.parent / "state" / "ledger.db").write_bytes(b"junk" * 200)
    assert main(["run", str(settings_file), "--for", "10m"]) == 0
    said = capfd.readouterr().out
    assert "locked (a safety stop; clear it at the tank): the ledger could not be read at the start" in said
    assert "ledger.db is not a ledger of this program" in said
    assert "evenwater repair" in said


def test_a_second_daemon_on_the_folder_is_refused(settings_file: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """With the process that holds it."""
    with at_the_tank(settings_file.parent / "state"):
        assert main(["run", str(settings_file), "--for", "10m"]) == 1
    assert f"in use by process {os.getpid()}" in capfd.readouterr().err


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_turns_the_pump_off_and_ends_after_the_pass(tmp_path: Path, number: int) -> None:
    """In the middle of a dose; afterwards the signals are whose they were."""
    before = signal.getsignal(number)
    with at_the_tank(tmp_path) as at, stopping_at_signals(at.service):

        def send() -> None:
            if at.pump_is_on() and not at.loop.stopping.is_set():
                os.kill(os.getpid(), number)

        at.clock.during_sleep = send
        at.service.run(3600.0)
        assert at.bed().last_doses[0].outcome is Outcome.CUT_SHORT
        assert not at.pump_is_on()
        assert at.loop.state is not None
        assert at.loop.state.passes <= TO_A_DOSE
    assert signal.getsignal(number) is before


def test_the_signals_are_given_back_after_an_error(tmp_path: Path) -> None:
    """Whatever ended it."""
    before = signal.getsignal(signal.SIGTERM)

    def fall_over(service: Service) -> None:
        with stopping_at_signals(service):
            raise RuntimeError("fell over")

    with at_the_tank(tmp_path, start_utc=BEGINNING) as at, pytest.raises(RuntimeError):
        fall_over(at.service)
    assert signal.getsignal(signal.SIGTERM) is before
