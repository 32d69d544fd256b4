"""`evenwater rehearse`: days in seconds, and a report that programs can read."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from config.load import load, raw_tables
from config.settings import Settings
from daemon.cli.main import main
from daemon.cli.rehearse import USUAL, _lines, rehearse
from daemon.service import settings_with
from sim_hw.scenarios import SCENARIOS, tables_of
from tests.at_the_tank import RIGS, pump_settings, raw_settings, two_beds

QUINCE_LANE = RIGS / "quince-lane.toml"
KEYS = {
    "days",
    "in_band",
    "delivered_ml",
    "doses",
    "refusals",
    "cap_violations",
    "alarms",
    "ended_condition",
    "speed_ratio",
}


def quiet(_days: float) -> None:
    """Nobody watches the progress."""


def coarse(settings: Callable[[dict[str, Any]], None] = lambda raw: None) -> Settings:
    """The school garden with a pass a minute, so that hours go by quickly."""
    raw = raw_settings()
    raw["site"]["pass_every_s"] = 60.0
    settings(raw)
    return Settings.model_validate(raw)


def test_the_report_has_what_it_promises(capsys: pytest.CaptureFixture[str]) -> None:
    """One JSON object on standard output, through the command line, exit 0."""
    assert main(["rehearse", str(QUINCE_LANE), "--days", "0.1", "--json"]) == 0
    report = json.loads(capsys.readouterr().out)
    assert report.keys() >= KEYS
    assert report["days"] == 0.1
    assert set(report["in_band"]) == {"ph", "ec", "temperature"}
    assert all(0.0 <= share <= 1.0 for share in report["in_band"].values())
    assert set(report["delivered_ml"]) == {"bed1/ph_down", "bed1/ph_up"}
    assert report["doses"] > 0
    assert (report["cap_violations"], report["violations"]) == (0, [])
    assert report["ended_condition"] == "keeping"
    assert report["speed_ratio"] > 100.0


def test_the_report_for_people_says_the_same(capsys: pytest.CaptureFixture[str]) -> None:
    """In sentences, without JSON."""
    assert main(["rehearse", str(QUINCE_LANE), "--days", "0.05"]) == 0
    said = capsys.readouterr().out
    assert said.startswith("0.05 days in simulated water, ")
    assert "in band" in said
    assert "cap violations: 0" in said
    assert said.endswith("ended keeping\n")


def test_the_audits_millilitres_agree_with_the_ledger() -> None:
    """Edges on the line at the settings' rate: within the rounding of the keeper's clock for each dose."""
    report = rehearse(coarse(), 0.25, 1, quiet)
    assert report["doses"] >= 5
    assert report["delivered_ml"]["bed1/ph_up"] == 0.0
    assert 5.0 * report["doses"] < report["delivered_ml"]["bed1/ph_down"] <= 8.05 * report["doses"]


def test_water_that_is_high_is_brought_into_its_band() -> None:
    """The share of the second half of the day is better than that of the first: it was 7.2 at the start."""
    report = rehearse(coarse(), 0.5, 1, quiet)
    assert report["in_band"]["ph"] < 1.0
    assert report["in_band_after_6_h"]["ph"] >= 0.99
    assert report["cap_violations"] == 0


def test_the_same_seed_gives_the_same_days() -> None:
    """All but the speed; another seed has other noise."""
    first, again, other = (rehearse(coarse(), 0.1, seed, quiet) for seed in (1, 1, 2))
    for report in (first, again, other):
        del report["speed_ratio"]
    assert first == again
    assert first != other


def test_a_settings_file_for_a_pi_can_be_rehearsed_and_doses_nothing() -> None:
    """No wire of a Pi is touched; what it would have asked for is refused for want of caps."""
    report = rehearse(load(RIGS / "pi-example.toml"), 0.05, 1, quiet)
    assert report["doses"] == 0
    assert report["delivered_ml"] == {"bed1/ph_down": 0.0}
    assert set(report["refusals"]) == {"not_set"}
    assert report["ended_condition"] == "watching"
    assert "bed1-ph-down-caps-missing" in {alarm["key"] for alarm in report["alarms"]}


def test_tighter_caps_deliver_less_and_say_so() -> None:
    """What a rehearsal is for: caps tried before anything gets wet."""
    tight = pump_settings(max_per_dose_ml=2.0, max_per_hour_ml=4.0, max_per_day_ml=10.0)
    report = rehearse(tight, 0.1, 1, quiet)
    assert report["delivered_ml"]["bed1/ph_down"] == pytest.approx(8.0, abs=4.1)
    assert report["refusals"]["per_hour"] >= 1
    assert report["cap_violations"] == 0


def test_several_reservoirs_are_rehearsed_together() -> None:
    """The gravest condition of all is the one reported; each has its own beside it."""
    raw = two_beds().model_dump()
    raw["reservoir"]["bed2"]["start"] = "watching"
    report = rehearse(Settings.model_validate(raw), 0.03, 1, quiet)
    assert report["ended_conditions"] == {"bed1": "keeping", "bed2": "watching"}
    assert report["ended_condition"] == "watching"
    assert report["delivered_ml"]["bed1/ph_down"] > 0.0
    assert report["delivered_ml"]["bed2/ph_down"] == 0.0


def test_shares_are_of_the_water_and_not_of_the_probes() -> None:
    """A probe that has come off sees nothing; the water is out of its band all the same."""

    def unplugged(raw: dict[str, Any]) -> None:
        fault = {"name": "probe_unplugged", "target": "bed1/ph", "start_s": 3600.0}
        raw["rig"]["fault"] = [fault]
        raw["reservoir"]["bed1"]["start"] = "watching"

    report = rehearse(coarse(unplugged), 0.2, 1, quiet)
    assert report["in_band"]["ph"] == 0.0
    assert "bed1-ph-probe" in {alarm["key"] for alarm in report["alarms"]}


def test_a_pump_that_delivers_nothing_ends_locked_within_its_caps() -> None:
    """The water is never brought into its band; after three or four doses it asks no more."""

    def dead(raw: dict[str, Any]) -> None:
        raw["rig"]["fault"] = [{"name": "pump_dead", "target": "bed1/ph_down", "start_s": 0.0}]

    report = rehearse(coarse(dead), 0.2, 1, quiet)
    assert report["in_band"]["ph"] == 0.0
    assert report["cap_violations"] == 0
    assert 0.0 < report["delivered_ml"]["bed1/ph_down"] <= 4 * 8.0
    assert report["ended_condition"] == "locked"


def test_a_still_reservoir_falls_as_expected_until_somebody_fills_it_up() -> None:
    """Half-grown heads in a bucket: as growth explains for a day; then filled to the top, and the roots drown."""
    still = SCENARIOS["still"]
    tank = {**still.tank, "crop": {"age_days": 18.0}, "pour": [{"day": 1.2, "litres": 1.5}]}
    bucket = replace(still, tank=tank, bed={**still.bed, "water": {"most_drunk_l_per_h": 0.2}}, volume_l=10.0)
    settings = Settings.model_validate(tables_of(raw_tables(USUAL), bucket))
    report = rehearse(settings_with(settings, site={"pass_every_s": 60.0}), 1.3, seed=1, progressing=quiet)
    first, then = report["still_levels"]["bed1"]
    assert first["level"] == pytest.approx(first["expected"], abs=0.01)
    assert then["expected_low"] < then["level"] < then["expected_high"] < 0.95
    assert [alarm["key"] for alarm in report["alarms"] if "level" in alarm["key"]] == ["bed1-level-air-roots"]
    assert any("expected 100%" in line for line in _lines(report))


def test_a_still_reservoir_that_leaks_slowly_calls_within_two_days() -> None:
    """10 L of 60 in a day, too slow for the alarm of a leak; plants would take 3.6."""
    still = SCENARIOS["still"]
    leaky = replace(still, tank={**still.tank, "evaporation_l_per_day": 10.0, "pour": []})
    settings = Settings.model_validate(tables_of(raw_tables(USUAL), leaky))
    report = rehearse(settings_with(settings, site={"pass_every_s": 60.0}), 1.3, seed=1, progressing=quiet)
    (alarm,) = [alarm for alarm in report["alarms"] if "level" in alarm["key"]]
    assert alarm["key"] == "bed1-level-falls-fast"
    assert "plants take at most about 3.6 L" in alarm["text"]
    assert alarm["raised_s"] > 86400.0


def test_progress_is_told_in_days() -> None:
    """Rising, up to about the end."""
    told: list[float] = []
    rehearse(coarse(), 0.05, 1, told.append)
    assert told == sorted(told)
    assert 0.045 < told[-1] <= 0.05


def test_nothing_is_left_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The settings' own state folder and bench socket are not touched."""
    monkeypatch.chdir(tmp_path)
    rehearse(coarse(), 0.01, 1, quiet)
    assert list(tmp_path.iterdir()) == []


def test_a_grower_that_cannot_calibrate_stops_it(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """An electrode too worn to be kept: exit 1 with the daemon's reason, and no report."""
    text = QUINCE_LANE.read_text(encoding="utf-8")
    worn = tmp_path / "worn.toml"
    worn.write_text(text.replace("slope_percent = 97.0", "slope_percent = 70.0"), encoding="utf-8")
    assert main(["rehearse", str(worn), "--days", "0.01", "--json"]) == 1
    said = capsys.readouterr()
    assert said.out == ""
    assert "evenwater rehearse: calibrating ph: not kept" in said.err
    assert "slope too low" in said.err
