"""H3, H25: the process or the power ends at any step of a day; no dose is given twice for it.

One day of the whole program is run, with every step that it takes on disk, pins and keeper put on a tape. Then,
for each step n and each way of ending, the state folder is laid out as that end would leave it:

    KILLED      all that was written is there; the keeper lives on and brings the run to its end (the worst case)
    LEFT_HIGH   so was the keeper killed; the line stays high until the next start
    POWER_CUT   only what was synced is there, under names that were; the line goes low
    POWER_TORN  of the rest some writes are there, whole or in part (seeded by n)

and read again: every n is tried. Ledger and book are read once for each content of their files, and what they say
is held against the truth at every end. From what is found the program is started and goes on. That comes out the
same wherever ledger, calibrations, time and line are the same, so it is done once for each such case: for a
seeded share of them here, for all with EVENWATER_ALL=1 in the environment.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import timedelta
from enum import StrEnum
from functools import cache
from pathlib import Path
from random import Random
from typing import Any

import pytest

from daemon.dose.ledger import Ledger
from daemon.dose.windows import Stamp, Totals
from daemon.measure.book import CalibrationBook
from daemon.values import Quantity, Role
from drivers.keeper import PumpKeeper
from sim_hw.pins import Edge
from sim_hw.world import World
from tests.at_the_tank import PH_DOWN_LINE
from tests.hazards.disk import Images, Step, lay_out, watched
from tests.hazards.ground import (
    BEGINNING,
    CALIBRATION,
    FRESH,
    IN_MEMORY,
    Ground,
    runs_of,
    says_too_little,
)

Note = Callable[[str, object], None]
ALL = os.environ.get("EVENWATER_ALL") == "1"
DAY_PASSES = 26 * 60  # so that budget comes back, and is used again
AFTER_PASSES = 150  # enough for a fresh day's allowance, if there were one
SHARE_HERE = 0.06
READ = ("ledger.db", "calibrations.toml")  # what the names of those files begin with that ledger and book read
OFF_S = (0.0, 1.0, 600.0, 4000.0)
TEN_YEARS_S = 3652 * 86400.0
ERRORS_S = (0.0, -3600.0, 3600.0, -TEN_YEARS_S, TEN_YEARS_S)


class End(StrEnum):
    """How a run of the program ends."""

    KILLED = "killed"
    LEFT_HIGH = "left_high"
    POWER_CUT = "power_cut"
    POWER_TORN = "power_torn"


# The day


@cache
def the_day() -> tuple[Step, ...]:
    """Every step of a day of the program, from the first start on an empty folder to its end in good order."""
    ground = Ground()
    tape: list[Step] = []

    def watch(what: str, path: str, offset: int = 0, content: bytes = b"", about: str = "") -> int:
        tape.append(Step(ground.real_s, what, path.replace(str(ground.folder), "/day"),
                         about.replace(str(ground.folder), "/day"), offset, content))  # fmt: skip
        return 0

    with pytest.MonkeyPatch.context() as patch, watched(watch):
        _tape_pins_and_keeper(patch, ground, tape)
        ground.start(trusted=True)
        _live(ground)
        ground.stop()
    ground.close()
    return tuple(tape)


def _tape_pins_and_keeper(patch: pytest.MonkeyPatch, ground: Ground, tape: list[Step]) -> None:
    tell, start, renew, all_off = World.tell, PumpKeeper.start, PumpKeeper.renew, PumpKeeper.all_off

    def note(what: str, amount: float = 0.0) -> None:
        tape.append(Step(ground.real_s, what, amount=amount))

    def taped_tell(world: World, line: int, high: bool) -> None:
        note("pin", float(high))
        tell(world, line, high)

    def taped_start(keeper: PumpKeeper, line: int, run_s: float) -> None:
        note("keeper start", run_s)
        start(keeper, line, run_s)

    def taped_renew(keeper: PumpKeeper) -> None:
        note("keeper renew")
        renew(keeper)

    def taped_off(keeper: PumpKeeper, cut_short_by: str = "") -> Any:
        note("keeper off")
        return all_off(keeper, cut_short_by)

    patch.setattr(World, "tell", taped_tell)
    patch.setattr(PumpKeeper, "start", taped_start)
    patch.setattr(PumpKeeper, "renew", taped_renew)
    patch.setattr(PumpKeeper, "all_off", taped_off)


def _live(ground: Ground) -> None:
    """Doses up to the caps, a hold, a calibration, the nightly copy, and the next day's first doses."""
    ground.passes(20)
    ground.ask("hold", reason="cleaning", hours=1.0)
    ground.passes(10)
    ground.ask("release")
    ground.passes(30)
    ground.calibrate()
    ground.passes(DAY_PASSES - 60)


# The ends


@dataclass(frozen=True)
class Crash:
    """One end: what it leaves on disk, when, and what the pump line had done."""

    n: int
    end: End
    files: dict[str, bytes]
    at_s: float
    edges: tuple[Edge, ...]

    @property
    def high(self) -> bool:
        return bool(self.edges) and self.edges[-1].on

    def runs(self) -> list[tuple[float, float]]:
        return runs_of(self.edges, self.at_s)

    def read(self) -> tuple[tuple[str, bytes], ...]:
        """The files of the ledger and the book, with what belongs to them."""
        return tuple(sorted((name, content) for name, content in self.files.items() if name.startswith(READ)))


@dataclass(frozen=True)
class Found:
    """What ledger and book say: of the caps, and all that tells one case from another."""

    said: Totals
    case: tuple[object, ...]


def ends() -> Iterator[Crash]:
    """Every way of ending after every step of the day."""
    images, edges, run_s = Images(Path("/day")), [], 0.0
    images.take(Step(0.0, "put", "/day/calibrations.toml", content=CALIBRATION.encode()))
    images.take(Step(0.0, "sync", "/day/calibrations.toml"))
    for n, step in enumerate(the_day(), start=1):
        images.take(step)
        if step.what == "pin":
            edges.append(Edge(step.at_s, PH_DOWN_LINE, bool(step.amount)))
        if step.what == "keeper start":
            run_s = step.amount
        high = bool(edges) and edges[-1].on
        low_s = max(step.at_s, edges[-1].at_s + run_s) if high else step.at_s
        lowered = (*edges, Edge(low_s, PH_DOWN_LINE, False)) if high else tuple(edges)
        yield Crash(n, End.KILLED, images.kept_by_kernel(), low_s, lowered)
        if high:
            yield Crash(n, End.LEFT_HIGH, images.kept_by_kernel(), step.at_s, tuple(edges))
            lowered = (*edges, Edge(step.at_s, PH_DOWN_LINE, False))
        yield Crash(n, End.POWER_CUT, images.without_power(), step.at_s, lowered)
        yield Crash(n, End.POWER_TORN, images.with_some(Random(n)), step.at_s, lowered)


def found(crash: Crash, folder: Path) -> Found:
    """What the ledger and the book say after it. The wall clock is not to be trusted and adds nothing."""
    lay_out(crash.files, folder)
    stamp = Stamp("next", 0.0, BEGINNING + timedelta(seconds=crash.at_s), False)
    with closing(Ledger(folder / "ledger.db", stamp, version="next")) as ledger:
        said = ledger.totals("bed1", Role.PH_DOWN, stamp)
        doses = tuple(tuple(dose.values()) for dose in ledger.export())
        standing = ledger.standing("bed1", stamp)
    with closing(sqlite3.connect(folder / "ledger.db")) as db:
        boots = tuple(db.execute("SELECT * FROM boots"))
    calibration = CalibrationBook(folder / "calibrations.toml").get("bed1", Quantity.PH)
    assert calibration is not None
    return Found(said, (doses, boots, standing, calibration))


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Path]:
    """In memory where there is such a place: each of thousands of commits waits for the disk."""
    ground = Ground(files=FRESH)
    yield ground.folder if IN_MEMORY.is_dir() else tmp_path
    ground.close()


def test_the_day_holds_every_kind_of_step() -> None:
    """Doses up to the day's cap and again the next day, holds, a calibration, a copy: nothing is left untried."""
    tape = the_day()
    whats = {step.what for step in tape}
    assert whats >= {"write", "sync", "cut", "delete", "rename", "put", "sync names", "pin", "keeper start"}
    assert sum(step.what == "pin" and step.amount == 1.0 for step in tape) > 10
    paths = {Path(step.path).name for step in tape}
    assert paths >= {"ledger.db", "ledger.db-wal", "ledger.db.new", "calibrations.toml.new"}
    assert any("/backup/" in step.path for step in tape)


def test_no_dose_begins_without_an_intent_that_a_power_cut_leaves(folder: Path) -> None:
    """At the step that takes the line high, a second reader finds the dose in what is sure to be on disk."""
    begun: dict[Edge, int] = {}
    for crash in ends():
        if crash.end is End.LEFT_HIGH:
            begun.setdefault(crash.edges[-1], crash.n)
        if crash.end is End.POWER_CUT and crash.n in begun.values():
            lay_out(crash.files, folder)
            with closing(sqlite3.connect(folder / "ledger.db")) as db:
                (intent,) = db.execute("SELECT ml, run_s FROM entries WHERE outcome = 'open'")
            assert intent[0] > 0.0
    assert len(begun) > 10


def test_whatever_the_step_the_ledger_never_says_less_than_the_tank_got(
    folder: Path, record_property: Note
) -> None:
    """For every n and every end; from each case that differs, the program starts and goes on within its caps."""
    cases: dict[object, Crash] = {}
    seen: dict[object, Found] = {}
    count = 0
    for crash in ends():
        count += 1
        read = crash.read()
        if read not in seen:
            seen[read] = found(crash, folder)
        here = seen[read]
        assert here.said.ok
        assert says_too_little(here.said, crash.runs(), crash.at_s) == [], (crash.n, crash.end)
        cases.setdefault((here.case, crash.at_s, crash.high), crash)
    chosen = [crash for crash in cases.values() if ALL or Random(crash.n).random() < SHARE_HERE]
    tried = f"{len(the_day())} steps, {count} ends, {len(seen)} ledgers, {len(cases)} cases"
    record_property("figure", f"{tried}, gone on from {len(chosen)}")
    for crash in chosen:
        goes_on(crash)


def goes_on(crash: Crash) -> None:
    """Start on what the crash left, with another boot and any wall clock, and keep asking for acid."""
    chance = Random(crash.n)
    ground = Ground(files=crash.files, at_s=crash.at_s, edges=crash.edges)
    if not crash.high:
        ground.off(chance.choice(OFF_S))
    trusted = chance.random() < 0.5
    try:
        ground.start(trusted=trusted, error_s=0.0 if trusted else chance.choice(ERRORS_S))
        assert not ground.is_high()
        assert says_too_little(ground.spent(), ground.runs(), ground.real_s) == []
        ground.passes(AFTER_PASSES)
        assert says_too_little(ground.spent(), ground.runs(), ground.real_s) == []
        assert ground.violations() == []
    finally:
        ground.close()
