"""H24: disk full, I/O error, read-only remount, a ledger cut short or with a bit turned over.

No pump second without an intent that is sure to be on disk, wherever the disk fails; and a ledger that cannot be
believed is no fresh allowance.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

from daemon.dose.ledger import LedgerError, LedgerFault
from daemon.dose.windows import DAY_S
from daemon.service import CANNOT_START
from sim_hw.pins import Edge
from sim_hw.world import World
from tests.hazards.disk import (
    SQLITE_FULL,
    SQLITE_IOERR_FSYNC,
    SQLITE_IOERR_WRITE,
    Images,
    Step,
    lay_out,
    watched,
)
from tests.hazards.ground import (
    DAY_CAP_ML,
    DOSE_CAP_ML,
    FRESH,
    PASSES_TO_A_DOSE,
    Ground,
    given_ml,
    says_too_little,
)

Note = Callable[[str, object], None]
ALL = os.environ.get("EVENWATER_ALL") == "1"
HEALED_PASSES = 8  # a broken ledger is read again within five minutes, and a dose may come three passes later
SOME_COMMITS = 40  # passes in which the ledger records a few times that time goes by
OF_SQLITE = ("write", "cut", "sync", "delete")


@dataclass(frozen=True)
class Failing:
    """A way for a disk to fail at one step, and whether it goes on failing."""

    name: str
    code: int
    for_good: bool
    only: tuple[str, ...] = OF_SQLITE

    def fails(self, what: str, count: int, n: int) -> bool:
        return what in self.only and (count >= n if self.for_good else count == n)


WAYS = (
    Failing("one bad write", SQLITE_IOERR_WRITE, for_good=False),
    Failing("bad writes", SQLITE_IOERR_WRITE, for_good=True, only=("write", "cut")),
    Failing("bad syncs", SQLITE_IOERR_FSYNC, for_good=True, only=("sync",)),
    Failing("full for once", SQLITE_FULL, for_good=False, only=("write",)),
    Failing("full", SQLITE_FULL, for_good=True, only=("write",)),
)


class Trial:
    """One run on a disk that fails at the n-th thing SQLite does to it; 0: never."""

    def __init__(self, ground: Ground, way: Failing, n: int) -> None:
        self.ground, self.way, self.n = ground, way, n
        self.count = self.failed = self.risen = 0
        self.unwritten: list[str] = []
        self.images = Images(ground.folder)
        for name, content in FRESH.items():
            self(what="put", path=str(ground.folder / name), content=content)
            self(what="sync names", path=str(ground.folder))

    def __call__(self, what: str, path: str, offset: int = 0, content: bytes = b"", about: str = "") -> int:
        """A step on the disk, or the error in its place."""
        is_ledgers = path.startswith(str(self.ground.folder / "ledger.db")) and what in OF_SQLITE
        self.count += is_ledgers
        if is_ledgers and self.way.fails(what, self.count, self.n):
            self.failed += 1
            return self.way.code
        self.images.take(Step(0.0, what, path, about, offset, content))
        return 0

    def rises(self) -> None:
        """The pump's line is about to go high: its intent must be on disk, come what may."""
        self.risen += 1
        with closing(second_reader(self.images.without_power(), self.ground.folder.parent / "second")) as db:
            ((number, outcome),) = db.execute("SELECT number, outcome FROM entries ORDER BY number DESC LIMIT 1")
        if (outcome, number >= self.risen) != ("open", True):
            self.unwritten.append(f"run {self.risen}: the newest line is {number}, {outcome}")


def second_reader(files: dict[str, bytes], folder: Path) -> sqlite3.Connection:
    """What is sure to be on disk, as anybody else would read it."""
    lay_out(files, folder)
    return sqlite3.connect(folder / "ledger.db")


def tried(way: Failing, n: int) -> tuple[Trial, str]:
    """The program from an empty folder through its first two doses; and how it refused to start, if it did."""
    ground = Ground()
    trial = Trial(ground, way, n)
    refused = ""
    tell = World.tell

    def watched_tell(world: World, line: int, high: bool) -> None:
        if high:
            trial.rises()
        tell(world, line, high)

    try:
        with pytest.MonkeyPatch.context() as patch, watched(trial):
            patch.setattr(World, "tell", watched_tell)
            try:
                ground.start(trusted=True)
            except CANNOT_START as error:
                refused = str(error)
            else:
                ground.passes(1)  # a broken ledger is read again in it
                ground.ask("clear")
                ground.passes(PASSES_TO_A_DOSE + HEALED_PASSES)
                assert says_too_little(ground.spent(), ground.runs(), ground.real_s) == []
                ground.stop()
        assert trial.unwritten == []
        assert ground.violations() == []
        assert trial.risen == len(ground.runs())
    finally:
        ground.close()
    return trial, refused


@cache
def steps_of_a_sound_run() -> int:
    """How many things SQLite does to the ledger's files in it."""
    sound, refused = tried(WAYS[0], 0)
    assert (refused, sound.failed) == ("", 0)
    assert sound.risen >= 2
    return sound.count


def test_at_whichever_step_the_disk_fails_no_pump_turns_without_its_intent(record_property: Note) -> None:
    """For every n: refused at the start with a next step, or no run that a power cut could have forgotten."""
    doses, found, runs = [], 0, 0
    for n in range(1, steps_of_a_sound_run() + 1):
        for number, way in enumerate(WAYS):
            if ALL or number in (n % len(WAYS), 0):
                trial, refused = tried(way, n)
                assert not refused or (trial.risen == 0 and "ledger.db" in refused)
                doses.append(trial.risen)
                found += bool(trial.failed)
                runs += 1
    record_property(
        "figure", f"{steps_of_a_sound_run()} steps, {runs} runs, {found} with errors, {sum(doses)} doses"
    )
    assert found >= 0.9 * runs
    assert max(doses) >= 2 > min(doses)


@pytest.fixture
def ground() -> Iterator[Ground]:
    """One reservoir, in memory where there is such a place."""
    ground = Ground()
    yield ground
    ground.close()


def test_a_disk_remounted_read_only_stops_dosing_until_it_is_writable(ground: Ground) -> None:
    """The ledger says so and all counts as spent; once it can be written, dosing comes back by itself."""
    is_read_only = False

    def watch(what: str, path: str, offset: int = 0, content: bytes = b"", about: str = "") -> int:
        return SQLITE_IOERR_WRITE if is_read_only else 0

    with watched(watch) as door:
        service = ground.start(trusted=True)
        ground.passes(PASSES_TO_A_DOSE)
        before = len(ground.runs())
        assert before == 1
        door.read_only = is_read_only = True
        state = ground.passes(40)
        assert len(ground.runs()) == before
        assert not ground.spent().ok
        assert service.ledger.fault is not None
        assert service.ledger.fault.fault in (LedgerFault.READ_ONLY, LedgerFault.DISK, LedgerFault.CANNOT_OPEN)
        assert "ledger" in {alarm.kind for alarm in state.alarms}
        door.read_only = is_read_only = False
        ground.passes(HEALED_PASSES)
        ground.ask("clear")
        ground.passes(PASSES_TO_A_DOSE)
        assert ground.spent().ok
        assert len(ground.runs()) > before
        assert says_too_little(ground.spent(), ground.runs(), ground.real_s) == []
        ground.stop()
    assert ground.violations() == []


# A ledger that was spoiled while nobody had it open


@dataclass(frozen=True)
class Spent:
    """A state folder whose ledger has the whole day's cap spent, and the runs that spent it."""

    files: dict[str, bytes]
    at_s: float
    edges: tuple[Edge, ...]


@cache
def spent(how: str) -> Spent:
    """Spent within hours, the program then `stopped` in good order, `killed` later, or `killed in a run`."""
    ground = Ground()
    ground.start(trusted=True)
    while ground.spent().day_ml < (DAY_CAP_ML - DOSE_CAP_ML if how == "killed in a run" else DAY_CAP_ML):
        ground.passes(1)
    if how == "stopped":
        ground.stop()
    elif how == "killed":
        ground.passes(SOME_COMMITS)
        ground.die()
    else:
        assert ground.die_in_a_run(within=100)
    files = {path.name: path.read_bytes() for path in ground.folder.iterdir() if path.is_file()}
    found = Spent(files, ground.real_s, tuple(ground.edges()))
    ground.close()
    return found


def spoiled(name: str, content: bytes) -> Iterator[tuple[str, bytes]]:
    """The file cut at each page and a little beside it, and with one bit turned over at places all through it."""
    for page in range(0, len(content), 4096):
        for size in {page, max(0, page - 1), page + 100}:
            yield f"{name} cut to {size} bytes", content[:size]
    yield f"{name} emptied", b""
    for place in range(0, len(content), 7 if ALL else 797):
        turned = content[place] ^ 1 << place % 8
        yield f"{name} bit turned at {place}", content[:place] + bytes([turned]) + content[place + 1 :]


# What a spoiled -wal file may cost: the line of a dose that was running, which is not in the ledger proper yet.
FORGIVEN_ML = {"stopped": 0.0, "killed": 0.0, "killed in a run": DOSE_CAP_ML}


@pytest.mark.parametrize("how", FORGIVEN_ML)
def test_a_spoiled_ledger_is_no_fresh_allowance(how: str, record_property: Note) -> None:
    """Cut short or with a bit turned over anywhere: it is refused, with what to do; or it says what was spent."""
    before, said, tried_ones, wrong = spent(how), [], 0, []
    for name in ("ledger.db", "ledger.db-wal"):
        for spoil, content in spoiled(name, before.files.get(name, b"")):
            tried_ones += 1
            ground = Ground(files={**before.files, name: content}, at_s=before.at_s, edges=before.edges)
            if trouble := what_it_says(ground):
                said.append(trouble)
            if not given_ml(ground.runs(), ground.real_s - DAY_S) <= DAY_CAP_ML + FORGIVEN_ML[how]:
                wrong.append(spoil)
            ground.close()
    record_property("figure", f"{how}: {tried_ones} spoiled, {len(said)} refused, {len(wrong)} over the cap")
    assert wrong == []
    assert len(said) > 10
    assert all("ledger.db" in each for each in said)


def what_it_says(ground: Ground) -> str:
    """What the program says against the ledger it finds, at the start or through some passes; else nothing."""
    try:
        service = ground.start(trusted=True)
    except LedgerError as error:
        return str(error)
    ground.passes(2 * PASSES_TO_A_DOSE)
    return "" if service.ledger.fault is None else str(service.ledger.fault)
