"""`evenwater check`: what is wrong in a settings file, or what it means."""

from __future__ import annotations

from pathlib import Path

import pytest

from config.load import load
from config.settings import Settings
from daemon.cli.main import main
from daemon.readiness import meaning, use_of
from drivers.box import Use
from tests.at_the_tank import RIGS, raw_settings, two_beds
from tests.drivers.a_pi import PARAMETER, a_pi, change


@pytest.mark.parametrize("file", sorted(RIGS.glob("*.toml")), ids=lambda file: file.name)
def test_every_shipped_file_is_fine(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 0, and the last line says so."""
    assert main(["check", str(file)]) == 0
    said = capsys.readouterr()
    assert said.out.splitlines()[-1] == f"{file}: fine"
    assert said.err == ""


def test_it_says_what_the_daemon_would_do() -> None:
    """Site, reservoir, each probe's driver, each pump's line and caps."""
    said = meaning(load(RIGS / "quince-lane.toml"))
    assert said[0] == (
        "Quince Lane school kitchen garden (invented) (device quince-lane), a pass every 10 s, "
        "rig sim_hw.bench:open_rig"
    )
    assert said[1] == "Bed 1 [bed1]: 60 L, starts keeping"
    assert "  ph          ph_amplifier" in said
    assert "  ph_down     GPIO 17: at most 8 mL a dose, 60 an hour, 150 a day" in said


def test_it_says_that_the_pi_example_doses_nothing() -> None:
    """It starts watching and has no caps."""
    said = meaning(load(RIGS / "pi-example.toml"))
    assert "Bed 1 [bed1]: 60 L, starts watching" in said
    assert "  ph_down     GPIO 17: never doses, a cap is not set" in said


def test_each_reference_is_told_with_what_is_allowed() -> None:
    """Its input, and the volts within which the converter is believed."""
    reference = {"shunt": {"input": 3, "expected_v": 2.5}}
    said = meaning(Settings.model_validate({**raw_settings(), "reference": reference}))
    assert said[1] == (
        "reference shunt: 2.475 to 2.525 V at input 3 of the converter at 0x48 on I2C bus 1, else no dose by its "
        "probes"
    )


def test_every_reservoir_is_told() -> None:
    """By title and name."""
    said = meaning(two_beds())
    assert [line for line in said if "60 L" in line] == [
        "Bed 1 [bed1]: 60 L, starts keeping",
        "Bed 2 [bed2]: 60 L, starts keeping",
    ]


def test_every_mistake_is_told_at_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 1, on standard error, each with its key; what the file means is not told."""
    text = (RIGS / "quince-lane.toml").read_text(encoding="utf-8")
    wrong = tmp_path / "wrong.toml"
    wrong.write_text(
        text.replace("volume_l = 60.0\nmixing_time_s = 120.0\nstart", "volume_l = 60000.0\nmixing = 2\nstart")
        .replace("max_per_dose_ml = 8.0", "max_per_dose_ml = 80000.0")
        .replace("line = 27\nml_per_s = 1.0", "line = 4\nml_per_s = 1.0"),
        encoding="utf-8",
    )
    assert main(["check", str(wrong)]) == 1
    said = capsys.readouterr()
    assert said.out == ""
    for key in ("volume_l", "mixing", "max_per_dose_ml", "GPIO 4"):
        assert key in said.err, key
    assert str(wrong) in said.err


def test_what_is_allowed_but_unwise_is_a_note(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 0 all the same."""
    text = (RIGS / "quince-lane.toml").read_text(encoding="utf-8")
    unwise = tmp_path / "unwise.toml"
    unwise.write_text(text.replace("min_gap_s = 360.0", "min_gap_s = 60.0"), encoding="utf-8")
    assert main(["check", str(unwise)]) == 0
    assert "note: " in capsys.readouterr().out


# on a Raspberry Pi


@pytest.fixture
def pi(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """This machine is a Raspberry Pi with everything set up; only its lgpio is not asked for."""
    root = a_pi(tmp_path / "pi")
    monkeypatch.setattr("daemon.readiness.ROOT", root)
    monkeypatch.setattr("drivers.box.find_spec", lambda module: module)
    return root


@pytest.fixture
def kept_on_a_pi(tmp_path: Path) -> Path:
    """The example for a Pi, told to keep its reservoir."""
    text = (RIGS / "pi-example.toml").read_text(encoding="utf-8")
    file = tmp_path / "site.toml"
    file.write_text(text.replace('start = "watching"', 'start = "keeping"'), encoding="utf-8")
    return file


def test_a_pi_with_every_barrier_may_keep(
    pi: Path, kept_on_a_pi: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each barrier has a line; exit 0."""
    assert main(["check", str(kept_on_a_pi)]) == 0
    said = capsys.readouterr().out
    for name in (
        "board",
        "pin release",
        "stop program",
        "watchdog",
        "clock",
        "state folder",
        "disk",
        "pins",
        "I2C",
    ):
        assert f"  ok       {name} " in said
    assert "  unknown  pull-downs" in said
    assert said.splitlines()[-1] == f"{kept_on_a_pi}: fine"


def test_keeping_is_refused_while_a_barrier_is_missing(
    pi: Path, kept_on_a_pi: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit 1; what is missing, where, and what to do (H2)."""
    change(pi, PARAMETER, "Y\n")
    assert main(["check", str(kept_on_a_pi)]) == 1
    said = capsys.readouterr()
    assert "  missing  pin release" in said.out
    assert "do: put `dtparam=strict_gpiod` in config.txt" in said.out
    assert "fine" not in said.out
    assert f'{kept_on_a_pi}: [reservoir.bed1] start = "keeping": not while a barrier is missing' in said.err
    assert "(pin release)" in said.err


def test_watching_needs_no_barrier(pi: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What is missing is told all the same."""
    change(pi, PARAMETER, "Y\n")
    assert main(["check", str(RIGS / "pi-example.toml")]) == 0
    assert "  missing  pin release" in capsys.readouterr().out


def test_a_clock_not_yet_set_is_told_and_refuses_nothing(
    pi: Path, kept_on_a_pi: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The ledger reckons with it."""
    change(pi, "run/systemd/timesync/synchronized", None)
    assert main(["check", str(kept_on_a_pi)]) == 0
    assert "  missing  clock " in capsys.readouterr().out


def test_another_rig_has_no_barriers(pi: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A bench's pins end with its process, on a Pi too."""
    change(pi, PARAMETER, "Y\n")
    assert main(["check", str(RIGS / "quince-lane.toml")]) == 0
    assert "barriers" not in capsys.readouterr().out


def test_the_box_is_asked_for_what_the_settings_use() -> None:
    """Each bus once, the one-wire folder only where a thermometer is in it, the state folder."""
    settings = two_beds()
    assert use_of(settings) == Use(Path(settings.site.state_folder), (1,), one_wire=False)
    raw = raw_settings()
    raw["reservoir"]["bed1"]["probe"]["ec"]["i2c_bus"] = 3
    raw["reservoir"]["bed1"]["probe"]["temperature"] = {"driver": "ds18b20", "sensor_id": "28-00000a1b2c3d"}
    use = use_of(Settings.model_validate(raw))
    assert (use.i2c_buses, use.one_wire) == ((1, 3), True)
