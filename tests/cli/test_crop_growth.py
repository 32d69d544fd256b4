"""`evenwater crop grow`, as a grower types it."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from daemon.cli.main import main
from daemon.values import Quantity
from tests.test_growing import bright_room, kept

Crop = Callable[..., int]


@pytest.fixture
def crop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Crop:
    """A `crop` command on a state folder of its own, with no settings anywhere."""
    monkeypatch.delenv("EVENWATER_SETTINGS", raising=False)
    return lambda *words: main(["crop", *words, "--state", str(tmp_path)])


def days_ago(days: int) -> str:
    """By the calendar of this machine."""
    return (datetime.now().astimezone().date() - timedelta(days=days)).isoformat()


@pytest.fixture
def set_out(crop: Crop, capsys: pytest.CaptureFixture[str]) -> Crop:
    """spring-1, five butterheads set out three weeks ago."""
    sowing = ["--crop", "lettuce", "--variety", "butterhead", "--plugs", "6", "--day", days_ago(35)]
    assert crop("did", "sown", "spring-1", *sowing) == 0
    setting_out = ["--heads", "5", "--reservoir", "bed1", "--day", days_ago(21)]
    assert crop("did", "transplanted", "spring-1", *setting_out) == 0
    capsys.readouterr()
    return crop


def measured(folder: Path, reading: Callable[[datetime], Mapping[Quantity, float | None]] = bright_room) -> None:
    """A history of the last 22 days."""
    now = datetime.now(UTC).replace(minute=0, second=0, microsecond=0)
    kept(folder, now - timedelta(days=22), now, reading)


def shown(crop: Crop, capsys: pytest.CaptureFixture[str], *words: str) -> Any:
    """The only batch of a command that is fine, as JSON."""
    assert crop("grow", *words, "--json") == 0
    (only,) = json.loads(capsys.readouterr().out)
    return only


def test_a_measured_batch_is_told(set_out: Crop, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Grams with their range, days of harvest, what it rests on."""
    measured(tmp_path)
    assert set_out("grow") == 0
    out = capsys.readouterr().out
    assert f"spring-1: 5 butterhead heads in bed1, set out {days_ago(21)}, day 2" in out
    assert "eight times in ten" in out
    assert "nothing was weighed yet: the model alone may be off by half" in out
    assert "air measured in 100% of the hours; light measured in 100% of the hours" in out
    assert "risks           none seen in what was measured" in out
    assert "not measured" not in out


def test_a_weighing_moves_it(set_out: Crop, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Lighter heads: a factor below 1, a later likely day, a narrower range."""
    measured(tmp_path)
    before = shown(set_out, capsys)
    set_out("did", "weighed", "spring-1", "--heads", "2", "--grams-fresh", "90", "--day", days_ago(1))
    capsys.readouterr()
    after = shown(set_out, capsys)
    assert (before["weighings"], after["weighings"]) == (0, 1)
    assert after["factor"] < 0.7 < before["factor"] == 1.0
    assert after["factor_log_sd"] < before["factor_log_sd"]
    assert date.fromisoformat(after["harvest"]["likely"]) > date.fromisoformat(before["harvest"]["likely"])
    set_out("grow", "spring-1")
    assert "of the model, by weighings: 1 of this batch, 0 earlier batches" in capsys.readouterr().out


def test_a_lamp_takes_the_place_of_a_sensor(set_out: Crop, capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing was measured at all: it says what it assumed, and what it cannot know."""
    dim = shown(set_out, capsys, "--lamp", "150")
    bright = shown(set_out, capsys, "--lamp", "300")
    assert (dim["light"], dim["air"]) == (
        {"from": "lamp", "measured_share": 0.0},
        {"from": "assumed", "measured_share": 0.0, "assumed_c": 20.0},
    )
    assert bright["head_g"]["likely"] > dim["head_g"]["likely"]
    set_out("grow", "--lamp", "300", "--air", "23")
    out = capsys.readouterr().out
    assert "air not measured: taken to be 23 °C; light not measured: by the lamp's timetable" in out
    assert "tip-burn high: light of the day 17.3 mol/m² (limit 17)" in out
    assert "Cornell CEA Hydroponic Lettuce Handbook" in out
    assert "not measured    air temperature, EC, humidity, water temperature" in out


def test_a_lamp_of_the_settings_shines(set_out: Crop, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """[appliance.NAME] with its light; the command line wins."""
    rig = Path(__file__).parents[2] / "config" / "rigs" / "quince-lane.toml"
    lamp = "[appliance.shelf-lamp]\nrated_w = 40.0\nhours_per_day = 14.0\nlight_umol_per_m2_s = 180.0\n"
    file = tmp_path / "site.toml"
    file.write_text(f"{rig.read_text('utf-8')}\n{lamp}", "utf-8")
    own = shown(set_out, capsys, "--settings", str(file))
    assert own["signs"]["light"] == pytest.approx(180.0 * 14 * 3600 / 1e6)
    given = shown(set_out, capsys, "--settings", str(file), "--lamp", "100", "--lamp-hours", "10")
    assert given["signs"]["light"] == pytest.approx(3.6)


def test_without_any_light_it_asks_for_the_lamp(set_out: Crop, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 2, and how."""
    assert set_out("grow") == 2
    assert "give it by --lamp 200 --lamp-hours 16" in capsys.readouterr().err


def test_a_batch_that_does_not_stand_is_refused(set_out: Crop, capsys: pytest.CaptureFixture[str]) -> None:
    """Unknown, or not set out: what there is, what to write down."""
    assert set_out("grow", "spring-7") == 2
    assert "spring-7: was never sown; there are: spring-1" in capsys.readouterr().err
    set_out("did", "sown", "spring-2", "--crop", "lettuce", "--variety", "cos", "--plugs", "3")
    assert set_out("grow", "spring-2") == 2
    assert "evenwater crop did transplanted spring-2" in capsys.readouterr().err


def test_an_empty_garden_says_what_to_do(crop: Crop, capsys: pytest.CaptureFixture[str]) -> None:
    """No head, no trouble."""
    assert crop("grow") == 0
    assert "Write down what you set out" in capsys.readouterr().out
    assert crop("grow", "--json") == 0
    assert json.loads(capsys.readouterr().out) == []


def test_what_is_wanted_of_a_head_may_be_said(set_out: Crop, capsys: pytest.CaptureFixture[str]) -> None:
    """Fewer grams sooner; by the variety 150 g at 20 cm, so 25 on a square metre."""
    usual = shown(set_out, capsys, "--lamp", "200")
    small = shown(set_out, capsys, "--lamp", "200", "--grams", "60")
    assert (usual["wanted_g"], usual["plants_per_m2"], small["wanted_g"]) == (150.0, 25.0, 60.0)
    assert small["harvest"]["likely"] < usual["harvest"]["likely"]
    assert small["signs"]["over-weight"] > usual["signs"]["over-weight"]


def test_a_damaged_history_is_told(set_out: Crop, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 1, and whose it is."""
    (tmp_path / "history.db").write_bytes(b"not a database, not at all, by no means whatever")
    assert set_out("grow", "--lamp", "200") == 1
    assert "cannot be read" in capsys.readouterr().err


def test_picked_leaves_are_mentioned(set_out: Crop, capsys: pytest.CaptureFixture[str]) -> None:
    """The model knows no picking."""
    set_out("did", "picked", "spring-1", "--way", "leaves", "--heads", "3", "--grams", "60")
    set_out("grow", "--lamp", "200")
    assert "are not taken off" in capsys.readouterr().out
