"""What a person can do at the bench."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing

import pytest

from sim_hw.bench import Bench
from sim_hw.bench import open_rig as open_bench
from sim_hw.world import PlayError
from tests.sim_hw.a_bench import a_bench, a_table


@pytest.fixture
def bench() -> Iterator[Bench]:
    """A stepped bench with one tank."""
    with closing(a_bench()) as opened:
        yield opened


def test_a_probe_is_dipped_and_put_back(bench: Bench) -> None:
    """By its name alone, by tank and name, or by a name with its tank; the standard has the water's warmth."""
    assert bench.play("dip", probe="ph", standard="7.00") == {
        "probe": "bed1/ph",
        "in": "7.00",
        "temperature_c": 20.0,
    }
    assert bench.play("dip", probe="ph", tank="bed1", standard="4.01", temperature_c=25)["temperature_c"] == 25.0
    assert bench.play("look")["tanks"]["bed1"]["probes"]["ph"]["in"] == "4.01"
    assert bench.play("back", probe="bed1/ph") == {"probe": "bed1/ph", "in": "tank"}


def test_a_plug_is_pulled_and_put_in(bench: Bench) -> None:
    """Unplugging is a fault, and plugging in mends it."""
    bench.play("unplug", probe="ec")
    assert [fault["name"] for fault in bench.play("look")["faults"]] == ["probe_unplugged"]
    bench.play("plug", probe="ec")
    assert bench.play("look")["faults"] == []


def test_bottles_are_emptied_and_refilled(bench: Bench) -> None:
    """To nothing, and to what they held."""
    assert bench.play("empty", pump="ph_down")["left_ml"] == 0.0
    assert bench.play("refill", pump="bed1/ph_down")["left_ml"] == 1000.0


def test_water_goes_in_and_out(bench: Bench) -> None:
    """Litres."""
    assert bench.play("add_water", litres=5)["volume_l"] == pytest.approx(65.0, abs=0.01)
    assert bench.play("drain", litres=10)["volume_l"] == pytest.approx(55.0, abs=0.01)


def test_what_stands_in_a_bed_and_what_heads_weigh_is_told() -> None:
    """Litres, grams, and the charge error of the source water; of a plain tank nothing but no bed."""
    more = {
        "plants": 9,
        "water": "hard",
        "system": {"kind": "film", "channel_l": 5.0},
        "crop": {"age_days": 20.0},
    }
    with closing(a_bench(tank=more)) as told, closing(a_bench()) as plain:
        tank = told.play("look")["tanks"]["bed1"]
        assert (tank["bed_l"], round(tank["source_charge_error_percent"], 1)) == (5.0, 0.5)
        assert tank["fresh_g_per_plant"] > 50.0
        bare = plain.play("look")["tanks"]["bed1"]
        assert (bare["bed_l"], bare["fresh_g_per_plant"], bare["source_charge_error_percent"]) == (
            0.0,
            None,
            None,
        )


def test_a_fault_may_have_an_end_and_a_size(bench: Bench) -> None:
    """It is there with its numbers, and gone after its time."""
    bench.play("fault", name="pump_fast", target="ph_down", for_s=60, size=3)
    assert bench.play("look")["faults"] == [
        {"name": "pump_fast", "target": "bed1/ph_down", "start_s": 0.0, "end_s": 60.0, "size": 3.0}
    ]
    bench.clock.sleep(60.0)
    assert bench.play("look")["faults"] == []


WRONG = [
    ("jump", {}, "there is no command 'jump': there are dip, back"),
    ("dip", {"probe": "orp", "standard": "7"}, r"there is no probe 'orp' in bed1: there are ph, ec"),
    ("dip", {"probe": "ph", "standard": "8"}, r"'8' is no pH buffer"),
    ("dip", {"probe": "ph"}, "standard"),
    ("dip", {"probe": "ph", "standard": "7", "depth": 3}, "depth"),
    ("back", {"probe": "bed1/ph", "tank": "bed2"}, "name the tank once"),
    ("empty", {"pump": "stock_a"}, "there is no pump 'stock_a' in bed1: there are ph_down, ph_up"),
    ("drain", {"litres": -1}, "litres = -1"),
    ("drain", {"litres": float("nan")}, "litres = nan"),
    ("drain", {"litres": 1, "tank": "bed9"}, "there is no tank 'bed9': there are bed1"),
    ("fault", {"name": "gremlin", "target": "ph"}, "gremlin"),
    ("fault", {"name": "pump_dead", "target": "ph"}, "can befall bed1/ph_down, bed1/ph_up"),
    ("fault", {"name": "probe_coated", "target": "level"}, "can befall bed1/ph, bed1/ec, bed1/temperature"),
    ("fault", {"name": "chip_silent", "target": "level"}, "can befall bed1/ph"),
    ("mend", {"name": "pump_dead", "target": "ph_down"}, "has no pump_dead to mend; faults now: none"),
]


@pytest.mark.parametrize(("command", "params", "says"), WRONG)
def test_what_cannot_be_done_is_told_with_what_can(
    bench: Bench, command: str, params: dict[str, object], says: str
) -> None:
    """One clear error, and the world is as before."""
    before = bench.play("look")
    with pytest.raises(PlayError, match=says):
        bench.play(command, **params)
    assert bench.play("look") == before


def test_with_several_tanks_one_must_be_named() -> None:
    """The message lists them."""
    table = a_table()
    table["tank"]["bed2"] = {"volume_l": 20.0}
    with closing(open_bench(table)) as bench:
        with pytest.raises(PlayError, match="which tank\\? There are bed1, bed2"):
            bench.play("drain", litres=1)
        assert bench.play("drain", litres=1, tank="bed2")["volume_l"] == pytest.approx(19.0, abs=0.01)
