"""Named waters and weeks to rehearse in: what each changes of one settings file and of the bench below it.

All of them begin from config/rigs/quince-lane-fed.toml, an invented school garden. Data only: the tables are
those of docs/settings.md and docs/bench.md.
"""

from __future__ import annotations

from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass, field
from typing import Any

Tables = Mapping[str, Any]
BED = "bed1"
BASE_L = 60.0
SIZED_CAPS = ("max_per_dose_ml", "max_per_hour_ml", "max_per_day_ml")
LONGEST_DOSE_S = 30.0
MOST_REAGENT_ML, MOST_WATER_ML = 500.0, 20000.0


@dataclass(frozen=True, slots=True)
class Scenario:
    """says: in a sentence, for a grower. tank: changes to the bench's tank; bed: to the reservoir's settings.

    faults: of the bench, as [[rig.fault]]. volume_l: pumps, caps, plants and first guesses are sized to it.
    days: how long it takes to show what it is about. without: pumps and probes that are not there.
    """

    says: str
    tank: Tables = field(default_factory=dict)
    bed: Tables = field(default_factory=dict)
    faults: tuple[Tables, ...] = ()
    volume_l: float = BASE_L
    days: float = 14.0
    without: tuple[str, ...] = ()
    dosed: bool = True


SCENARIOS: dict[str, Scenario] = {
    "typical": Scenario("tap water of middling hardness, a bed in full leaf"),
    "soft": Scenario("soft water: little holds pH, small doses move it far", {"water": "soft"}),
    "hard": Scenario(
        "hard water: much acid at first, and pH comes back as CO2 leaves",
        {"water": "hard", "nutrient_strength": 0.3},
        {"ph": {"ml_per_ph": 250.0}, "pump": {"ph_down": {"max_per_day_ml": 450.0, "max_per_hour_ml": 120.0}}},
    ),
    "10-litres": Scenario("a bucket of 10 L on a windowsill", volume_l=10.0),
    "40-litres": Scenario("a tub of 40 L", volume_l=40.0),
    "200-litres": Scenario("a tank of 200 L under a bench", volume_l=200.0),
    "heat-wave": Scenario(
        "four hot days from the third day on",
        {"spell": [{"from_day": 2.0, "until_day": 6.0, "by_c": 7.0}], "temperature_c": 21.0},
    ),
    "end-of-crop": Scenario("heads are cut on the fifth day: nobody drinks any more", {"harvest_day": 4.0}),
    "slow-mixing": Scenario(
        "a feeble pump: half an hour until a dose has spread",
        {"mixing_time_s": 1800.0},
        {"mixing_time_s": 1800.0, "pump": {"ph_down": {"min_gap_s": 5400.0}, "ph_up": {"min_gap_s": 5400.0}}},
    ),
    "hard-corner": Scenario(
        "small, soft and late: 10 L of soft water that answers after ten minutes",
        {"water": "soft", "mixing_time_s": 600.0},
        {"mixing_time_s": 600.0, "pump": {"ph_down": {"min_gap_s": 1800.0}, "ph_up": {"min_gap_s": 1800.0}}},
        volume_l=10.0,
    ),
    "holiday": Scenario(
        "a fortnight away: the acid runs out on the ninth day",
        faults=({"name": "bottle_empty", "target": f"{BED}/ph_down", "start_s": 8.4 * 86400.0},),
    ),
    "ebb-and-flow": Scenario(
        "the bed is flooded four times a day, and the reservoir falls meanwhile",
        {"system": {"kind": "ebb_and_flow", "bed_l": 12.0, "held_l": 2.0}},
        {"system": "ebb_and_flow"},
    ),
    "still": Scenario(
        "no pump, nothing is dosed: a crop drinks the level down; in the third week somebody fills it up",
        {
            "system": {"kind": "still"},
            "start_ph": 6.0,
            "plants": 12,
            "crop": {},
            "evaporation_l_per_day": 0.05,
            "pour": [{"day": 16.5, "litres": 10.0}],
        },
        {"system": "still", "start": "watching"},
        days=21.0,
        without=("ph_down", "ph_up", "stock_a", "stock_b", "top_up"),
        dosed=False,
    ),
}

VARIANTS: dict[str, Tables] = {
    "as it is": {},
    "probe noise doubled": {"probe": {"ph_amplifier": {"noise_mv": 1.0}}},
    "pumps 30 % fast": {"pump": {"ph_down": {"ml_per_s": 1.3}, "ph_up": {"ml_per_s": 1.3}}},
    "calibration off by 0.1 pH": {"calibration_off_ph": 0.1},
    "pumps 30 % slow": {"pump": {"ph_down": {"ml_per_s": 0.7}, "ph_up": {"ml_per_s": 0.7}}},
}
"""What is truly otherwise than the settings, or the grower with the buffers, believe."""


def tables_of(base: Tables, scenario: Scenario, variant: Tables | None = None) -> dict[str, Any]:
    """The raw tables of `base` (one bed) with the scenario's changes, and the variant's of the bench."""
    raw = deepcopy(dict(base))
    bed, tank = raw["reservoir"][BED], raw["rig"]["tank"][BED]
    for name in scenario.without:
        bed["pump"].pop(name)
    tank["pump"] = [pump for pump in tank["pump"] if pump["role"] not in scenario.without]
    _size(bed, tank, scenario.volume_l)
    _merge(bed, scenario.bed)
    tank.update(deepcopy(dict(scenario.tank)))
    if "crop" in tank:
        tank.pop("transpiration_l_per_day")  # its growth says that
    if scenario.faults:
        raw["rig"]["fault"] = [dict(fault) for fault in scenario.faults]
    _vary(tank, variant or {})
    return raw


def _size(bed: dict[str, Any], tank: dict[str, Any], volume_l: float) -> None:
    """A reservoir of another volume, with plants, first guesses and caps in proportion."""
    share = volume_l / BASE_L
    bed["volume_l"] = tank["volume_l"] = volume_l
    bed["ph"]["ml_per_ph"] *= share
    tank["plants"] = max(1, round(tank["plants"] * share))
    for key, usual in (("transpiration_l_per_day", 0.9), ("evaporation_l_per_day", 0.2)):
        tank[key] = tank.get(key, usual) * share
    for role, pump in bed["pump"].items():
        most_ml = MOST_WATER_ML if role == "top_up" else MOST_REAGENT_ML
        for cap in SIZED_CAPS:
            pump[cap] = min(pump[cap] * share, most_ml)
        pump["max_per_dose_ml"] = min(pump["max_per_dose_ml"], pump["ml_per_s"] * LONGEST_DOSE_S)


def _merge(into: dict[str, Any], changes: Tables) -> None:
    for key, value in changes.items():
        if isinstance(value, Mapping):
            _merge(into.setdefault(key, {}), value)
        else:
            into[key] = value


def _vary(tank: dict[str, Any], variant: Tables) -> None:
    for probe in tank["probe"]:
        probe.update(variant.get("probe", {}).get(probe["kind"], {}))
    for pump in tank["pump"]:
        pump.update(variant.get("pump", {}).get(pump["role"], {}))
