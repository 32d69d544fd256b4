"""The school garden for hours and days, pass after pass, with what a test wants to see of each."""

from __future__ import annotations

from collections.abc import Callable
from copy import deepcopy
from typing import Any

from config.settings import Settings
from daemon.values import Condition, DoseReason, DoseRequest, Outcome, Permit, ReservoirState, Role
from sim_hw.faults import FaultName
from tests.at_the_tank import CALIBRATIONS, AtTheTank, raw_settings

HOUR_S = 3600.0
SLOW_PASS_S = 60.0
PH_UP_LINE, CUT_OUT_LINE = 27, 26
BENCH_LEVEL_INPUT = 3
STOCK_A_LINE, STOCK_B_LINE, WATER_LINE = 22, 24, 25
STOCK = {
    "ml_per_s": 1.0,
    "bottle_ml": 1000.0,
    "max_per_dose_ml": 30.0,
    "max_per_hour_ml": 120.0,
    "max_per_day_ml": 400.0,
    "min_gap_s": 360.0,
}
WATER = {
    "ml_per_s": 20.0,
    "bottle_ml": 20000.0,
    "max_per_dose_ml": 600.0,
    "max_per_hour_ml": 3600.0,
    "max_per_day_ml": 12000.0,
    "min_gap_s": 360.0,
}

SECOND_PH = """
[reservoir.bed1.ph_2]
day = 2026-04-01
slope_percent = 96.0
offset_mv = -4.0
"""
TWO_CALIBRATIONS = CALIBRATIONS.format(name="bed1") + SECOND_PH


def keep(
    at: AtTheTank, hours: float, *, every_s: float = SLOW_PASS_S, each: Callable[[], object] = lambda: None
) -> None:
    """So many hours of passes; `each` is called after every one."""
    end_s = at.clock.monotonic_s() + hours * HOUR_S
    while at.clock.monotonic_s() < end_s:
        at.loop.one_pass()
        each()
        at.clock.sleep(every_s)


def until_locked(at: AtTheTank, within_h: float, *, every_s: float = 10.0) -> tuple[ReservoirState, float]:
    """The reservoir as its safety stop found it, and the minutes until then."""
    begin_s = at.clock.monotonic_s()
    while at.clock.monotonic_s() - begin_s < within_h * HOUR_S:
        at.loop.one_pass()
        if at.bed().condition is Condition.LOCKED:
            return at.bed(), (at.clock.monotonic_s() - begin_s) / 60.0
        at.clock.sleep(every_s)
    raise AssertionError(f"not locked within {within_h:g} h: {at.bed()}")


def befall(at: AtTheTank, name: FaultName, target: str, **more: Any) -> None:
    """A fault of the bench begins now."""
    at.bench.play("fault", name=name, target=f"bed1/{target}", **more)


def delivered_ml(at: AtTheTank, role: Role = Role.PH_DOWN) -> float:
    """What truly came out of this pump."""
    return at.bench.world.basins["bed1"].pumps[role].delivered_ml


def true_ph(at: AtTheTank) -> float:
    """Of the mixed water, whatever the probe says."""
    return at.bench.world.basins["bed1"].tank.look().ph


def pour(at: AtTheTank, role: Role, ml: float) -> None:
    """A person's hand, from a bottle like the pump's."""
    with at.bench.world.lock:
        at.bench.world.catch_up()
        at.bench.world.basins["bed1"].tank.deliver(role, ml)


def three_days_on_little(at: AtTheTank) -> None:
    """Three days of 3 mL each are in the ledger, and the water is at pH 6 again."""
    for _ in range(3):
        asked = DoseRequest(
            "bed1", Role.PH_DOWN, 3.0, DoseReason.PH_HIGH, {"ph": 6.05, "ml_per_ph": 60.0, "lessons": 3.0}
        )
        at.service.ledger.settle(at.service.ledger.intend(Permit(asked, 3.0, 3.0), at.loop.stamp()), Outcome.DONE)
        at.clock.spend(25.0 * 3600.0)
    for _ in range(200):
        if at.bench.world.basins["bed1"].tank.bulk().ph < 6.0:
            break
        pour(at, Role.PH_DOWN, 1.0)
    at.clock.spend(3600.0)  # and mixed


def with_level_sender(**changes: Any) -> Settings:
    """The school garden with a sender that measures the level, instead of its float switch."""
    raw = raw_settings()
    wiring = {"i2c_bus": 1, "address": 0x48, "input": BENCH_LEVEL_INPUT, "empty_v": 0.5, "full_v": 2.5}
    raw["reservoir"]["bed1"]["probe"]["level"] = {"driver": "level_sender", "full_scale_v": 4.096, **wiring}
    raw["reservoir"]["bed1"].update(changes)
    tank = raw["rig"]["tank"]["bed1"]
    tank["probe"] = [probe for probe in tank["probe"] if probe["kind"] != "float_switch"]
    tank["probe"].append({"kind": "level_sender", **wiring})
    return Settings.model_validate(raw)


def with_contact(name: str, line: int, **changes: Any) -> Settings:
    """The school garden with the contact `circulation` or `tray`."""
    raw = raw_settings()
    raw["reservoir"]["bed1"][name] = {"line": line}
    raw["reservoir"]["bed1"].update(changes)
    raw["rig"]["tank"]["bed1"]["probe"].append({"kind": "contact", "name": name, "line": line})
    return Settings.model_validate(raw)


def watched_by_a_reference() -> Settings:
    """The school garden with a shunt reference on its converter's spare input; truly it gives 2.5025 V."""
    raw = raw_settings()
    wiring = {"i2c_bus": 1, "address": 0x48, "input": 3}
    raw["reference"] = {"shunt": {**wiring, "expected_v": 2.5}}
    raw["rig"]["tank"]["bed1"]["probe"].append({"kind": "steady_voltage", "volts": 2.5025, **wiring})
    return Settings.model_validate(raw)


def with_cut_out() -> Settings:
    """The school garden with a relay in series with the supply of its pumps."""
    raw = raw_settings()
    raw["cut_out"] = {"line": CUT_OUT_LINE}
    raw["rig"]["cut_out_line"] = CUT_OUT_LINE
    return Settings.model_validate(raw)


def fed_bed(*without: str, **bed: Any) -> Settings:
    """The school garden with a level sender, stock A and B and a water pump; `bed` goes into its table."""
    raw = with_level_sender().model_dump(exclude_none=True)
    table, tank = raw["reservoir"]["bed1"], raw["rig"]["tank"]["bed1"]
    lines = {"stock_a": STOCK_A_LINE, "stock_b": STOCK_B_LINE, "top_up": WATER_LINE}
    for role, line in lines.items():
        if role not in without:
            table["pump"][role] = {**(WATER if role == "top_up" else STOCK), "line": line}
            rate = 19.8 if role == "top_up" else 1.03
            tank["pump"].append({"role": role, "line": line, "ml_per_s": rate, "bottle_ml": 20000.0})
    table.update(deepcopy(bed))
    return Settings.model_validate(raw)


def with_two_ph_probes() -> Settings:
    """The school garden with a second electrode, a little flatter, at its converter's spare input."""
    raw = raw_settings()
    spare = {"input": 3}
    raw["reservoir"]["bed1"]["probe"]["ph_2"] = {**raw["reservoir"]["bed1"]["probe"]["ph"], **spare}
    probes = raw["rig"]["tank"]["bed1"]["probe"]
    (ph,) = (one for one in probes if one["kind"] == "ph_amplifier")
    probes.append({**ph, **spare, "name": "ph_2", "slope_percent": 96.0, "offset_mv": -4.0})
    return Settings.model_validate(raw)
