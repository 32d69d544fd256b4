"""Every named scenario and variant is a settings file and a bench that load."""

from __future__ import annotations

import pytest

from config.load import raw_tables
from config.plausible import in_reservoir
from config.settings import Settings
from sim_hw.from_settings import bench_table
from sim_hw.scenarios import BED, SCENARIOS, VARIANTS, tables_of
from sim_hw.tables import check
from tests.at_the_tank import RIGS

BASE = raw_tables(RIGS / "quince-lane-fed.toml")


@pytest.mark.parametrize("variant", VARIANTS)
@pytest.mark.parametrize("name", SCENARIOS)
def test_it_loads_and_is_plausible(name: str, variant: str) -> None:
    """With caps that its own volume allows."""
    settings = Settings.model_validate(tables_of(BASE, SCENARIOS[name], VARIANTS[variant]))
    assert list(in_reservoir(BED, settings.reservoir[BED])) == []
    tank = check(bench_table(settings, seed=1)).tank[BED]
    assert tank.volume_l == settings.reservoir[BED].volume_l == SCENARIOS[name].volume_l


def test_the_base_is_left_as_it_is() -> None:
    """One scenario does not leak into the next."""
    before = raw_tables(RIGS / "quince-lane-fed.toml")
    for scenario in SCENARIOS.values():
        tables_of(BASE, scenario, VARIANTS["pumps 30 % fast"])
    assert before == BASE


def test_what_is_dosed_has_pumps() -> None:
    """Only the still reservoir has none."""
    undosed = [name for name, scenario in SCENARIOS.items() if not scenario.dosed]
    assert undosed == ["still"]
    assert not Settings.model_validate(tables_of(BASE, SCENARIOS["still"])).reservoir[BED].pump
