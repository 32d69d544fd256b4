"""A bench wired to the probes and pumps of any settings file, so that it can be rehearsed dry."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from config.pump import Pump
from config.settings import Reservoir, Settings
from drivers.probe import Quantity
from drivers.rig import RigError
from sim_hw.tables import (
    AirTemperatureTable,
    Ds18b20Table,
    EcTable,
    FloatSwitchTable,
    HumidityTable,
    LevelTable,
    LightTable,
    NtcSteinhartTable,
    NtcTable,
    PhTable,
    PlatinumSourceTable,
    ProbeTable,
    Pt1000Table,
    SteadyVoltageTable,
)
from sim_hw.tank_settings import TankSettings

OPEN = "sim_hw.bench:open_rig"
ONE_RUN_ONLY = ("socket", "pins_file")  # of a bench that people play with
TABLES: dict[str, type[ProbeTable]] = {
    "ph_amplifier": PhTable,
    "ec_amplifier": EcTable,
    "ntc_divider": NtcTable,
    "ntc_steinhart_divider": NtcSteinhartTable,
    "platinum_source": PlatinumSourceTable,
    "pt1000_divider": Pt1000Table,
    "ds18b20": Ds18b20Table,
    "level_sender": LevelTable,
    "float_switch": FloatSwitchTable,
    "light_sensor": LightTable,
    "sht3x_temperature": AirTemperatureTable,
    "sht3x_humidity": HumidityTable,
}

TRUE_RATE = 1.03  # a pump delivers this much more than its settings believe
TRUE_REFERENCE = 1.001  # a known voltage is not known to the last digit
FASTEST_ML_PER_S = 20.0
FLOOD_SHARE, HELD_SHARE = 0.25, 0.05  # of the reservoir: into a flooded bed, and between floods (own choice)
LOGIC_V, BOARD_V = 3.3, 5.0  # an amplifier whose middle is above half of 3.3 V runs on 5 V
HIGHEST_LOGIC_ZERO_V = 2.0


def bench_table(settings: Settings, *, seed: int, time_factor: float = 0.0) -> dict[str, Any]:
    """A `[rig]` table for these settings: their own where they name the bench, else one made to fit.

    Made to fit: each reservoir with its volume, mixing time and system, plants and water loss to suit the volume,
    and with probes and pumps that differ a little from what the settings believe. Raises RigError for a driver
    that has no simulated probe.
    """
    own = settings.rig_table()
    if own["open"] == OPEN:
        kept = {key: value for key, value in own.items() if key not in ONE_RUN_ONLY}
        return {**kept, "seed": seed, "time_factor": time_factor}
    tanks = {name: _tank(name, reservoir) for name, reservoir in settings.reservoir.items()}
    next(iter(tanks.values()))["probe"] += _references(
        settings
    )  # which of them is all the same: no water touches them
    cut_out = {} if settings.cut_out is None else {"cut_out_line": settings.cut_out.line}
    return {"open": OPEN, "seed": seed, "time_factor": time_factor, **cut_out, "tank": tanks}


def _tank(name: str, reservoir: Reservoir) -> dict[str, Any]:
    usual = TankSettings()
    share = reservoir.volume_l / usual.volume_l
    return {
        "volume_l": reservoir.volume_l,
        "mixing_time_s": reservoir.mixing_time_s,
        "system": _system(reservoir),
        "plants": max(1, round(usual.plants * share)),
        "transpiration_l_per_day": usual.transpiration_l_per_day * share,
        "evaporation_l_per_day": usual.evaporation_l_per_day * share,
        "probe": list(_probes(name, reservoir)),
        "pump": [_pump(role, pump) for role, pump in reservoir.pump.items()],
    }


def _system(reservoir: Reservoir) -> dict[str, Any]:
    """A bed or channels to suit the volume: a flood takes a quarter of the reservoir, in five minutes."""
    sized: dict[str, dict[str, float]] = {
        "ebb_and_flow": {
            "bed_l": reservoir.volume_l * (FLOOD_SHARE + HELD_SHARE),
            "held_l": reservoir.volume_l * HELD_SHARE,
            "pump_l_per_min": reservoir.volume_l * FLOOD_SHARE / 5.0,
        },
        "film": {"channel_l": reservoir.volume_l * HELD_SHARE},
    }
    return {"kind": reservoir.system, **sized.get(reservoir.system, {})}


def _probes(name: str, reservoir: Reservoir) -> Iterator[dict[str, Any]]:
    for quantity, probe in reservoir.probe.items():
        table = TABLES.get(probe.driver)
        if table is None:
            raise RigError(
                f'[reservoir.{name}.probe.{quantity}] driver = "{probe.driver}": has no simulated probe; '
                f"these have: {', '.join(TABLES)}"
            )
        wiring = probe.wired().model_dump()
        known = {key: value for key, value in wiring.items() if key in table.model_fields}
        second = {"name": quantity} if Quantity(quantity).kind != quantity else {}
        yield {"kind": probe.driver, **second, **_supply(known), **known}
    for contact in ("circulation", "tray"):
        if (table := getattr(reservoir, contact)) is not None:
            yield {"kind": "contact", "name": contact, "line": table.line}


def _references(settings: Settings) -> Iterator[dict[str, Any]]:
    for name, reference in settings.reference.items():
        wiring = reference.model_dump(include=set(SteadyVoltageTable.model_fields))
        volts = reference.expected_v * TRUE_REFERENCE
        yield {
            "kind": "steady_voltage",
            "name": f"reference-{name}",
            "volts": volts,
            "supply_v": BOARD_V,
            **wiring,
        }


def _supply(wiring: dict[str, Any]) -> dict[str, float]:
    """What an amplifier runs on, which its wiring does not say."""
    if "zero_v" not in wiring:
        return {}
    return {"supply_v": BOARD_V if wiring["zero_v"] > HIGHEST_LOGIC_ZERO_V else LOGIC_V}


def _pump(role: str, pump: Pump) -> dict[str, Any]:
    rate = min(FASTEST_ML_PER_S, pump.ml_per_s * TRUE_RATE)
    return {"role": role, "line": pump.line, "ml_per_s": rate, "bottle_ml": pump.bottle_ml}
