"""The drivers by name."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from drivers.ads1115 import Chips
from drivers.probe import Quantity
from drivers.registry import DRIVERS, check_probe, open_probe, wiring_changes, wiring_of
from tests.drivers.parts import StepRig

ROOT = Path(__file__).parents[2]
ADC = {"input": 0}
DIVIDER = ADC | {"supply_v": 3.3, "series_ohm": 1000.0}
TABLES: dict[str, dict[str, Any]] = {
    "ph_amplifier": ADC | {"zero_v": 1.65, "gain": -3.0},
    "ec_amplifier": ADC | {"ms_per_v": 1.0},
    "ntc_divider": DIVIDER | {"nominal_ohm": 10000.0, "beta_k": 3950.0},
    "ntc_steinhart_divider": DIVIDER
    | {"steinhart_a": 1.129148e-3, "steinhart_b": 2.34125e-4, "steinhart_c": 8.8e-8},
    "pt1000_divider": DIVIDER,
    "platinum_source": ADC | {"current_ma": 1.0},
    "ds18b20": {"sensor_id": "28-0316a2795cff"},
    "level_sender": ADC | {"empty_v": 0.5, "full_v": 2.5},
    "float_switch": {"line": 23},
    "light_sensor": ADC | {"umol_per_v": 400.0},
    "sht3x_temperature": {},
    "sht3x_humidity": {"address": 0x45},
}


@pytest.mark.parametrize("driver", DRIVERS)
def test_each_driver_opens_what_it_measures_and_closes(driver: str) -> None:
    """Every row makes a probe of its quantity, from its smallest table, without touching the bus."""
    rig = StepRig()
    probe = open_probe(DRIVERS[driver].quantity, driver, TABLES[driver], rig, Chips(rig))
    assert probe.quantity is DRIVERS[driver].quantity
    assert rig.bus.transactions == 0
    probe.close()
    probe.close()


@pytest.mark.parametrize("driver", DRIVERS)
def test_each_driver_refuses_another_quantity(driver: str) -> None:
    """A driver named for what it does not measure is refused, with those that would fit."""
    rig = StepRig()
    other = next(q for q in Quantity if q is not DRIVERS[driver].quantity)
    with pytest.raises(
        ValueError, match=f"{driver} measures {DRIVERS[driver].quantity}, not {other}: use one of"
    ):
        open_probe(other, driver, TABLES[driver], rig, Chips(rig))


def test_an_unknown_driver_is_refused_with_the_known_ones() -> None:
    """The message holds the name and every driver there is."""
    with pytest.raises(ValueError, match=r'driver = "ph_amp": known drivers are ph_amplifier, .*float_switch'):
        check_probe("ph_amp", {})


def test_an_unknown_key_is_refused() -> None:
    """A slip in a key is found, not passed over."""
    with pytest.raises(ValidationError, match="zero_volts"):
        check_probe("ph_amplifier", TABLES["ph_amplifier"] | {"zero_volts": 1.0})


def test_the_shipped_example_is_wired_as_the_drivers_expect() -> None:
    """Each probe of the example passes its driver's model, and no two share an input or a line."""
    text = Path("config/rigs/quince-lane.toml").read_text(encoding="utf-8")
    probes = tomllib.loads(text)["reservoir"]["bed1"]["probe"]
    claims = [check_probe(table["driver"], table).claims() for table in probes.values()]
    assert len(claims) == 4
    assert len(frozenset().union(*claims)) == 4


AMPLIFIER = {"input": 0, "zero_v": 1.65, "gain": 5.0}


@pytest.mark.parametrize(
    ("changed", "named"),
    [
        ({}, ()),
        ({"gain": -5.0}, ("gain=5.0",)),
        ({"zero_v": 1.6, "address": 0x49}, ("address=72", "zero_v=1.65")),
        ({"minus_input": 1}, ("minus_input=None",)),
        ({"conversions": 8}, ()),
    ],
)
def test_a_wiring_names_what_changed(changed: dict[str, Any], named: tuple[str, ...]) -> None:
    """Each key but how often it is read, those left to their default too."""
    kept = wiring_of("ph_amplifier", AMPLIFIER)
    assert wiring_changes(kept, wiring_of("ph_amplifier", AMPLIFIER | changed)) == named


def test_another_driver_is_another_wiring_and_an_unknown_one_is_none() -> None:
    """What was kept earlier without a key that came later does not change by that; nor does nothing kept."""
    now = wiring_of("ec_amplifier", {"input": 0, "ms_per_v": 2.0})
    assert "driver=ph_amplifier" in wiring_changes(wiring_of("ph_amplifier", AMPLIFIER), now)
    assert wiring_changes("driver=ec_amplifier ms_per_v=2.0", now) == ()
    assert wiring_changes("", now) == ()


def test_every_driver_has_an_example_and_a_row_in_the_readme() -> None:
    """What can be set is shown somewhere: in a file of config/rigs, and in the table of probes."""
    rigs = [tomllib.loads(path.read_text(encoding="utf-8")) for path in (ROOT / "config" / "rigs").glob("*.toml")]
    shown = {
        probe["driver"]
        for rig in rigs
        for reservoir in rig["reservoir"].values()
        for probe in reservoir.get("probe", {}).values()
    }
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert shown == set(DRIVERS)
    assert [name for name in DRIVERS if f"| `{name}` |" not in readme] == []
