"""A bench made from a settings file."""

from __future__ import annotations

import tomllib
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from adafruit_ads1x15.ads1115 import ADS1115

from config.settings import Settings
from drivers.ads1115 import Chips, mux_of
from drivers.probe import Quantity
from drivers.registry import open_probe
from drivers.rig import RigError
from sim_hw.bench import open_rig
from sim_hw.from_settings import bench_table
from sim_hw.tables import check
from sim_hw.tank import Tank
from sim_hw.tank_settings import TankSettings
from tests.at_the_tank import raw_settings

RIGS = Path("config/rigs")


def settings(name: str) -> Settings:
    """A shipped settings file."""
    return Settings.model_validate(tomllib.loads((RIGS / name).read_text(encoding="utf-8")))


def a_pi(
    probe: dict[str, Any], pump: dict[str, Any] | None = None, system: str = "still", volume_l: float = 20.0
) -> Settings:
    """Settings of a Raspberry Pi with one reservoir."""
    return Settings.model_validate(
        {
            "site": {"name": "Invented", "device_id": "invented"},
            "rig": {"open": "drivers.pi:open_rig"},
            "reservoir": {
                "bed1": {
                    "title": "Bed",
                    "system": system,
                    "volume_l": volume_l,
                    "mixing_time_s": 300.0,
                    "probe": probe,
                    "pump": pump or {},
                }
            },
        }
    )


@pytest.mark.parametrize("name", sorted(path.name for path in RIGS.glob("*.toml")))
def test_every_shipped_settings_file_gets_a_bench_its_drivers_can_read(name: str) -> None:
    """Each probe of the file, through its own driver, gives a sample of the simulated water."""
    given = settings(name)
    with closing(open_rig(bench_table(given, seed=3))) as bench:
        chips = Chips(bench)
        for reservoir in given.reservoir.values():
            for quantity, probe in reservoir.probe.items():
                opened = open_probe(Quantity(quantity), probe.driver, probe.model_dump(), bench, chips)
                sample = opened.sample()
                opened.close()
                assert not sample.clipped
        for tank, reservoir in given.reservoir.items():
            assert set(bench.world.basins[tank].pumps) == set(reservoir.pump)


def test_a_reference_gets_a_known_voltage_on_its_input() -> None:
    """Of a Raspberry Pi's settings; it is not quite what they expect, and well within 1 %."""
    given = a_pi({"level": {"driver": "level_sender", "input": 0, "empty_v": 0.5, "full_v": 2.5}})
    whole = given.model_dump(exclude_none=True)
    known = {
        "shunt": {"input": 3, "expected_v": 2.5},
        "rail": {"input": 2, "full_scale_v": 6.144, "expected_v": 4.9},
    }
    given = Settings.model_validate({**whole, "reference": known})
    with closing(open_rig(bench_table(given, seed=3))) as bench:
        assert {"reference-shunt", "reference-rail"} <= bench.world.basins["bed1"].probes.keys()
        chip = Chips(bench).at(1, 0x48)
        for one in given.reference.values():
            volts = chip.volts(mux_of(one.input), one.full_scale_v).volts
            assert 0.0005 < volts / one.expected_v - 1.0 < 0.002


def test_a_settings_file_that_names_the_bench_keeps_its_table() -> None:
    """With another seed and clock, and without the socket that people play through."""
    own = settings("quince-lane.toml")
    table = bench_table(own, seed=99, time_factor=0.0)
    assert (table["seed"], table["time_factor"]) == (99, 0.0)
    assert "socket" not in table
    assert table["tank"] == own.rig_table()["tank"]


def test_water_and_plants_follow_the_reservoir() -> None:
    """A third of the usual volume has a third of the plants."""
    tank = bench_table(a_pi({}), seed=1)["tank"]["bed1"]
    assert (tank["volume_l"], tank["mixing_time_s"]) == (20.0, 300.0)
    assert tank["plants"] == round(TankSettings().plants * 20.0 / TankSettings().volume_l)


@pytest.mark.parametrize("volume_l", [2.0, 20.0, 400.0])
@pytest.mark.parametrize(
    ("system", "share_in_bed", "share_left"),
    [("ebb_and_flow", 0.3, 0.75), ("film", 0.05, 1.0), ("deep_water", 0.0, 1.0), ("still", 0.3, 1.0)],
)
def test_the_system_follows_the_reservoir(
    system: str, share_in_bed: float, share_left: float, volume_l: float
) -> None:
    """Six minutes into the flood of 7 h a bed holds its share, a quarter of which came out of the reservoir."""
    table = bench_table(a_pi({}, system=system, volume_l=volume_l), seed=1)
    tank = Tank(check(table).tank["bed1"])
    for minute in range(7):
        tank.advance(60.0, 7 * 3600.0 + 60.0 * minute)
    assert tank.bed_l == pytest.approx(share_in_bed * volume_l, rel=1e-3)
    assert tank.look().level_share == pytest.approx(share_left, rel=2e-3)


def test_a_pump_truly_delivers_a_little_more() -> None:
    """3 % above what the settings believe."""
    pump = {"ph_down": {"line": 17, "ml_per_s": 2.0, "bottle_ml": 500.0}}
    table = bench_table(a_pi({}, pump), seed=1)["tank"]["bed1"]
    assert table["pump"] == [{"role": "ph_down", "line": 17, "ml_per_s": pytest.approx(2.06), "bottle_ml": 500.0}]


def test_defaults_of_the_drivers_hold_for_the_bench() -> None:
    """An amplifier on 5 V at the default bus and address reads its middle."""
    probe = {"ph": {"driver": "ph_amplifier", "input": 2, "full_scale_v": 6.144, "zero_v": 2.5, "gain": -5.0}}
    with closing(open_rig(bench_table(a_pi(probe), seed=1))) as bench:
        read_v = ADS1115(bench.i2c(1), gain=2 / 3).read(6) * 6.144 / 32768
    assert read_v == pytest.approx(2.5 - 5.0 * (0.006 - 0.97 * 0.0582 * 0.2), abs=0.01)


def test_a_driver_without_a_simulated_probe_is_refused() -> None:
    """The message names the table and the drivers that have one."""
    with pytest.raises(RigError, match=r'\[reservoir.bed1.probe.ph\] driver = "magic".*ph_amplifier'):
        bench_table(a_pi({"ph": {"driver": "magic"}}), seed=1)


def test_a_cut_out_of_the_settings_is_in_series_on_the_bench() -> None:
    """The pumps of a bench made to fit turn only while the relay's line is high."""
    raw = {**raw_settings(), "rig": {"open": "drivers.pi:open_rig"}}
    assert "cut_out_line" not in bench_table(Settings.model_validate(raw), seed=1)
    table = bench_table(Settings.model_validate({**raw, "cut_out": {"line": 22}}), seed=1)
    assert table["cut_out_line"] == 22
    assert check(table).cut_out_line == 22
