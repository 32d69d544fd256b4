"""A settings file told with the meaning of its keys."""

from __future__ import annotations

from pathlib import Path

import pytest

from config.explain import explained
from config.load import load
from config.settings import Settings
from tests.at_the_tank import RIGS, raw_settings


@pytest.mark.parametrize("file", sorted(RIGS.glob("*.toml")), ids=lambda file: file.name)
def test_every_table_of_a_file_is_told_with_meanings(file: Path) -> None:
    """Also each probe by its driver's own keys."""
    tables = {table.heading: table for table in explained(load(file))}
    assert {"[site]", "[rig]", "[reservoir.bed1]", "[reservoir.bed1.bands]", "[reservoir.bed1.probe.ph]"} <= set(
        tables
    )
    silent = [
        f"{heading} {key.name}"
        for heading, table in tables.items()
        for key in table.keys
        if not key.meaning or (heading != "[rig]" and not key.value)
    ]
    assert silent == []


def test_a_key_shows_its_value_in_its_unit_beside_what_is_usual_and_allowed() -> None:
    """And whether it is the grower's own."""
    tables = {table.heading: table for table in explained(load(RIGS / "quince-lane.toml"))}
    keys = {key.name: key for key in tables["[reservoir.bed1.pump.ph_down]"].keys}
    assert keys["max_per_day_ml"].value == "150 mL"
    assert keys["max_per_day_ml"].allowed == "from 0 mL to 20000 mL"
    assert keys["max_per_day_ml"].own
    assert (keys["smallest_dose_ml"].value, keys["smallest_dose_ml"].own) == ("0.2 mL", False)
    assert keys["tube_hours"].value == "left out"
    assert "probe" not in {key.name for key in tables["[reservoir.bed1]"].keys}


def test_stages_are_tables_of_their_own() -> None:
    """Each of them, with its bands."""
    raw = raw_settings()
    raw["reservoir"]["bed1"]["stage"] = [
        {"name": "seedling", "from_day": 0.0},
        {"name": "leafing", "from_day": 14.0, "bands": {"ph_low": 5.6}},
    ]
    headings = [table.heading for table in explained(Settings.model_validate(raw))]
    assert headings.count("[[reservoir.bed1.stage]]") == 2
    assert "[reservoir.bed1.stage.bands]" in headings
