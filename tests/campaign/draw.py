"""What chance draws for one seed: a water, its probes and pumps, what befalls them, and what people do.

A tank, its probes and pumps are drawn once; each kind of event comes by itself, at random moments, so often as
EVERY_DAYS says. The same seed and length always give the same plan.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from math import exp, log
from random import Random
from typing import Any

from config.chemistry import ChemistryError
from config.settings import Settings
from sim_hw.faults import BUS_FAULTS, CHIP_FAULTS, FaultName
from sim_hw.from_settings import bench_table
from sim_hw.tables import check
from sim_hw.tank import Tank
from tests.at_the_tank import raw_settings

DAY_S, HOUR_S, YEAR_S = 86400.0, 3600.0, 365.25 * 86400.0
BED = "bed1"
PASS_S = 60.0
HEALTHY_SHARE = 0.25  # of all seeds have no fault at all
TWO_PROBES_SHARE = 0.5  # of all seeds have a second pH probe
SPARE_INPUT = 3  # of the converter, where that is


class Act(StrEnum):
    """What may happen beside the daemon's own work. size, for_s and trusted of an Event are told for each."""

    FAULT = "fault"  # name, target, size as of FaultName; for_s: how long
    RESTART = "restart"  # a clean end; size: seconds off
    KILL = "kill"  # an end in the middle of anything; size: seconds off
    KILL_IN_DOSE = "kill in a dose"  # while a pump of the next dose turns; size: seconds off
    REBOOT = "reboot"  # size: seconds off, for which the wall clock stood; for_s: until it is synchronised
    CLOCK = "clock step"  # size: seconds the wall clock is off; for_s: how long; trusted: it claims to be right
    HOLD = "hold"  # size: hours said, 0 for until released; for_s: when it is released
    HAND_DOSE = "hand dose"  # target: what is poured; size: mL
    TOP_UP = "top up"  # to the volume at the start, with fresh solution


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that happens, in seconds since the month began."""

    at_s: float
    act: Act
    size: float = 0.0
    for_s: float = 0.0
    target: str = ""
    fault: FaultName | None = None
    trusted: bool = True


@dataclass(frozen=True, slots=True)
class Plan:
    """One seed's month. bench: the `[rig]` table; events: in order of time."""

    seed: int
    settings: Settings
    bench: dict[str, Any]
    events: tuple[Event, ...]


EVERY_DAYS: dict[Act, float] = {
    Act.FAULT: 1.5,
    Act.RESTART: 4.0,
    Act.KILL: 4.0,
    Act.KILL_IN_DOSE: 5.0,
    Act.REBOOT: 6.0,
    Act.CLOCK: 4.0,
    Act.HOLD: 5.0,
    Act.HAND_DOSE: 5.0,
    Act.TOP_UP: 2.5,
}
STORM_EVERY_DAYS, STORM_STARTS = 12.0, 20  # a start every few minutes, as of a service that fails again and again

PH, EC, TEMPERATURE, LEVEL = (f"{BED}/{name}" for name in ("ph", "ec", "temperature", "level"))
PROBE_FAULTS: tuple[tuple[str, FaultName, float, tuple[float, float] | None], ...] = (
    # target, fault, weight, range of its size
    (PH, FaultName.PROBE_UNPLUGGED, 2.0, None),
    (PH, FaultName.PROBE_DRY, 2.0, None),
    (PH, FaultName.PROBE_STUCK, 2.0, None),
    (PH, FaultName.PROBE_DRIFTING, 2.0, (0.5, 60.0)),
    (PH, FaultName.PROBE_COATED, 1.0, (60.0, 1800.0)),
    (TEMPERATURE, FaultName.PROBE_UNPLUGGED, 1.0, None),
    (TEMPERATURE, FaultName.PROBE_DRY, 0.5, None),
    (TEMPERATURE, FaultName.PROBE_STUCK, 0.5, None),
    (TEMPERATURE, FaultName.PROBE_DRIFTING, 0.5, (0.1, 5.0)),
    (EC, FaultName.PROBE_UNPLUGGED, 0.5, None),
    (EC, FaultName.PROBE_STUCK, 0.5, None),
    (PH, FaultName.CHIP_SILENT, 1.0, None),
    (PH, FaultName.CHIP_BROWNOUT, 1.0, None),
    (PH, FaultName.CHIP_BUSY_FOREVER, 1.0, None),
    (PH, FaultName.DATA_LINE_HIGH, 1.0, None),
    (PH, FaultName.BUS_BUSY_FOREVER, 1.0, None),
)
PROBE_FAULTS_ALONE = frozenset(name for _, name, _, _ in PROBE_FAULTS) - CHIP_FAULTS - BUS_FAULTS
LEVEL_FAULTS = ((LEVEL, FaultName.PROBE_UNPLUGGED, 0.5, None), (LEVEL, FaultName.PROBE_STUCK, 0.5, None))
PUMP_FAULTS = (
    (FaultName.PUMP_DEAD, 2.0, None),
    (FaultName.BOTTLE_EMPTY, 2.0, None),
    (FaultName.PUMP_FAST, 1.0, (1.3, 3.0)),
    (FaultName.PUMP_STUCK_ON, 1.0, None),
)
FAULT_LASTS_S = (120.0, 2.0 * DAY_S)
STUCK_ON_LASTS_S = (30.0, HOUR_S)  # a whole bottle is through by then
WRONG_CLOCKS_S = (10.0 * YEAR_S, -10.0 * YEAR_S, HOUR_S, -HOUR_S, 0.0)


def draw(seed: int, days: float) -> Plan:
    """The plan of this seed for so many days."""
    chance = Random(f"campaign {seed}")
    raw = _a_tank(chance)
    if Random(f"campaign {seed} probes").random() < TWO_PROBES_SHARE:  # so that all else stays as it was drawn
        _second_ph_probe(Random(f"campaign {seed} second probe"), raw)
    settings = Settings.model_validate(raw)
    events = sorted(_events(seed, days, raw), key=lambda event: event.at_s)
    return Plan(seed, settings, bench_table(settings, seed=seed), tuple(events))


def spread(chance: Random, low: float, high: float) -> float:
    """A number from low to high whose logarithm is evenly spread."""
    return exp(chance.uniform(log(low), log(high)))


# the tank


def _a_tank(chance: Random) -> dict[str, Any]:
    """A settings file with its bench, of a water whose chemistry exists."""
    while True:
        raw = _drawn_tank(chance)
        try:
            Tank(check(raw["rig"]).tank[BED])
        except ChemistryError:
            continue
        return raw


def _drawn_tank(chance: Random) -> dict[str, Any]:
    raw = raw_settings()
    raw["site"]["pass_every_s"] = PASS_S
    raw["rig"]["time_factor"] = 0.0
    tank, bed = raw["rig"]["tank"][BED], raw["reservoir"][BED]
    volume_l = spread(chance, 10.0, 200.0)
    alkalinity = chance.uniform(0.2, 4.0)
    tank.update(_water(chance, volume_l, alkalinity))
    _wear(chance, tank["probe"])
    bed["volume_l"] = volume_l
    bed["mixing_time_s"] = min(7200.0, max(30.0, tank["mixing_time_s"] * chance.uniform(0.8, 1.4)))
    bed["ph"]["ml_per_ph"] = min(500.0, volume_l * (0.4 + 0.6 * alkalinity) * chance.uniform(0.5, 2.0))
    bed["ph"]["target"] = chance.uniform(5.8, 6.2)
    for role in ("ph_down", "ph_up"):
        _pump(chance, bed["pump"][role], next(pump for pump in tank["pump"] if pump["role"] == role), bed)
    if chance.random() < 0.5:
        _leave_out(bed["pump"], tank["pump"], "ph_up")
    if chance.random() < 0.3:
        _leave_out(bed["probe"], tank["probe"], "level")
    return raw


def _water(chance: Random, volume_l: float, alkalinity: float) -> dict[str, Any]:
    share = volume_l / 60.0
    return {
        "volume_l": volume_l,
        "start_ph": chance.uniform(5.8, 7.6),
        "alkalinity_mmol_per_l": alkalinity,
        "nutrient_strength": chance.uniform(0.3, 0.8),
        "temperature_c": chance.uniform(16.0, 26.0),
        "temperature_swing_c": chance.uniform(0.0, 4.0),
        "mixing_time_s": spread(chance, 60.0, 600.0),
        "co2_exchange_per_h": spread(chance, 0.05, 1.0),
        "plants": round(18 * share * chance.uniform(0.5, 2.0)),
        "nitrate_uptake_mmol_per_plant_day": chance.uniform(0.3, 1.5),
        "transpiration_l_per_day": 0.9 * share * chance.uniform(0.5, 1.5),
        "evaporation_l_per_day": 0.2 * share * chance.uniform(0.5, 1.5),
    }


def _wear(chance: Random, probes: list[dict[str, Any]]) -> None:
    """What each probe truly is."""
    for probe in probes:
        if probe["kind"] == "ph_amplifier":
            probe |= {"slope_percent": chance.uniform(92.0, 102.0), "offset_mv": chance.uniform(-20.0, 20.0)}
            probe |= {"noise_mv": chance.uniform(0.2, 0.8), "response_s": spread(chance, 3.0, 20.0)}
        elif probe["kind"] == "ec_amplifier":
            probe["cell_constant_per_cm"] = chance.uniform(0.9, 1.1)
        elif probe["kind"] == "ntc_divider":
            probe["error_c"] = chance.uniform(-0.5, 0.5)


def _second_ph_probe(chance: Random, raw: dict[str, Any]) -> None:
    """Another electrode of its own wear beside the first."""
    believed, truly = raw["reservoir"][BED]["probe"], raw["rig"]["tank"][BED]["probe"]
    (ph,) = (probe for probe in truly if probe["kind"] == "ph_amplifier")
    second = {**ph, "input": SPARE_INPUT, "name": "ph_2"}
    _wear(chance, [second])
    truly.append(second)
    believed["ph_2"] = {**believed["ph"], "input": SPARE_INPUT}


def _pump(chance: Random, pump: dict[str, Any], truly: dict[str, Any], bed: dict[str, Any]) -> None:
    """Caps such as a careful or a careless grower sets, all of them plausible for this volume."""
    rate = spread(chance, 0.3, 2.0)
    dose_ml = min(bed["volume_l"] * chance.uniform(0.06, 0.2), 30.0 * rate, 100.0)
    day_ml = min(500.0, max(dose_ml * 2.0, bed["volume_l"] * chance.uniform(1.0, 6.0)))
    bottle_ml = spread(chance, 250.0, 1000.0)
    pump.update(
        ml_per_s=rate,
        bottle_ml=bottle_ml,
        max_per_dose_ml=dose_ml,
        max_per_hour_ml=max(dose_ml, day_ml * chance.uniform(0.2, 0.6)),
        max_per_day_ml=day_ml,
        min_gap_s=max(60.0, 3.0 * bed["mixing_time_s"] * chance.uniform(1.0, 1.5)),
    )
    truly.update(ml_per_s=rate * chance.uniform(0.85, 1.2), bottle_ml=bottle_ml)


def _leave_out(believed: dict[str, Any], truly: list[dict[str, Any]], name: str) -> None:
    del believed[name]
    truly[:] = [one for one in truly if one.get("role") != name and (name, one.get("kind")) != _FLOAT]


_FLOAT = ("level", "float_switch")


# what happens


def _events(seed: int, days: float, raw: dict[str, Any]) -> Iterator[Event]:
    """All of it, kind by kind, each from a chance of its own."""
    healthy = Random(f"campaign {seed} healthy").random() < HEALTHY_SHARE
    for act, every_days in EVERY_DAYS.items():
        if not (healthy and act is Act.FAULT):
            chance = Random(f"campaign {seed} {act}")
            for at_s in _moments(chance, days, every_days):
                yield _MAKE[act](chance, at_s, raw)
    yield from _storms(Random(f"campaign {seed} storm"), days)


def _moments(chance: Random, days: float, every_days: float) -> Iterator[float]:
    at_s = chance.expovariate(1.0 / every_days) * DAY_S
    while at_s < days * DAY_S:
        yield at_s
        at_s += chance.expovariate(1.0 / every_days) * DAY_S


def _storms(chance: Random, days: float) -> Iterator[Event]:
    for at_s in _moments(chance, days, STORM_EVERY_DAYS):
        act = chance.choice((Act.RESTART, Act.KILL, Act.REBOOT))
        for number in range(STORM_STARTS):
            start_s = at_s + number * chance.uniform(120.0, 900.0)
            yield Event(start_s, act, size=chance.uniform(1.0, 30.0), for_s=4.0 * HOUR_S)


def _a_fault(chance: Random, at_s: float, raw: dict[str, Any]) -> Event:
    bed = raw["reservoir"][BED]
    rows = list(PROBE_FAULTS)
    rows += LEVEL_FAULTS if "level" in bed["probe"] else ()
    rows += [(f"{BED}/{role}", *row) for role in bed["pump"] for row in PUMP_FAULTS]
    (row,) = chance.choices(rows, [weight for _, _, weight, _ in rows])
    target, name, _, sizes = row
    size = 0.0 if sizes is None else spread(chance, *sizes)
    if name is FaultName.PROBE_DRIFTING:
        size *= chance.choice((1.0, -1.0))
    lasts_s = STUCK_ON_LASTS_S if name is FaultName.PUMP_STUCK_ON else FAULT_LASTS_S
    which = _either(target, at_s) if "ph_2" in bed["probe"] and name in PROBE_FAULTS_ALONE else target
    return Event(at_s, Act.FAULT, size=size, for_s=spread(chance, *lasts_s), target=which, fault=name)


def _either(target: str, at_s: float) -> str:
    """Of two pH probes that one which it befalls; a chance of its own, so that all else stays as it was drawn."""
    is_second = target == PH and Random(f"campaign which {at_s}").random() < 0.5
    return f"{target}_2" if is_second else target


def _a_restart(act: Act) -> Callable[[Random, float, dict[str, Any]], Event]:
    return lambda chance, at_s, raw: Event(at_s, act, size=spread(chance, 2.0, 2.0 * HOUR_S))


def _a_reboot(chance: Random, at_s: float, raw: dict[str, Any]) -> Event:
    return Event(at_s, Act.REBOOT, size=spread(chance, 20.0, DAY_S), for_s=spread(chance, 60.0, DAY_S))


def _a_clock_step(chance: Random, at_s: float, raw: dict[str, Any]) -> Event:
    size, trusted = chance.choice(WRONG_CLOCKS_S), chance.random() < 0.5
    for_s = spread(chance, 60.0, DAY_S)
    return Event(at_s, Act.CLOCK, size=size, for_s=for_s, trusted=trusted and size != 0.0)


def _a_hold(chance: Random, at_s: float, raw: dict[str, Any]) -> Event:
    hours = chance.choice((0.0, chance.uniform(0.5, 12.0)))
    return Event(at_s, Act.HOLD, size=hours, for_s=spread(chance, 600.0, 12.0 * HOUR_S))


def _a_hand_dose(chance: Random, at_s: float, raw: dict[str, Any]) -> Event:
    """Enough to move pH by 0.05 to 0.4, if the grower's guess is right."""
    role = chance.choice(("ph_down", "ph_down", "ph_up"))
    ml = raw["reservoir"][BED]["ph"]["ml_per_ph"] * chance.uniform(0.05, 0.4)
    return Event(at_s, Act.HAND_DOSE, size=ml, target=role)


def _a_top_up(chance: Random, at_s: float, raw: dict[str, Any]) -> Event:
    return Event(at_s, Act.TOP_UP)


_MAKE: dict[Act, Callable[[Random, float, dict[str, Any]], Event]] = {
    Act.FAULT: _a_fault,
    Act.RESTART: _a_restart(Act.RESTART),
    Act.KILL: _a_restart(Act.KILL),
    Act.KILL_IN_DOSE: _a_restart(Act.KILL_IN_DOSE),
    Act.REBOOT: _a_reboot,
    Act.CLOCK: _a_clock_step,
    Act.HOLD: _a_hold,
    Act.HAND_DOSE: _a_hand_dose,
    Act.TOP_UP: _a_top_up,
}
