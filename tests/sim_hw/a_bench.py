"""A small bench for the tests of this folder: one tank, its water without plants or daily swing."""

from __future__ import annotations

from typing import Any

from sim_hw.bench import Bench, open_rig

PH = {"kind": "ph_amplifier", "input": 0, "zero_v": 1.65, "gain": -3.0}
EC = {"kind": "ec_amplifier", "input": 1, "ms_per_v": 1.0}
NTC = {"kind": "ntc_divider", "input": 2, "series_ohm": 10000.0, "nominal_ohm": 10000.0, "beta_k": 3950.0}
FLOAT = {"kind": "float_switch", "line": 23}
PH_DOWN = {"role": "ph_down", "line": 17, "ml_per_s": 1.03}
PH_UP = {"role": "ph_up", "line": 27, "ml_per_s": 1.0}
STILL_WATER = {
    "volume_l": 60.0,
    "plants": 0,
    "temperature_swing_c": 0.0,
    "co2_exchange_per_h": 0.0,
    "evaporation_l_per_day": 0.0,
}


def a_table(**changes: Any) -> dict[str, Any]:
    """The `[rig]` table; `tank` changes the table of bed1, everything else the `[rig]` table itself."""
    tank = {**STILL_WATER, "probe": [PH, EC, NTC, FLOAT], "pump": [PH_DOWN, PH_UP], **changes.pop("tank", {})}
    return {"open": "sim_hw.bench:open_rig", "seed": 7, "tank": {"bed1": tank}, **changes}


def a_bench(**changes: Any) -> Bench:
    """A stepped bench, opened."""
    return open_rig(a_table(**changes))


def quiet(probe: dict[str, Any], **changes: Any) -> dict[str, Any]:
    """A probe's table without noise."""
    return {**probe, "noise_mv": 0.0, **changes}
