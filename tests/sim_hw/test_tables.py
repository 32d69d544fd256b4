"""The `[rig]` table of a bench."""

from __future__ import annotations

from typing import Any

import pytest

from drivers.rig import RigError
from sim_hw.tables import check
from tests.sim_hw.a_bench import NTC, PH, PH_DOWN, a_table


def test_a_table_is_read_with_its_defaults() -> None:
    """The truth differs a little from what settings believe: 97 %, 6 mV, 0.98, 1.03 mL/s."""
    tank = check(a_table(tank={"pump": [{"role": "ph_down", "line": 17}]})).tank["bed1"]
    ph, ec = tank.probe[0], tank.probe[1]
    assert (ph.kind, ec.kind) == ("ph_amplifier", "ec_amplifier")
    assert ph.model_dump()["slope_percent"] == 97.0
    assert ph.model_dump()["offset_mv"] == 6.0
    assert ec.model_dump()["cell_constant_per_cm"] == 0.98
    assert tank.pump[0].ml_per_s == 1.03
    assert tank.volume_l == 60.0


FAULT = {"name": "pump_dead", "target": "bed1/ph_down", "start_s": 1.0}
WRONG: list[tuple[dict[str, Any], str]] = [
    ({"speed": 2}, "speed = 2: unknown key"),
    ({"time_factor": -1.0}, "time_factor = -1"),
    ({"time_factor": float("nan")}, "time_factor"),
    ({"time_factor": 60.0, "pins_file": "pins"}, "time_factor = 1"),
    ({"start_utc": "today"}, "start_utc"),
    ({"tank": {"volume_l": 1.0}}, r"\[rig.tank.bed1\] volume_l = 1.0: must be at least 2 L"),
    ({"tank": {"depth_m": 1.0}}, "depth_m = 1.0: unknown key"),
    ({"tank": {"probe": [{**PH, "input": 4}]}}, "must be at most 3"),
    ({"tank": {"probe": [PH, {**NTC, "input": 0}]}}, "input 0 of address 0x48 on bus 1 is there 2 times"),
    ({"tank": {"probe": [PH, {**PH, "input": 3}]}}, "probe bed1/ph is there 2 times"),
    ({"tank": {"pump": [PH_DOWN, {"role": "ph_up", "line": 17}]}}, "line 17 is there 2 times"),
    ({"tank": {"probe": [{**PH, "gian": 3.0}]}}, r"probe.0.ph_amplifier\] gian = 3.0: .* did you mean gain"),
    ({"tank": {"probe": [{**PH, "kind": "orp"}]}}, 'kind must be one of "ph_amplifier", "ec_amplifier"'),
    (
        {"tank": {"system": {"kind": "aquarium"}}},
        'kind must be one of "deep_water", "film"',
    ),
    ({"tank": {"system": {"kind": "film", "chanel_l": 3.0}}}, "chanel_l = 3.0: .* did you mean channel_l"),
    ({"tank": {"system": {}}}, "must say which kind it is"),
    ({"tank": {"system": 3}}, "system = 3: must be a table"),
    ({"tank": {"spell": [{"from_day": 2.0, "until_day": 1.0, "by_c": 3.0}]}}, r"bed1.spell.0\] until_day = 1"),
    ({"tank": {"crop": {"age_days": 99.0}}}, r"bed1.crop\] age_days = 99.0: must be at most 90 days"),
    ({"tank": {"analysis": {"mg_per_l": {"calcium": 9.0}, "alkalinity_mmol_per_l": 2.0}}}, r"analysis\] charges"),
    ({"tank": {"alkalinity_mmol_per_l": 9.0}}, "must be at most 8 mmol/L"),
    ({"fault": [{**FAULT, "name": "gremlin"}]}, "gremlin"),
    ({"fault": [{**FAULT, "target": "ph_down"}]}, "target"),
    ({"fault": [{**FAULT, "end_s": 1.0}]}, "must be after start_s = 1"),
    ({"fault": [{**FAULT, "start_s": float("nan")}]}, "start_s"),
]


@pytest.mark.parametrize(("change", "says"), WRONG)
def test_a_wrong_table_is_refused_with_the_key_at_fault(change: dict[str, Any], says: str) -> None:
    """One line that names it."""
    with pytest.raises(RigError, match=says):
        check(a_table(**change))
