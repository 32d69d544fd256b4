"""A reservoir that always asks for acid, kept by the whole program through crashes and restarts.

`Ground` is what outlives each start: the state folder, real time, and every edge that the pump lines made in it.
Each start gets a bench and clocks of its own; what the wall clock says is for the test to choose.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import suppress
from copy import deepcopy
from datetime import UTC, datetime, timedelta
from math import inf
from pathlib import Path
from tempfile import mkdtemp
from types import MappingProxyType
from typing import Any

from config.settings import Settings
from daemon.cli.audit import Audit
from daemon.desk.requests import Origin, Request
from daemon.dose.windows import DAY_S, HOUR_S, Totals
from daemon.service import Service
from daemon.values import Quantity, Role, State
from sim_hw import grower
from sim_hw.bench import Bench, open_rig
from sim_hw.clock import BenchClock
from sim_hw.from_settings import bench_table
from sim_hw.pins import Edge
from tests.at_the_tank import PH_DOWN_LINE, raw_settings
from tests.hazards.disk import lay_out

IN_MEMORY = Path("/dev/shm")
BEGINNING = datetime(2026, 4, 1, 6, 0, tzinfo=UTC)
PASS_S = 60.0
LOOKS_TO_TRUST = 6
PASSES_TO_A_DOSE = 10  # from a start, where nothing forbids one
DOSE_CAP_ML, HOUR_CAP_ML, DAY_CAP_ML = 2.0, 8.0, 20.0
ML_PER_S = 1.0
ROUNDING_ML = 0.05
CALIBRATION = "[reservoir.bed1.ph]\nday = 2026-04-01\nslope_percent = 97.0\noffset_mv = 6.0\n"
NOTHING: Mapping[str, Any] = MappingProxyType({})
FRESH = {"calibrations.toml": CALIBRATION.encode()}


def greedy_settings() -> Settings:
    """One pH probe and one acid pump with strict caps: passes are quick, and there is always a dose to ask."""
    raw = raw_settings()
    bed = raw["reservoir"]["bed1"]
    bed["probe"] = {"ph": bed["probe"]["ph"]}
    bed |= {"assumed_temperature_c": 20.0, "mixing_time_s": 30.0, "calibration_expire_days": 365.0}
    bed["pump"] = {
        "ph_down": {
            "line": PH_DOWN_LINE,
            "ml_per_s": ML_PER_S,
            "bottle_ml": 1000.0,
            "max_per_dose_ml": DOSE_CAP_ML,
            "max_per_hour_ml": HOUR_CAP_ML,
            "max_per_day_ml": DAY_CAP_ML,
            "min_gap_s": 120.0,
        }
    }
    bed["bands"] = {**bed.get("bands", {}), "ph_high": 7.5}  # so that pH 8 is no grave alarm, which locks unheard
    bed["ph"]["ml_per_ph"] = 500.0  # so that nobody wonders at doses that hardly show
    raw["site"]["pass_every_s"] = PASS_S
    tank = raw["rig"]["tank"]["bed1"]
    tank["probe"] = [probe for probe in tank["probe"] if probe["kind"] == "ph_amplifier"]
    tank["pump"] = [pump for pump in tank["pump"] if pump["role"] == "ph_down"]
    tank |= {"start_ph": 8.0, "alkalinity_mmol_per_l": 8.0, "plants": 0}  # no dose within the caps moves it
    return Settings.model_validate(raw)


class VanishedError(BaseException):
    """Nothing of the program runs on from here."""


def _nothing() -> None:
    return None


class WrongClock(BenchClock):
    """A stepped clock that starts at 0 with each boot, and whose wall time is off by what the test says."""

    def __init__(self, boot_id: str, began_s: float, error_s: float, *, trusted: bool) -> None:
        super().__init__(0.0, BEGINNING + timedelta(seconds=began_s))
        self.error_s, self.trusted = error_s, trusted
        self.named = boot_id
        self.after_each_sleep: Callable[[], None] = _nothing

    def sleep(self, seconds: float) -> None:
        super().sleep(seconds)
        self.after_each_sleep()

    def utc(self) -> datetime:
        return super().utc() + timedelta(seconds=self.error_s)

    def utc_trusted(self) -> bool:
        return self.trusted

    def boot_id(self) -> str:
        return self.named


class Ground:
    """The state folder, real time and the edges so far, across all starts of the program.

    real_s: real seconds, never back. files, at_s, edges: how it is found, if not fresh; wired: what the bench
    is wired by, if not by `settings`; tank: changes to the water of bed1. Close it to clean up.
    """

    def __init__(
        self,
        settings: Settings | None = None,
        *,
        files: Mapping[str, bytes] = FRESH,
        at_s: float = 0.0,
        edges: Iterable[Edge] = (),
        wired: Settings | None = None,
        tank: Mapping[str, Any] = NOTHING,
    ) -> None:
        self.settings = settings or greedy_settings()
        self._table = deepcopy(bench_table(wired or self.settings, seed=5))
        self._table["tank"]["bed1"].update(tank)
        self._own = Path(mkdtemp(prefix="ground-", dir=IN_MEMORY if IN_MEMORY.is_dir() else None))
        self.folder = self._own / "0"
        lay_out(files, self.folder)
        self._began_s = self._stopped_s = at_s
        self._past = list(edges)
        self.boots = 0
        self.service: Service | None = None
        self.bench: Bench | None = None

    # starting and ending

    def start(self, *, error_s: float = 0.0, trusted: bool = False) -> Service:
        """The program starts, on a machine that has just booted. Raises what Service raises.

        A person clears at once what else would keep it from dosing, as too many bad ends: the caps stand alone.
        """
        self.boots += 1
        self._began_s = self._stopped_s
        self.clock = WrongClock(f"boot-{self.boots}", self._began_s, error_s, trusted=trusted)
        self.bench = open_rig(deepcopy(self._table))
        self.bench.clock = self.clock
        try:
            self.service = Service(
                self.settings, rig=self.bench, state_folder=self.folder, control=False, mqtt=False
            )
        except BaseException:
            self._gather()
            raise
        self._clear()
        return self.service

    def _clear(self) -> None:
        """A person clears; where the probe is in doubt, by what a meter beside it shows."""
        cleared = self.ask("clear")
        if isinstance(cleared, dict) and not cleared.get("accepted", True):
            ph = self.passes(LOOKS_TO_TRUST).reservoirs["bed1"].verdicts[Quantity.PH]
            if ph.usable and ph.reading is not None:
                self.ask("clear", measured_ph=ph.reading.value)

    def die(self) -> None:
        """The process vanishes where it stands; what it wrote is there. A line that was high goes low at once."""
        left = self._leave()
        self._bury()
        shutil.rmtree(self.folder)
        self.folder = left

    def die_in_a_run(self, within: int) -> bool:
        """The process vanishes in its next run, if one comes within so many passes; whether it did."""
        left: list[Path] = []

        def vanish() -> None:
            if self.bench is not None and self.is_high():
                left.append(self._leave())
                raise VanishedError

        self.clock.after_each_sleep = vanish
        try:
            self.passes(within)
        except VanishedError:
            self._bury()
            shutil.rmtree(self.folder)
            (self.folder,) = left
        else:
            self.clock.after_each_sleep = _nothing
        return bool(left)

    def _leave(self) -> Path:
        """What the process leaves if it vanishes now, in a folder of its own. What it does later is lost."""
        left = self._own / str(self.boots)
        shutil.copytree(self.folder, left, ignore=shutil.ignore_patterns("lock", "*-shm"))
        self._gather()
        if self._past and self._past[-1].on:
            self._past.append(Edge(self.real_s, PH_DOWN_LINE, False))
        return left

    def stop(self) -> None:
        """The program ends in good order."""
        self._bury()
        self._gather()

    def _gather(self) -> None:
        """Keep the edges and the time of the start that ends now."""
        if self.bench is not None:
            self._past = list(self.edges())
            self._stopped_s = self.real_s
            self.bench = None

    def _bury(self) -> None:
        if self.service is not None:
            self.service.close()
            self.service = None

    def off(self, seconds: float) -> None:
        """The machine is without power for a while."""
        self._stopped_s += seconds

    def close(self) -> None:
        """Clean up. Twice is harmless."""
        with suppress(OSError):
            self._bury()
        shutil.rmtree(self._own, ignore_errors=True)

    # going on

    @property
    def real_s(self) -> float:
        return self._stopped_s if self.bench is None else self._began_s + self.bench.clock.monotonic_s()

    def passes(self, count: int) -> State:
        """So many passes of the running program, at their pace."""
        assert self.service is not None
        for _ in range(count):
            state = self.service.loop.one_pass()
            self.clock.sleep(PASS_S)
        return state

    def calibrate(self) -> None:
        """As the grower does: the pH probe in its two standards, and back."""
        assert self.bench is not None
        grower.calibrate("ph", "bed1", ask=self.ask, play=self.bench.play, wait=self._one_pass)

    def _one_pass(self) -> None:
        self.passes(1)

    def ask(self, method: str, origin: Origin = Origin.LOCAL, **params: Any) -> Any:
        """What a person is answered; a refusal as well."""
        assert self.service is not None
        answers: list[Any] = []
        self.service.submit(Request(method, params, origin, answers.append))
        self.service.loop.answer_requests()
        (answer,) = answers
        return answer

    # what truly happened

    def edges(self) -> Iterator[Edge]:
        """Every edge of the pump line in real time, oldest first."""
        yield from self._past
        if self.bench is not None:
            yield from (Edge(self._began_s + e.at_s, e.line, e.on) for e in self.bench.world.edges)

    def is_high(self) -> bool:
        """Whether the pump's line is high now."""
        return [False, *(edge.on for edge in self.edges())][-1]

    def runs(self) -> list[tuple[float, float]]:
        """When the pump truly ran: from, to."""
        return runs_of(self.edges(), self.real_s)

    def violations(self) -> list[str]:
        """What an audit of all edges finds against the caps."""
        audit = Audit(self.settings)
        audit.see(self.edges())
        audit.finish(self.real_s)
        return audit.violations

    def spent(self) -> Totals:
        """What the running program's ledger says of the pump now."""
        assert self.service is not None
        return self.service.ledger.totals("bed1", Role.PH_DOWN, self.service.loop.stamp())


def runs_of(edges: Iterable[Edge], now_s: float) -> list[tuple[float, float]]:
    """When the pump ran: from, to. A line still high ran until now."""
    found: list[tuple[float, float]] = []
    since_s: float | None = None
    for edge in edges:
        if edge.on and since_s is None:
            since_s = edge.at_s
        elif not edge.on and since_s is not None:
            found.append((since_s, edge.at_s))
            since_s = None
    return found if since_s is None else [*found, (since_s, now_s)]


def says_too_little(said: Totals, runs: list[tuple[float, float]], now_s: float) -> list[str]:
    """Each window in which the ledger says less than the pump gave. A ledger that is broken says all is spent."""
    return [
        f"{name}: said {said_ml:.3f} mL, truly {true_ml:.3f} mL at {now_s:.0f} s"
        for name, said_ml, window_s in (
            ("hour", said.hour_ml, HOUR_S), ("day", said.day_ml, DAY_S), ("bottle", said.since_refill_ml, inf)
        )
        if not said_ml >= (true_ml := given_ml(runs, now_s - window_s)) - ROUNDING_ML
    ]  # fmt: skip


def given_ml(runs: list[tuple[float, float]], since_s: float) -> float:
    """What the runs gave that ended later than `since_s`, each counted whole."""
    return sum(ML_PER_S * (end_s - start_s) for start_s, end_s in runs if end_s > since_s)
