"""Everything on the far side of the wires: tanks, what is in them, and how time passes for them.

Time passes lazily, only when somebody looks or an edge occurs:

    look or edge -> edges of other processes -> up to each fault's start or end -> pumps, water, probes -> now
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, replace
from datetime import UTC, datetime
from math import inf
from random import Random
from threading import RLock
from typing import Any

from sim_hw.ads1115_chip import Input
from sim_hw.air_chip import Air
from sim_hw.clock import BenchClock
from sim_hw.contacts import Contact, FloatSwitch
from sim_hw.faults import CONVERTER_FAULTS, PUMP_FAULTS, Fault, FaultName, Held, holding, next_change_s
from sim_hw.pins import Edge
from sim_hw.probes import (
    AirSensor,
    AnalogProbe,
    EcCell,
    LevelSender,
    LightSensor,
    PhElectrode,
    Probe,
    SteadyVoltage,
)
from sim_hw.pumps import Pump
from sim_hw.standards import Touched
from sim_hw.tables import BenchTable, FaultTable, ProbeTable, TankTable
from sim_hw.tank import Tank
from sim_hw.thermometers import Ds18b20, NtcDivider, NtcSteinhartDivider, PlatinumSource, Pt1000Divider

SHORTEST_STEP_S = 0.5  # looks closer together than this see the same water; only their noise differs
LONGEST_STEP_S = 60.0  # so that probes follow the water's day
EDGES_KEPT = 10_000
S_PER_DAY = 86400.0

KINDS: dict[str, Callable[[Any, Random], Probe]] = {
    "ph_amplifier": PhElectrode,
    "ec_amplifier": EcCell,
    "ntc_divider": NtcDivider,
    "ntc_steinhart_divider": NtcSteinhartDivider,
    "platinum_source": PlatinumSource,
    "pt1000_divider": Pt1000Divider,
    "ds18b20": Ds18b20,
    "level_sender": LevelSender,
    "float_switch": FloatSwitch,
    "contact": Contact,
    "light_sensor": LightSensor,
    "sht3x_temperature": AirSensor,
    "sht3x_humidity": AirSensor,
    "steady_voltage": SteadyVoltage,
}


class PlayError(ValueError):
    """What a person asked of the bench cannot be done; the message says what can."""


class Basin:
    """One tank with the probes in it and the pumps at it, by name and by role."""

    def __init__(self, name: str, table: TankTable, seed: int) -> None:
        self.name = name
        self.tank = Tank(table)
        self.tables = {probe.name_in_tank(): probe for probe in table.probe}
        self.probes = {
            called: KINDS[_kind(probe)](probe, Random(f"{seed} {name}/{called}"))
            for called, probe in self.tables.items()
        }
        cells = tuple(probe for probe in self.probes.values() if isinstance(probe, EcCell) and probe.disturbs)
        for probe in self.probes.values():
            if isinstance(probe, PhElectrode):
                probe.cells = cells
        self.pumps: dict[str, Pump] = {pump.role: Pump(pump) for pump in table.pump}

    def advance(self, seconds: float, day_s: float, now_s: float) -> None:
        """Pumps turn, water mixes, probes follow. day_s: seconds into the day at the start; now_s: at the end."""
        for pump in self.pumps.values():
            ml = pump.run(seconds)
            if ml > 0.0:
                self.tank.deliver(pump.role, ml)
        self.tank.advance(seconds, day_s)
        look = self.tank.look()
        water = Touched(look.ph, look.ec_ms_per_cm, look.temperature_c)
        for probe in self.probes.values():
            if isinstance(probe, LevelSender):
                probe.stand_at(look.level_share)
            if isinstance(probe, LightSensor):
                probe.shine(day_s)
            if isinstance(probe, AirSensor):
                probe.breathe(day_s)
            if isinstance(probe, FloatSwitch):
                probe.float_at(look.level_share)
            else:
                probe.advance(seconds, water, now_s)


class World:
    """All tanks, moved on by a clock. Every public method may be called from any thread.

    `befall` hears which faults hold whenever that changes: the chips and buses of the bench listen there.
    """

    def __init__(self, table: BenchTable, clock: BenchClock, read_edges: Callable[[], list[Edge]]) -> None:
        self.basins = {name: Basin(name, tank, table.seed) for name, tank in table.tank.items()}
        self.edges: deque[Edge] = deque(maxlen=EDGES_KEPT)
        self.befall: Callable[[dict[str, Held]], None] = lambda held: None
        self.lock = RLock()
        self._clock = clock
        self._read_edges = read_edges
        self._moving = False
        self._now_s = self._started_s = clock.opened_s
        self._started_day_s = _day_s(clock.opened_utc)
        self._pump_of_line = {pump.line: pump for _, pump in self._pumps()}
        self._cut_out_line = table.cut_out_line
        self._supply(table.cut_out_line is None)
        self._cell_of_line = {cell.line: cell for cell in self._probes() if isinstance(cell, EcCell)}
        self._contact_of_line = {
            probe.line: probe for probe in self._probes() if isinstance(probe, FloatSwitch | Contact)
        }
        self._faults: list[Fault] = []
        self._next_change_s = inf
        for fault in table.fault:
            self._add(self._from_table(fault))
        self._apply_faults()
        self.settle()
        self.catch_up()

    # --- what wires see ---

    def volts_of(self, probe: AnalogProbe) -> Input:
        """The volts at the input of this probe, as a converter asks for them."""

        def volts(now_s: float, lasting_s: float) -> float:
            with self.lock:
                if now_s - self._now_s >= SHORTEST_STEP_S:
                    self.catch_up()
                return probe.volts(now_s, lasting_s)

        return volts

    def air_of(self, names: Sequence[tuple[str, str]]) -> Air:
        """What an air sensor shows, as its chip asks for it. names: tank and name of the probes it serves."""
        found = [self.basins[tank].probes[name] for tank, name in names]
        sensors = [probe for probe in found if isinstance(probe, AirSensor)]

        def shows() -> tuple[float, float] | None:
            with self.lock:
                self._look(self._clock.monotonic_s())
                seen = [sensor.shows() for sensor in sensors]
                return None if None in seen else seen[0]

        return shows

    def contact(self, line: int) -> bool | None:
        """Whether the switch at this line is closed to ground; None where there is none."""
        switch = self._contact_of_line.get(line)
        if switch is None:
            return None
        with self.lock:
            self._look(self._clock.monotonic_s())
            return switch.closed()

    def tell(self, line: int, high: bool) -> None:
        """An edge in this process, now."""
        with self.lock:
            self.catch_up()
            self._take(Edge(self._now_s, line, high))

    def settle(self) -> None:
        """Let probes and switches feel at once what a person has just done to the water."""
        with self.lock:
            self._step(0.0)

    def catch_up(self) -> None:
        """Let everything happen that is due by now.

        Edges of another process from before the bench was opened only say where they left their lines.
        """
        with self.lock:
            if self._moving:  # a signal's handler, in the middle of a step of this very thread
                return
            self._moving = True
            try:
                self._move_to(self._clock.monotonic_s())
            finally:
                self._moving = False

    # --- faults ---

    def add_fault(self, fault: Fault) -> None:
        """One more fault, in bench seconds. Raises PlayError where it cannot befall its target."""
        with self.lock:
            self.catch_up()
            self._add(fault)
            self._apply_faults()

    def end_fault(self, name: FaultName, target: str) -> int:
        """End the faults of that name on that target that hold now or are to come. Gives how many."""
        with self.lock:
            self.catch_up()
            kept = [fault for fault in self._faults if (fault.name, fault.target) != (name, target)]
            ended = sum(fault.end_s > self._now_s for fault in self._faults) - sum(
                fault.end_s > self._now_s for fault in kept
            )
            self._faults = kept
            self._apply_faults()
            return ended

    def faults_now(self) -> list[Fault]:
        """The faults that hold now."""
        with self.lock:
            self.catch_up()
            return [fault for fault in self._faults if fault.holds_at(self._now_s)]

    def held(self) -> dict[str, Held]:
        """The faults that hold now, by target."""
        return holding(self._faults, self._now_s)

    def now_s(self) -> float:
        """Bench seconds up to which everything has happened."""
        return self._now_s

    def next_change_s(self) -> float:
        """When the next fault begins or ends; infinity where none is known to."""
        return self._next_change_s

    # --- time ---

    def _look(self, now_s: float) -> None:
        if now_s - self._now_s >= SHORTEST_STEP_S:
            self.catch_up()

    def _move_to(self, now_s: float) -> None:
        for edge in self._read_edges():
            self._advance_to(min(edge.at_s, now_s))
            self._take(edge)
        self._advance_to(now_s)

    def _advance_to(self, now_s: float) -> None:
        while self._now_s < now_s:
            self._step(min(now_s, self._next_change_s, self._now_s + LONGEST_STEP_S) - self._now_s)
            if self._now_s >= self._next_change_s:
                self._apply_faults()

    def _step(self, seconds: float) -> None:
        start_s = self._now_s
        self._now_s = start_s + seconds
        day_s = (self._started_day_s + start_s - self._started_s) % S_PER_DAY
        for basin in self.basins.values():
            basin.advance(seconds, day_s, self._now_s)

    def _take(self, edge: Edge) -> None:
        self.edges.append(edge)
        if edge.line == self._cut_out_line:
            self._supply(edge.on)
        pump = self._pump_of_line.get(edge.line)
        if pump is not None:
            pump.on = edge.on
            pump.note(self._now_s)
        cell = self._cell_of_line.get(edge.line)
        if cell is not None:
            cell.switch(edge.on, edge.at_s)

    def _supply(self, on: bool) -> None:
        for _, pump in self._pumps():
            pump.supplied = on
            pump.note(self._now_s)

    def _pumps(self) -> Iterator[tuple[str, Pump]]:
        for basin in self.basins.values():
            for role, pump in basin.pumps.items():
                yield f"{basin.name}/{role}", pump

    def _probes(self) -> Iterator[Probe]:
        for basin in self.basins.values():
            yield from basin.probes.values()

    # --- faults, inside ---

    def _from_table(self, table: FaultTable) -> Fault:
        start_s, end_s = table.start_s + self._started_s, table.end_s + self._started_s
        return Fault(table.name, table.target, start_s, end_s, table.size)

    def _add(self, fault: Fault) -> None:
        tank, _, name = fault.target.partition("/")
        basin = self.basins.get(tank)
        if basin is None:
            raise PlayError(f"there is no tank {tank!r}: there are {', '.join(self.basins)}")
        _refuse_wrong_target(fault, basin, name)
        self._faults.append(fault)

    def _apply_faults(self) -> None:
        """Tell everyone which faults hold from now on."""
        held = self.held()
        self._next_change_s = next_change_s(self._faults, self._now_s)
        for target, pump in self._pumps():
            pump.faults = held.get(target, {})
            pump.note(self._now_s)
        for basin in self.basins.values():
            for name, probe in basin.probes.items():
                probe.faults = held.get(f"{basin.name}/{name}", {})
                probe.settle(self._now_s)
        self.befall(held)

    # --- for people ---

    def truth(self) -> dict[str, Any]:
        """Everything as it truly is, as plain values: tanks, probes, pumps, faults."""
        with self.lock:
            self.catch_up()
            return {
                "at_s": self._now_s - self._started_s,
                "utc": self._clock.utc().astimezone(UTC).isoformat(timespec="seconds"),
                "tanks": {basin.name: _truth_of(basin, self._now_s) for basin in self.basins.values()},
                "faults": [_plain(fault, self._started_s) for fault in self.faults_now()],
            }


def _kind(table: ProbeTable) -> str:
    return str(getattr(table, "kind", ""))


def _day_s(now: datetime) -> float:
    return now.hour * 3600.0 + now.minute * 60.0 + now.second


def _refuse_wrong_target(fault: Fault, basin: Basin, name: str) -> None:
    if fault.name in PUMP_FAULTS:
        able = list(basin.pumps)
    elif fault.name in CONVERTER_FAULTS:
        able = [called for called, probe in basin.probes.items() if isinstance(probe, AnalogProbe)]
    else:
        able = [called for called, probe in basin.probes.items() if fault.name in probe.can_fail]
    if name not in able:
        targets = ", ".join(f"{basin.name}/{one}" for one in able) or "nothing"
        raise PlayError(f"{fault.name} cannot befall {fault.target}: in that tank it can befall {targets}")


def _plain(fault: Fault, started_s: float) -> dict[str, Any]:
    shifted = replace(fault, start_s=fault.start_s - started_s, end_s=fault.end_s - started_s)
    return {key: value for key, value in asdict(shifted).items() if value not in (None, inf)}


def _truth_of(basin: Basin, now_s: float) -> dict[str, Any]:
    look, mixed = basin.tank.look(), basin.tank.bulk()
    return {
        "volume_l": basin.tank.volume_l,
        "bed_l": basin.tank.bed_l,
        "fresh_g_per_plant": basin.tank.fresh_g_per_plant(),
        "source_charge_error_percent": basin.tank.source_charge_error_percent,
        "level_share": look.level_share,
        "ph": look.ph,
        "ph_once_mixed": mixed.ph,
        "ec25_ms_per_cm": look.ec25_ms_per_cm,
        "temperature_c": look.temperature_c,
        "probes": {name: _probe_truth(probe) for name, probe in basin.probes.items()},
        "pumps": {role: _pump_truth(pump, now_s) for role, pump in basin.pumps.items()},
    }


def _probe_truth(probe: Probe) -> dict[str, Any]:
    where = {"in": probe.dipped_in or "tank"}
    if isinstance(probe, FloatSwitch | Contact):
        return {**where, "closed": probe.closed()}
    return {**where, "signal": probe.true_signal}


def _pump_truth(pump: Pump, now_s: float) -> dict[str, Any]:
    last = pump.runs[-1] if pump.runs else None
    return {
        "turns": pump.turns(),
        "delivered_ml": pump.delivered_ml,
        "left_ml": pump.left_ml,
        "last_run": None if last is None else {"ago_s": now_s - last.end_s, "ml": last.ml},
    }
