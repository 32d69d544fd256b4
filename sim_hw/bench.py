"""A simulated rig: `[rig] open = "sim_hw.bench:open_rig"`. Its table is described in sim_hw/tables.py.

    open_rig(table) -> Bench:  clock, i2c(bus), pin_factory(), one_wire_root, close()     what the daemon uses
                               play(command, ...)                                         what a person does to it

Opening only checks the table. The world begins when something is first looked at or played, so that a process
which only drives pins (a pins file) never builds one.
"""

from __future__ import annotations

import errno
import shutil
import tempfile
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from threading import RLock
from typing import Any

from drivers.rig import RigError
from sim_hw.ads1115_chip import Ads1115Chip, Input
from sim_hw.air_chip import AirChip
from sim_hw.bus import Bus
from sim_hw.clock import BenchClock
from sim_hw.faults import FaultName, Held
from sim_hw.one_wire import SensorFolder
from sim_hw.pins import BenchFactory, Edge, EdgeReader, EdgeWriter
from sim_hw.play import play
from sim_hw.probes import UNWIRED_V, AnalogProbe
from sim_hw.remote import BenchSocket
from sim_hw.tables import AirTable, AnalogTable, BenchTable, ContactTable, FloatSwitchTable, check
from sim_hw.thermometers import Ds18b20
from sim_hw.world import World

INPUTS_PER_CHIP = 4
DRIFTED_TIMES = 1.02  # the codes of a chip whose reference drifted, where nothing else is given
SEEN_AFRESH_S = 1.0  # bench time between two writings of the one-wire files


def open_rig(table: Mapping[str, Any]) -> Bench:
    """A bench as its `[rig]` table says. Raises RigError with one line for each thing wrong in the table."""
    return Bench(check(table))


class Bench:
    """A simulated rig. `in_process` is False where its pins are shared by a pins file."""

    def __init__(self, table: BenchTable) -> None:
        self.clock = BenchClock(table.time_factor, table.start_utc)
        self.in_process = table.pins_file is None
        self._table = table
        self._lock = RLock()
        self._world: World | None = None
        self._buses: dict[int, Bus] = {}
        self._factory: BenchFactory | None = None
        self._sensors: list[tuple[Ds18b20, SensorFolder]] = []
        self._one_wire: Path | None = None
        self._seen_s = 0.0
        self._to_close: list[Callable[[], None]] = []

    @property
    def world(self) -> World:
        """All that is on the far side of the wires. It begins when first asked for."""
        with self._lock:
            if self._world is None:
                self._world = self._begin()
            return self._world

    @property
    def one_wire_root(self) -> Path:
        """A folder like /sys/bus/w1/devices. Its files are brought up to date by each sleep of the clock."""
        with self._lock:
            if self._one_wire is None:
                self._one_wire = self._lay_out_one_wire()
            return self._one_wire

    @property
    def edges(self) -> tuple[Edge, ...]:
        """What the lines did: the last ten thousand edges, in bench seconds."""
        self.world.catch_up()
        return tuple(self.world.edges)

    def i2c(self, bus: int) -> Bus:
        """The bus of that number. Raises OSError where no probe of the table is on it."""
        _ = self.world
        if bus not in self._buses:
            known = ", ".join(map(str, self._buses)) or "none"
            raise OSError(errno.ENOENT, f"the simulated bench has no I2C bus {bus} (it has {known})")
        return self._buses[bus]

    def pin_factory(self) -> BenchFactory:
        """gpiozero's mock factory, its edges told to the world: by a call, or by the pins file."""
        with self._lock:
            if self._factory is None:
                self._factory = BenchFactory(self._teller(), self._contact)
                self._to_close.append(self._factory.close)
            return self._factory

    def play(self, command: str, **params: Any) -> dict[str, Any]:
        """What a person does at the bench: see sim_hw/play.py. Raises PlayError."""
        answer = play(self.world, command, params)
        self._show_one_wire()
        return answer

    def close(self) -> None:
        """Lines low, socket and files gone. Twice is harmless."""
        while self._to_close:
            self._to_close.pop()()

    # --- beginning ---

    def _begin(self) -> World:
        world = World(self._table, self.clock, self._edge_source())
        self._buses = dict(_buses(self._table, world, self.clock))
        for bus in self._buses.values():
            bus.let_happen = world.catch_up
        world.befall = lambda held: _befall(held, world.next_change_s(), self._table, self._buses)
        world.befall(world.held())
        if self._table.socket is not None:
            self._listen(Path(self._table.socket))
        return world

    def _listen(self, path: Path) -> None:
        try:
            listener = BenchSocket(path, lambda command, params: self.play(command, **params))
        except OSError as error:
            raise RigError(f"the simulated bench: [rig] socket: {error}") from error
        self._to_close.append(listener.close)

    def _edge_source(self) -> Callable[[], list[Edge]]:
        if self._table.pins_file is None:
            return list
        reader = EdgeReader(Path(self._table.pins_file))
        self._to_close.append(reader.close)
        return reader.new

    def _teller(self) -> Callable[[int, bool], None]:
        if self._table.pins_file is None:
            return lambda line, high: self.world.tell(line, high)  # noqa: PLW0108 - begins the world late
        writer = EdgeWriter(Path(self._table.pins_file))
        self._to_close.append(writer.close)
        return writer.tell

    def _contact(self, line: int) -> bool | None:
        """Lines without a switch do not begin the world: a process that only drives pumps needs none."""
        wired = any(
            isinstance(probe, FloatSwitchTable | ContactTable) and probe.line == line
            for tank in self._table.tank.values()
            for probe in tank.probe
        )
        return self.world.contact(line) if wired else None

    # --- one-wire ---

    def _lay_out_one_wire(self) -> Path:
        root = Path(tempfile.mkdtemp(prefix="bench-w1-"))
        self._to_close.append(lambda: shutil.rmtree(root, ignore_errors=True))
        for basin in self.world.basins.values():
            for probe in basin.probes.values():
                if isinstance(probe, Ds18b20):
                    folder = SensorFolder(root, probe.sensor_id)
                    self._to_close.append(folder.close)
                    self._sensors.append((probe, folder))
        if self._sensors:
            self.clock.after_sleep = self._show_in_a_while
        self._show_one_wire()
        return root

    def _show_in_a_while(self) -> None:
        if self.clock.monotonic_s() - self._seen_s >= SEEN_AFRESH_S:
            self._show_one_wire()

    def _show_one_wire(self) -> None:
        if not self._sensors:
            return
        self._seen_s = self.clock.monotonic_s()
        with self.world.lock:
            self.world.catch_up()
            for probe, folder in self._sensors:
                folder.show(probe.celsius())


def _analog(table: BenchTable) -> Iterator[tuple[str, str, AnalogTable]]:
    """Tank, name in the tank and table of each probe at a converter."""
    for name, tank in table.tank.items():
        for probe in tank.probe:
            if isinstance(probe, AnalogTable):
                yield name, probe.name_in_tank(), probe


def _in_the_air(table: BenchTable) -> Iterator[tuple[str, AirTable]]:
    """Tank and table of each probe of an air sensor."""
    for name, tank in table.tank.items():
        for probe in tank.probe:
            if isinstance(probe, AirTable):
                yield name, probe


def _unwired(now_s: float, lasting_s: float) -> float:
    return UNWIRED_V


def _buses(table: BenchTable, world: World, clock: BenchClock) -> Iterator[tuple[int, Bus]]:
    """The buses with their chips, each input wired to its probe."""
    inputs: dict[tuple[int, int], list[Input]] = {}
    for tank, name, probe in _analog(table):
        here = inputs.setdefault((probe.i2c_bus, probe.address), [_unwired] * INPUTS_PER_CHIP)
        if probe.minus_input is not None:
            here[probe.minus_input] = _steady(probe.minus_v)
        found = world.basins[tank].probes[name]
        assert isinstance(found, AnalogProbe)
        here[probe.input] = world.volts_of(found)
    air: dict[tuple[int, int], list[tuple[str, str]]] = {}
    for tank, one in _in_the_air(table):
        air.setdefault((one.i2c_bus, one.address), []).append((tank, one.name_in_tank()))
    for bus in sorted({bus for bus, _ in [*inputs, *air]}):
        chips = {address: Ads1115Chip(clock, four) for (on, address), four in inputs.items() if on == bus}
        sensors = {
            address: AirChip(clock, world.air_of(names)) for (on, address), names in air.items() if on == bus
        }
        yield bus, Bus(clock, chips, sensors)


def _steady(volts: float) -> Input:
    return lambda now_s, lasting_s: volts


def _befall(held: Mapping[str, Held], next_change_s: float, table: BenchTable, buses: Mapping[int, Bus]) -> None:
    """Set the switches of every chip and bus anew."""
    by_chip: dict[tuple[int, int], Held] = {}
    for tank, name, probe in _analog(table):
        here = by_chip.setdefault((probe.i2c_bus, probe.address), {})
        here.update(held.get(f"{tank}/{name}", {}))
    for number, bus in buses.items():
        bus.next_change_s = next_change_s
        bus.held = bus.line_high = False
        for address, chip in bus.chips.items():
            here = by_chip[number, address]
            bus.held |= FaultName.BUS_BUSY_FOREVER in here
            bus.line_high |= FaultName.DATA_LINE_HIGH in here
            _befall_chip(chip, here)


def _befall_chip(chip: Ads1115Chip, here: Held) -> None:
    chip.silent = FaultName.CHIP_SILENT in here
    chip.never_ready = FaultName.CHIP_BUSY_FOREVER in here
    if FaultName.CHIP_BROWNOUT in here and not chip.browned_out:
        chip.reset()
    chip.browned_out = FaultName.CHIP_BROWNOUT in here
    drifted = here.get(FaultName.CHIP_REFERENCE_DRIFTED)
    chip.codes_times = drifted.sized(DRIFTED_TIMES) if drifted else 1.0
