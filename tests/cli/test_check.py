"""`evenwater check`: what is wrong in a settings file, or what it means."""

from __future__ import annotations

from pathlib import Path

import pytest

from config.load import load
from daemon.cli.check import meaning
from daemon.cli.main import main
from tests.at_the_tank import RIGS, two_beds


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
        .replace("max_per_dose_ml = 8.0", "max_per_dose_ml = 8000.0")
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
