"""Tests of config/plausible.py: tables that contradict each other, and what is allowed but worth saying."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from config.plausible import (
    appliances_nowhere,
    in_reservoir,
    references_alone,
    warnings,
    wire_words,
    wires_used_twice,
)
from config.settings import Reservoir, Settings

CAPS = {"max_per_dose_ml": 4.0, "max_per_hour_ml": 12.0, "max_per_day_ml": 50.0}
PUMP = {"line": 17, "ml_per_s": 1.0, "bottle_ml": 1000.0, **CAPS}
PROBES: dict[str, dict[str, Any]] = {
    "ph": {"driver": "ph_amplifier", "input": 0, "zero_v": 1.65, "gain": -3.0},
    "ec": {"driver": "ec_amplifier", "input": 1, "ms_per_v": 1.0},
    "temperature": {"driver": "ds18b20", "sensor_id": "28-0316a2795cff"},
    "level": {"driver": "float_switch", "line": 23},
}
NONE: dict[str, Any] = {}
RESERVOIR: dict[str, Any] = {
    "title": "Bed",
    "system": "ebb_and_flow",
    "volume_l": 60.0,
    "mixing_time_s": 120.0,
    "probe": PROBES,
    "pump": {"ph_down": PUMP},
}


def changed(pump: dict[str, Any], pumps: dict[str, Any] | None, changes: dict[str, Any]) -> dict[str, Any]:
    """The sound reservoir with some keys, its pump's, or all its pumps set to something else."""
    return RESERVOIR | changes | {"pump": {"ph_down": PUMP | pump} if pumps is None else pumps}


def said(pump: dict[str, Any] = NONE, pumps: dict[str, Any] | None = None, **changes: Any) -> list[str]:
    """What is said against the sound reservoir with these changes."""
    table = changed(pump, pumps, changes)
    return [f"[{one.table}] {one.text}" for one in in_reservoir("bed1", Reservoir.model_validate(table))]


def warned(
    mqtt: dict[str, Any] = NONE, pump: dict[str, Any] = NONE, pumps: dict[str, Any] | None = None, **changes: Any
) -> list[str]:
    """What the sound reservoir with these changes is warned of."""
    whole = {
        "site": {"name": "Site", "device_id": "site"},
        "rig": {"open": "any.rig:open_rig"},
        "mqtt": mqtt,
        "reservoir": {"bed1": changed(pump, pumps, changes)},
    }
    return list(warnings(Settings.model_validate(whole)))


def test_a_sound_reservoir_is_not_complained_of() -> None:
    """Nor is it warned of."""
    assert said() == []
    assert warned() == []


@pytest.mark.parametrize("target", [5.65, 6.0, 6.35])
def test_a_target_whose_dead_band_just_fits_is_fine(target: float) -> None:
    """At the edge of the band, decimals notwithstanding."""
    assert said(ph={"target": target, "dead_band": 0.15}) == []


@pytest.mark.parametrize("target", [5.64, 6.36, 5.0])
def test_a_target_too_near_the_band_is_refused(target: float) -> None:
    """The dead band around it would reach outside."""
    assert said(ph={"target": target, "dead_band": 0.15}) == [
        f"[reservoir.bed1.ph] target = {target:g}: must be from 5.65 to 6.35 pH, so that target plus or minus "
        "dead_band = 0.15 stays in the band 5.5 to 6.5; move the target or the band"
    ]


def test_a_dead_band_wider_than_the_band_is_refused() -> None:
    """No target could fit it."""
    (line,) = said(ph={"dead_band": 0.51})
    assert line.startswith(
        "[reservoir.bed1.ph] dead_band = 0.51: must be at most 0.5 pH, half the band 5.5 to 6.5"
    )


@pytest.mark.parametrize(("has", "lacks"), [("stock_a", "stock_b"), ("stock_b", "stock_a")])
def test_one_stock_without_the_other_is_refused(has: str, lacks: str) -> None:
    """Half a feed unbalances the solution."""
    (line,) = said(pumps={has: PUMP})
    assert line.startswith(f"[reservoir.bed1.pump.{lacks}] is missing while {has} is set")


def test_both_stocks_are_fine() -> None:
    """As a pair they may stand."""
    assert said(pumps={"stock_a": PUMP, "stock_b": PUMP}) == []


def test_a_calibration_expires_after_its_warning() -> None:
    """The other way round nobody would be warned."""
    (line,) = said(calibration_warn_days=61.0)
    assert line.startswith(
        "[reservoir.bed1] calibration_warn_days = 61: must be at most calibration_expire_days = 60"
    )
    assert said(calibration_warn_days=60.0) == []
    (line,) = said(pump_rate_expire_days=59.0)
    assert "pump_rate_warn_days = 60: must be at most pump_rate_expire_days = 59 days" in line
    assert said(pump_rate_expire_days=60.0) == []


@pytest.mark.parametrize(
    ("caps", "names"),
    [
        ({"max_per_dose_ml": 12.1}, ("max_per_dose_ml = 12.1", "max_per_hour_ml = 12")),
        ({"max_per_hour_ml": 50.5}, ("max_per_hour_ml = 50.5", "max_per_day_ml = 50")),
        (
            {"max_per_hour_ml": None, "max_per_dose_ml": 51.0, "ml_per_s": 2.0},
            ("max_per_dose_ml = 51", "max_per_day_ml = 50"),
        ),
    ],
)
def test_a_smaller_window_never_allows_more(caps: dict[str, Any], names: tuple[str, str]) -> None:
    """Per dose, per hour, per day, in this order; equal is fine."""
    (line,) = said(caps)
    assert line.startswith(f"[reservoir.bed1.pump.ph_down] {names[0]}: must be at most {names[1]} mL")


def test_equal_caps_are_fine() -> None:
    """One dose an hour, one a day."""
    assert said(dict.fromkeys(CAPS, 10.0)) == []


def test_no_dose_fits_below_the_smallest() -> None:
    """A pump that could never dose is a slip; one with a cap of zero is off on purpose."""
    (line,) = said({"max_per_dose_ml": 0.1})
    assert line.startswith(
        "[reservoir.bed1.pump.ph_down] smallest_dose_ml = 0.2: must be at most max_per_dose_ml = 0.1"
    )
    assert said({"max_per_dose_ml": 0.0}) == []


@pytest.mark.parametrize(
    ("key", "most_ml", "percent"), [("max_per_dose_ml", 10.0, "0.1"), ("max_per_day_ml", 100.0, "1")]
)
def test_no_cap_exceeds_its_share_of_the_water(key: str, most_ml: float, percent: str) -> None:
    """One mL for each litre at a time, ten in a day; just at the limit is fine."""
    fits = {"max_per_dose_ml": 1.0, "max_per_hour_ml": 10.0, "max_per_day_ml": 100.0, key: most_ml}
    assert said(fits, volume_l=10.0) == []
    (line,) = said(fits | {key: most_ml * 1.01, "max_per_hour_ml": None}, volume_l=10.0)
    assert (
        f"{key} = {most_ml * 1.01:g}: must be at most {most_ml:g} mL, the built-in limit of {percent} %" in line
    )


def test_no_dose_runs_longer_than_the_longest_run() -> None:
    """A slow pump cannot be given a big dose."""
    assert said({"ml_per_s": 4.0 / 30.0}) == []
    (line,) = said({"ml_per_s": 0.1})
    assert (
        "max_per_dose_ml = 4: must be at most 3 mL, what the longest run of 30 s gives at ml_per_s = 0.1" in line
    )


@given(
    volume_l=st.floats(2.0, 2000.0),
    ml_per_s=st.floats(0.001, 20.0),
    dose_ml=st.floats(0.0, 500.0),
    day_ml=st.floats(0.0, 500.0),
)
def test_what_passes_is_within_every_built_in_limit(
    volume_l: float, ml_per_s: float, dose_ml: float, day_ml: float
) -> None:
    """For any water, pump and caps: no complaint means no dose above its share or its run."""
    caps = {"ml_per_s": ml_per_s, "max_per_dose_ml": dose_ml, "max_per_hour_ml": None, "max_per_day_ml": day_ml}
    if not said(caps, volume_l=volume_l):
        assert dose_ml <= volume_l + 1e-6
        assert day_ml <= volume_l * 10.0 + 1e-6
        assert dose_ml <= ml_per_s * 30.0 + 1e-6
        assert dose_ml <= day_ml


STOCKS = {role: PUMP | {"line": line} for role, line in (("stock_a", 22), ("stock_b", 24))}


@pytest.mark.parametrize("cap", ["max_per_hour_ml", "max_per_day_ml"])
def test_no_reagent_beyond_its_built_in_limit(cap: str) -> None:
    """However large the reservoir; of plain water there may be more."""
    caps = {"max_per_hour_ml": 600.0, "max_per_day_ml": 600.0}
    lines = said(volume_l=200.0, pump=caps | {"ml_per_s": 2.0})
    assert (
        f"[reservoir.bed1.pump.ph_down] {cap} = 600: must be at most 500 mL, a built-in limit; lower it" in lines
    )
    assert said(volume_l=200.0, pumps={"top_up": PUMP | caps}) == []


def test_nothing_is_pumped_into_still_water() -> None:
    """Nothing would mix it, and a refill would drown the air roots."""
    (line,) = said(system="still")
    assert line.startswith('[reservoir.bed1.pump] ph_down: must not be there where system = "still"')
    assert said(system="still", pumps={}) == []


@pytest.mark.parametrize("target", [0.85, 1.55])
def test_a_strength_too_near_the_band_is_refused(target: float) -> None:
    """Only where something doses by it."""
    ec = {"target_ms_per_cm": target, "dead_band_ms_per_cm": 0.1}
    (line,) = said(ec=ec, pumps=STOCKS)
    assert f"target_ms_per_cm = {target:g}: must be from 0.9 to 1.5 mS/cm" in line
    assert said(ec=ec) == []


def test_filling_ends_above_where_it_begins() -> None:
    """Else the pump would never rest."""
    (line,) = said(water={"top_up_below_share": 0.95, "fill_to_share": 0.9})
    assert "top_up_below_share = 0.95: must be below fill_to_share = 0.9; lower it" in line


SOWN: dict[str, Any] = {"sown_on": date(2026, 3, 1), "stage_ramp_days": 3.0}


def test_stages_follow_each_other_with_room_for_the_ramp() -> None:
    """And count from a day that is set."""
    stages = [{"name": "seedling", "from_day": 0.0}, {"name": "leafing", "from_day": 2.0}]
    (line,) = said(stage=stages, **SOWN)
    assert line.startswith("[reservoir.bed1.stage.2] from_day = 2: must be at least 3, after 'seedling'")
    stages[1]["from_day"] = 3.0
    assert said(stage=stages, **SOWN) == []
    (line,) = said(stage=stages)
    assert "sown_on is missing" in line


@pytest.mark.parametrize(
    ("key", "wrong"), [("ph_target", 5.51), ("ph_target", 6.6), ("ec_target_ms_per_cm", 1.58)]
)
def test_a_stage_aims_within_the_band(key: str, wrong: float) -> None:
    """By the dead band, as the reservoir's own target does."""
    (line,) = said(stage=[{"name": "leafing", "from_day": 0.0, key: wrong}], **SOWN)
    assert line.startswith(f"[reservoir.bed1.stage.1] {key} = {wrong:g}: must be from")


def test_a_float_switch_cannot_fill() -> None:
    """It is said before anybody waits for water."""
    switch = PROBES | {"level": {"driver": "float_switch", "line": 23}}
    (line,) = warned(probe=switch, pumps={"top_up": PUMP | {"min_gap_s": 400.0}})
    assert "a float switch cannot say when to stop" in line


# --- wires ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("wire", "words"),
    [
        ("gpio17", "GPIO 17"),
        ("i2c1:0x48:a0", "input 0 of the converter at 0x48 on I2C bus 1"),
        ("onewire:28-0316a2795cff", "the one-wire sensor 28-0316a2795cff"),
        ("something else", "something else"),
    ],
)
def test_a_wire_has_words(wire: str, words: str) -> None:
    """As a person would name it."""
    assert wire_words(wire) == words


def test_a_wire_used_twice_names_both_tables() -> None:
    """The second one is to move; a third is told too."""
    wire = frozenset({"gpio17"})
    lines = [(one.table, one.text) for one in wires_used_twice({"a": wire, "b": wire, "c": wire})]
    assert lines == [(table, "GPIO 17 is already used by [a]; give each its own") for table in ("b", "c")]


def test_the_lines_of_a_bus_in_use_are_taken() -> None:
    """A switch on GPIO 2 and a converter on bus 1 cannot both work."""
    probe, switch = frozenset({"i2c1:0x48:a0"}), frozenset({"gpio2"})
    (one,) = wires_used_twice({"switch": switch, "probe": probe})
    assert (one.table, one.text) == (
        "switch",
        "GPIO 2 is the data line of I2C bus 1, which [probe] uses; use another line",
    )
    assert list(wires_used_twice({"switch": switch})) == []
    assert list(wires_used_twice({"switch": switch, "probe": frozenset({"i2c3:0x48:a0"})})) == []


def test_a_reference_on_a_converter_without_a_probe_is_told() -> None:
    """It says nothing of the other one; beside a probe it is fine."""
    probe, pump = {"reservoir.bed1.probe.ph": frozenset({"i2c1:0x48:a0"})}, {"pump": frozenset({"gpio17"})}
    (one,) = references_alone({**probe, **pump, "reference.shunt": frozenset({"i2c1:0x49:a3"})})
    assert (one.table, one.text) == (
        "reference.shunt",
        "no probe is on the converter at 0x49 on I2C bus 1: a reference vouches for no other converter than its "
        "own; wire it to the one with the probes",
    )
    assert list(references_alone({**probe, "reference.shunt": frozenset({"i2c1:0x48:a3"})})) == []
    assert list(references_alone(probe | pump)) == []
    (one,) = references_alone({**probe, "reference.shunt": frozenset({"i2c3:0x48:a3"})})
    assert one.table == "reference.shunt"


# --- warnings -------------------------------------------------------------------------------------------


def test_missing_and_zero_caps_are_told() -> None:
    """Both mean that the pump stays off."""
    assert warned(pump={"max_per_hour_ml": None, "max_per_day_ml": 0.0, "max_per_dose_ml": 0.0}) == [
        "[reservoir.bed1.pump.ph_down] max_per_dose_ml, max_per_hour_ml, max_per_day_ml not set: a missing cap "
        "counts as zero, this pump will not dose"
    ]


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"mqtt": {"enabled": False}}, "[mqtt] enabled = false: no alert leaves this box"),
        ({"mqtt": {"host": "192.0.2.7"}}, '[mqtt] host = "192.0.2.7": without tls_ca_file'),
        ({"mqtt": {"username": "x"}}, "[mqtt] username and password_credential belong together"),
        (
            {"pumps": {}, "start": "keeping"},
            '[reservoir.bed1] start = "keeping" without a pump: it can only watch',
        ),
        ({"pump": {"min_gap_s": 359.0}}, "min_gap_s = 359: shorter than 3 mixing times (360 s)"),
    ],
)
def test_what_is_worth_saying_is_said(changes: dict[str, Any], says: str) -> None:
    """One line for each, and none beside it."""
    (line,) = warned(**changes)
    assert says in line


@pytest.mark.parametrize(
    ("probe", "says"),
    [
        ("temperature", "[reservoir.bed1] neither a temperature probe nor assumed_temperature_c"),
        ("level", "[reservoir.bed1] no level probe: doses reckon with 60 L"),
        ("ph", "[reservoir.bed1.pump.ph_down] no ph probe to go by: this pump will not dose"),
    ],
)
def test_a_missing_probe_is_told(probe: str, says: str) -> None:
    """With what it means for dosing."""
    (line,) = warned(probe={name: table for name, table in PROBES.items() if name != probe})
    assert line.startswith(says)


def test_an_assumed_temperature_stands_in_for_the_probe() -> None:
    """Set on purpose, it needs no warning."""
    probes = {name: table for name, table in PROBES.items() if name != "temperature"}
    assert warned(probe=probes, assumed_temperature_c=20.0) == []


def test_a_converter_without_a_reference_is_told_where_another_has_one() -> None:
    """Once for each converter, at the first of its probes; nobody is told who has none at all."""
    table = RESERVOIR | {
        "probe": {
            "ph": {"driver": "ph_amplifier", "input": 0, "zero_v": 1.65, "gain": -3.0},
            "ec": {"driver": "ec_amplifier", "address": 0x49, "input": 0, "ms_per_v": 1.0},
            "temperature": {
                "driver": "pt1000_divider",
                "address": 0x49,
                "input": 1,
                "supply_v": 3.3,
                "series_ohm": 1e3,
            },
            "level": {"driver": "float_switch", "line": 23},
        }
    }
    whole = {
        "site": {"name": "Site", "device_id": "site"},
        "rig": {"open": "any.rig:open_rig"},
        "reservoir": {"bed1": table},
    }
    assert list(warnings(Settings.model_validate(whole))) == []
    whole["reference"] = {"shunt": {"input": 3, "expected_v": 2.5}}
    assert list(warnings(Settings.model_validate(whole))) == [
        "[reservoir.bed1.probe.ec] the converter at 0x49 on I2C bus 1 has no reference: should it drift, nothing "
        "shows it; wire one to a spare input"
    ]


@pytest.mark.parametrize(("pass_s", "told"), [(1.0, False), (1.0, True), (10.0, False)])
def test_looks_that_take_most_of_a_pass_are_warned_of(pass_s: float, told: bool) -> None:
    """An EC cell that settles for 0.5 s before 0.05 s of conversions fills half a pass of one second."""
    ec: dict[str, Any] = {"driver": "ec_amplifier", "input": 1, "ms_per_v": 1.0}
    if told or pass_s > 1.0:
        ec["excitation_line"] = 26
    whole = {
        "site": {"name": "Site", "device_id": "site", "pass_every_s": pass_s},
        "rig": {"open": "any.rig:open_rig"},
        "reservoir": {"bed1": RESERVOIR | {"probe": PROBES | {"ec": ec}}},
    }
    found = [line for line in warnings(Settings.model_validate(whole)) if "pass_every_s" in line]
    assert bool(found) is told
    assert all("[site] pass_every_s = 1: looking at all analog probes alone takes 0." in line for line in found)


def test_an_appliance_serves_reservoirs_that_there_are() -> None:
    """A slip in a name is told with the nearest; without a name it serves all."""
    settings = Settings.model_validate(
        {
            "site": {"name": "Quince Lane", "device_id": "quince-lane"},
            "rig": {"open": "sim_hw.bench:open_rig"},
            "reservoir": {"bed1": RESERVOIR},
            "appliance": {
                "lamp": {"rated_w": 100.0, "hours_per_day": 16.0},
                "air": {"rated_w": 5.0, "hours_per_day": 24.0, "reservoir": ["bed2", "bed1"]},
            },
        }
    )
    assert [(one.table, one.text) for one in appliances_nowhere(settings)] == [
        (
            "appliance.air",
            "reservoir: there is no [reservoir.bed2], only bed1; did you mean bed1?; name one, or leave it out "
            "for all",
        )
    ]
