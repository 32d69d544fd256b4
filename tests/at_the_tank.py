"""The whole program on a stepped bench, for tests of what runs it: nothing sleeps, no real clock is read."""

from __future__ import annotations

import threading
import tomllib
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from copy import deepcopy
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, TypeVar

from config.settings import Settings
from daemon.desk.requests import Origin, Request
from daemon.service import Service
from daemon.values import Alarm, ReservoirState, State
from sim_hw.bench import Bench, open_rig
from sim_hw.clock import BenchClock
from sim_hw.from_settings import bench_table
from sim_hw.pins import Edge

RIGS = Path(__file__).parents[1] / "config" / "rigs"
T = TypeVar("T")

PASS_S = 10.0
PH_DOWN_LINE = 17
BEGINNING = datetime(2026, 4, 1, 6, 0, tzinfo=UTC)
TO_A_DOSE = 12  # passes from a start until the first dose has run

# What the bench's probes truly are (config/rigs/quince-lane.toml), so that a test need not calibrate first.
CALIBRATIONS = """\
[reservoir.{name}.ph]
day = 2026-04-01
slope_percent = 97.0
offset_mv = 6.0

[reservoir.{name}.ec]
day = 2026-04-01
cell_constant_per_cm = 0.98

"""


def raw_settings() -> dict[str, Any]:
    """The tables of the invented school garden's settings file."""
    return tomllib.loads((RIGS / "quince-lane.toml").read_text(encoding="utf-8"))


def one_bed(**changes: Any) -> Settings:
    """The school garden; `changes` go into the table of its one reservoir."""
    raw = raw_settings()
    raw["reservoir"]["bed1"].update(changes)
    return Settings.model_validate(raw)


def two_beds(second_address: int = 0x49) -> Settings:
    """Two reservoirs on one bus, each with a converter of its own unless the second names the first's."""
    raw = raw_settings()
    raw["rig"] = {"open": "drivers.pi:open_rig"}
    second = deepcopy(raw["reservoir"]["bed1"])
    second["title"] = "Bed 2"
    for quantity in ("ph", "ec", "temperature"):
        second["probe"][quantity]["address"] = second_address
    second["probe"]["level"]["line"] = 24
    second["pump"]["ph_down"]["line"] = 22
    second["pump"]["ph_up"]["line"] = 25
    raw["reservoir"]["bed2"] = second
    return Settings.model_validate(raw)


def pump_settings(**changes: Any) -> Settings:
    """The school garden with another table for its acid pump."""
    raw = raw_settings()
    raw["reservoir"]["bed1"]["pump"]["ph_down"].update(changes)
    return Settings.model_validate(raw)


class OddClock(BenchClock):
    """A stepped clock whose wall time can be set, and whose sleeps can be interrupted or stand still."""

    def __init__(self, start_utc: datetime = BEGINNING) -> None:
        super().__init__(0.0, start_utc)
        self.set_off = timedelta(0)
        self.stands = False
        self.during_sleep: Callable[[], None] = lambda: None

    def utc(self) -> datetime:
        return super().utc() + self.set_off

    def sleep(self, seconds: float) -> None:
        super().sleep(0.0 if self.stands else seconds)
        self.during_sleep()


class AtTheTank:
    """One start of the program, its bench, and a person beside it."""

    def __init__(self, service: Service, bench: Bench, clock: OddClock) -> None:
        self.service, self.bench, self.clock = service, bench, clock
        self.loop = service.loop

    def passes(self, count: int) -> State:
        """So many passes, at their pace; the last snapshot."""
        for _ in range(count):
            state = self.loop.one_pass()
            self.clock.sleep(PASS_S)
        return state

    def until(self, done: Callable[[State], bool], within: int) -> State:
        """Passes until a snapshot shows it."""
        for _ in range(within):
            if done(state := self.passes(1)):
                return state
        raise AssertionError(f"not within {within} passes; at the end {state}")

    def ask(self, method: str, origin: Origin = Origin.LOCAL, **params: Any) -> Any:
        """What the loop answers. A refusal is raised."""
        answers: list[Any] = []
        self.service.submit(Request(method, params, origin, answers.append))
        self.loop.answer_requests()
        (answer,) = answers
        if isinstance(answer, Exception):
            raise answer
        return answer

    def while_answering(self, act: Callable[[], T], *, passing: bool = False) -> T:
        """What `act` returns, done by somebody else while requests are answered here, with passes or without."""
        over = threading.Event()
        with ThreadPoolExecutor(1) as somebody:
            result = somebody.submit(act)
            result.add_done_callback(lambda _: over.set())
            while not over.wait(0.001):
                self.loop.answer_requests()
                if passing:
                    self.passes(1)
            return result.result()

    def runs(self, line: int = PH_DOWN_LINE) -> list[Edge]:
        """Each time this pump was turned on, as its line saw it."""
        return [edge for edge in self.bench.edges if edge.line == line and edge.on]

    def pump_is_on(self, name: str = "bed1", role: str = "ph_down") -> bool:
        """Whether the pump's line is high now."""
        return self.bench.world.basins[name].pumps[role].on

    def bed(self, name: str = "bed1") -> ReservoirState:
        """The newest snapshot of one reservoir."""
        assert self.loop.state is not None
        return self.loop.state.reservoirs[name]

    def alarms(self) -> dict[str, Alarm]:
        """What calls for a person, by key."""
        assert self.loop.state is not None
        return {alarm.key: alarm for alarm in self.loop.state.alarms}


@contextmanager
def at_the_tank(
    folder: Path,
    settings: Settings | None = None,
    *,
    calibrated: bool = True,
    start_utc: datetime = BEGINNING,
    tank: dict[str, Any] | None = None,
    wired: Settings | None = None,
    control: bool = False,
) -> Iterator[AtTheTank]:
    """A start of the program in this state folder.

    tank: changes to the water and hardware of bed1; wired: what the bench is wired by, if not by `settings`;
    control: whether the command line can reach it.
    """
    settings = settings or one_bed()
    book = folder / "calibrations.toml"
    if calibrated and not book.exists():
        book.write_text("".join(CALIBRATIONS.format(name=name) for name in settings.reservoir), encoding="utf-8")
    table = deepcopy(bench_table(wired or settings, seed=11))
    table["tank"]["bed1"].update(tank or {})
    clock = OddClock(start_utc)
    bench = open_rig(table)
    bench.clock = clock
    with Service(settings, rig=bench, state_folder=folder, control=control, mqtt=False) as service:
        yield AtTheTank(service, bench, clock)
