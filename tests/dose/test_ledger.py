"""The ledger: durable before the pump, charged in full, strict about time, clear about what is wrong."""

from __future__ import annotations

import json
import os
import resource
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace
from datetime import timedelta
from math import inf, nan
from pathlib import Path
from shutil import copyfile
from typing import Any

import pytest

from daemon.dose import ledger_file
from daemon.dose.ledger import Ledger, LedgerError, LedgerFault
from daemon.dose.windows import SPENT
from daemon.values import DoseReason, Outcome, Role
from tests.dose.ledgers import day_ml, opened, permitted
from tests.strategies import NOON, request, stamp


class TestDoses:
    """Intents and outcomes."""

    def test_an_intent_is_on_disk_before_it_returns(self, tmp_path: Path, book: Ledger) -> None:
        """Another connection sees the whole line at once, still open, and commits are fully synchronous."""
        number = book.intend(permitted(), stamp(10.0))
        other = sqlite3.connect(tmp_path / "ledger.db")
        line = other.execute("SELECT number, reservoir, pump, ml, run_s, reason, outcome, version FROM entries")
        assert line.fetchall() == [(number, "bed1", "ph_down", 4.0, 4.0, "ph_high", "open", "0.1.0")]
        other.close()
        assert book._db.execute("PRAGMA journal_mode").fetchone() == ("wal",)
        assert book._db.execute("PRAGMA synchronous").fetchone() == (2,)

    def test_an_intent_is_charged_before_its_outcome(self, book: Ledger) -> None:
        """From the intent on, the amount counts, with the time since the planned end of its run."""
        book.intend(permitted(), stamp(10.0))
        got = book.totals("bed1", Role.PH_DOWN, stamp(20.0))
        assert (got.hour_ml, got.day_ml, got.since_pump_s, got.since_any_s) == (4.0, 4.0, 6.0, 6.0)
        assert book.totals("bed1", Role.PH_UP, stamp(20.0)).since_opposite_s == 6.0

    @pytest.mark.parametrize("outcome", [Outcome.DONE, Outcome.CUT_SHORT, Outcome.FAILED])
    def test_every_outcome_stays_charged_in_full(self, tmp_path: Path, book: Ledger, outcome: Outcome) -> None:
        """However a run ended, its charge stays, also after opening again."""
        book.settle(book.intend(permitted(), stamp(10.0)), outcome, "why")
        assert day_ml(book, stamp(20.0)) == 4.0
        book.close()
        again = opened(tmp_path, stamp(20.0))
        assert day_ml(again, stamp(20.0)) == 4.0
        assert (again.recent(1)[0].outcome, again.recent(1)[0].note) == (outcome, "why")
        assert again.left_open == ()
        again.close()

    def test_an_intent_without_outcome_is_found_and_charged_in_full(self, tmp_path: Path, book: Ledger) -> None:
        """After a crash in the middle of a run, the dose is listed as left open and counts whole."""
        number = book.intend(permitted(7.0), stamp(10.0))
        book.close()
        again = opened(tmp_path, stamp(0.0, boot="boot-2"))
        assert [entry.number for entry in again.left_open] == [number]
        assert day_ml(again, stamp(5.0, boot="boot-2")) == 7.0
        again.close()

    def test_who_asked_is_written_before_the_pump_turns(self, tmp_path: Path, book: Ledger) -> None:
        """A crash in the middle forgets neither the dose nor the person; what went wrong stands behind."""
        first, second = (book.intend(permitted(), stamp(at_s), "local, page") for at_s in (10.0, 20.0))
        book.settle(second, Outcome.CUT_SHORT, "stopped")
        book.close()
        again = opened(tmp_path, stamp(0.0, boot="boot-2"))
        assert [(entry.number, entry.note) for entry in again.left_open] == [(first, "local, page")]
        assert again.recent(2)[0].note == "local, page; stopped"
        again.close()

    def test_a_settled_dose_is_in_the_ledger_itself(self, tmp_path: Path, book: Ledger) -> None:
        """Whatever becomes of the -wal file after a kill, where no checksum of ours would miss a line."""
        book.settle(book.intend(permitted(), stamp(10.0)), Outcome.DONE)
        book.lock("bed1", "no effect", "daemon", stamp(20.0))
        (tmp_path / "killed").mkdir()
        copyfile(tmp_path / "ledger.db", tmp_path / "killed" / "ledger.db")
        again = opened(tmp_path / "killed", stamp(30.0))
        assert day_ml(again, stamp(30.0)) == 4.0
        assert again.standing("bed1", stamp(30.0)) is not None
        again.close()

    def test_a_dose_ends_once(self, book: Ledger) -> None:
        """Settling an unknown line, or one twice, is an error and leaves the ledger in use."""
        number = book.intend(permitted(), stamp(10.0))
        book.settle(number, Outcome.DONE)
        for wrong in (number, number + 1):
            with pytest.raises(ValueError, match="not an open dose"):
                book.settle(wrong, Outcome.FAILED)
        assert book.recent(1)[0].outcome is Outcome.DONE
        assert book.fault is None

    @pytest.mark.parametrize(
        ("ml", "run_s"), [(0.0, 1.0), (-1.0, 1.0), (nan, 1.0), (inf, 1.0), (1.0, 0.0), (1.0, nan), (1.0, inf)]
    )
    def test_only_a_sound_permit_is_written(self, book: Ledger, ml: float, run_s: float) -> None:
        """An amount or a time that is not finite and above zero is refused before anything is written."""
        with pytest.raises(ValueError, match="must be finite and above 0"):
            book.intend(permitted(ml, run_s=run_s), stamp(10.0))
        assert (book.recent(5), book.fault) == ((), None)

    def test_entries_come_back_as_they_were_written(self, book: Ledger) -> None:
        """Newest first, with the numbers of request and permit, the clocks, and the reservoir asked for."""
        book.intend(permitted(1.0), stamp(10.0))
        bed2 = replace(permitted(2.0), request=replace(request(2.0), reservoir="bed2", reason=DoseReason.PH_LOW))
        book.intend(bed2, stamp(20.0, trusted=True))
        newest, oldest = book.recent(5)
        assert (newest.reservoir, newest.ml, newest.reason, newest.at_s) == ("bed2", 2.0, DoseReason.PH_LOW, 20.0)
        assert (newest.utc, newest.utc_trusted, newest.boot_id) == (NOON + timedelta(seconds=20), True, "boot-1")
        assert newest.numbers == {"ph": 6.4, "per_hour_room_ml": 20.0}
        assert (oldest.number, newest.number, oldest.utc_trusted) == (1, 2, False)
        assert [entry.ml for entry in book.recent(5, "bed1")] == [1.0]
        assert book.recent(1) == (newest,)

    def test_recent_follows_what_is_written(self, book: Ledger) -> None:
        """A list once read is not shown again after a new dose or outcome."""
        assert book.recent(3) == ()
        number = book.intend(permitted(), stamp(10.0))
        assert [entry.outcome for entry in book.recent(3)] == [Outcome.OPEN]
        book.settle(number, Outcome.DONE)
        assert [entry.outcome for entry in book.recent(3)] == [Outcome.DONE]

    def test_export_gives_every_column_of_every_dose(self, book: Ledger) -> None:
        """Oldest first, version and boot with each."""
        for at_s in (10.0, 20.0):
            book.intend(permitted(), stamp(at_s))
        rows = list(book.export())
        assert [row["number"] for row in rows] == [1, 2]
        assert {"ml", "run_s", "reason", "numbers", "at_s", "utc", "utc_trusted", "boot_id"} <= set(rows[0])
        assert rows[0]["version"] == "0.1.0"
        assert json.loads(rows[0]["numbers"])["ph"] == 6.4

    def test_a_refill_is_remembered(self, tmp_path: Path, book: Ledger) -> None:
        """What left the bottle since it was full, also after opening again; caps are untouched."""
        book.intend(permitted(4.0), stamp(10.0))
        book.refill("bed1", Role.PH_DOWN, "Ana", stamp(20.0))
        book.intend(permitted(3.0), stamp(30.0))
        assert book.totals("bed1", Role.PH_DOWN, stamp(40.0)).since_refill_ml == 3.0
        book.close()
        again = opened(tmp_path, stamp(40.0))
        got = again.totals("bed1", Role.PH_DOWN, stamp(40.0))
        assert (got.since_refill_ml, got.day_ml) == (3.0, 7.0)
        again.close()


def full_by_pages(ledger: Ledger) -> None:
    """Let the file grow no further."""
    ledger._db.execute("PRAGMA max_page_count = 1")


def read_only(ledger: Ledger) -> None:
    """Refuse every write, as a disk remounted read-only does (root passes file permissions)."""
    ledger._db.execute("PRAGMA query_only = ON")


def moved(ledger: Ledger) -> None:
    """Take the file away and put another in its place."""
    ledger.path.rename(ledger.path.with_name("elsewhere.db"))
    ledger.path.touch()


def changed(ledger: Ledger) -> None:
    """Write to the file behind the ledger's back."""
    other = sqlite3.connect(ledger.path)
    other.execute("UPDATE entries SET note = 'mine'")
    other.commit()
    other.close()


def busy(ledger: Ledger) -> None:
    """Hold the file by a connection that has begun to write, until the ledger goes away."""
    other = sqlite3.connect(ledger.path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    _held.append(other)


_held: list[sqlite3.Connection] = []


@pytest.fixture
def _let_go() -> Iterator[None]:
    yield
    while _held:
        _held.pop().close()


FAILURES = [
    (read_only, LedgerFault.READ_ONLY, "read-only"),
    (moved, LedgerFault.MOVED, "no longer where"),
    (changed, LedgerFault.CHANGED, "another program"),
    (busy, LedgerFault.BUSY, "held by another program"),
    (full_by_pages, LedgerFault.DISK_FULL, "disk is full"),
]


def write_on(ledger: Ledger) -> None:
    """Doses until one cannot be written; a file does not notice at once that it may not grow."""
    for i in range(200):
        ledger.intend(permitted(), stamp(20.0 + i))


@pytest.mark.usefixtures("_let_go")
@pytest.mark.parametrize(("fail", "fault", "says"), FAILURES, ids=[fault for _, fault, _ in FAILURES])
def test_a_failed_write_breaks_the_ledger_until_it_is_read_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fail: Callable[[Ledger], None], fault: LedgerFault, says: str
) -> None:
    """No number comes back, the message names file and cause, and from then on everything counts as spent."""
    monkeypatch.setattr(ledger_file, "BUSY_S", 0.01)
    book = opened(tmp_path)
    book.intend(permitted(), stamp(10.0))
    fail(book)
    with pytest.raises(LedgerError, match=says) as caught:
        write_on(book)
    assert caught.value.fault is fault
    assert str(tmp_path / "ledger.db") in str(caught.value)
    assert book.totals("bed1", Role.PH_DOWN, stamp(1e9)) is SPENT
    with pytest.raises(LedgerError, match=says):
        book.intend(permitted(), stamp(1e9))
    book.close()


def test_a_broken_ledger_takes_nothing_even_once_the_cause_is_gone(book: Ledger) -> None:
    """What it knows may no longer be what the file says: first it is read again."""
    read_only(book)
    with pytest.raises(LedgerError):
        book.intend(permitted(), stamp(10.0))
    book._db.execute("PRAGMA query_only = OFF")
    with pytest.raises(LedgerError, match="read-only"):
        book.intend(permitted(), stamp(20.0))
    book.reopen(stamp(30.0))
    assert book.recent(5) == ()


def test_reading_again_heals_a_broken_ledger(book: Ledger) -> None:
    """Once the cause is gone, the file is read afresh and what it says counts."""
    book.intend(permitted(), stamp(10.0))
    read_only(book)
    with pytest.raises(LedgerError):
        book.intend(permitted(), stamp(20.0))
    book.reopen(stamp(30.0))
    assert (book.fault, day_ml(book, stamp(40.0))) == (None, 4.0)
    book.intend(permitted(), stamp(50.0))
    assert day_ml(book, stamp(60.0)) == 8.0


def test_reading_again_stays_broken_while_the_cause_lasts(book: Ledger) -> None:
    """A file that is gone for good keeps everything spent."""
    book.path.write_bytes(b"not a ledger at all, but long enough to be looked at" * 50)
    for side in ("-wal", "-shm"):
        book.path.with_name(book.path.name + side).unlink(missing_ok=True)
    for _ in range(2):
        with pytest.raises(LedgerError):
            book.reopen(stamp(30.0))
        assert book.totals("bed1", Role.PH_DOWN, stamp(1e9)) is SPENT


def test_a_disk_that_fills_up_for_real(tmp_path: Path) -> None:
    """With a limit on file size set by the system, the write that passes it fails and nothing before is lost."""
    book = opened(tmp_path)
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    written, failed = 0.0, False
    resource.setrlimit(resource.RLIMIT_FSIZE, (60_000, hard))
    try:
        for i in range(100):
            book.intend(permitted(1.0), stamp(float(i)))
            written += 1.0
    except LedgerError:
        failed = True
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert failed
    assert written > 0.0
    book.close()
    again = opened(tmp_path, stamp(100.0))
    assert day_ml(again, stamp(100.0)) >= written
    again.close()


class _FailingConnection(sqlite3.Connection):
    """A connection whose n-th statement fails as a bad disk makes it fail, and every one after."""

    left = 10**9

    def execute(self, *args: Any) -> sqlite3.Cursor:
        type(self).left -= 1
        if type(self).left < 0:
            raise sqlite3.OperationalError("disk I/O error")
        return super().execute(*args)


def test_whichever_statement_fails_no_number_comes_back_without_a_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """For every n, with the n-th statement failing: a number returned is a line on disk, else it is refused."""
    connect = sqlite3.connect
    monkeypatch.setattr(
        sqlite3, "connect", lambda *args, **named: connect(*args, **named, factory=_FailingConnection)
    )
    opened(tmp_path).close()
    whole, faults = (tmp_path / "ledger.db").read_bytes(), []
    for n in range(50):
        (tmp_path / "ledger.db").write_bytes(whole)
        _FailingConnection.left = n
        numbers: list[int] = []
        try:
            with closing(opened(tmp_path)) as book:
                numbers += [book.intend(permitted(), stamp(10.0))]
                numbers += [book.intend(permitted(), stamp(20.0))]
        except LedgerError as error:
            faults.append(error.fault)
        _FailingConnection.left = 10**9
        with closing(opened(tmp_path, stamp(100.0))) as book:
            assert day_ml(book, stamp(100.0)) >= 4.0 * len(numbers)
    assert 20 < len(faults) < 50
    assert set(faults) == {LedgerFault.DISK}


def test_an_interrupt_between_file_and_memory_leaves_it_broken(book: Ledger) -> None:
    """A signal in the middle of a write is not mistaken for success."""

    def interrupt(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    book._tally.charge = interrupt  # type: ignore[method-assign]
    with pytest.raises(KeyboardInterrupt):
        book.intend(permitted(), stamp(10.0))
    assert book.totals("bed1", Role.PH_DOWN, stamp(20.0)) is SPENT
    book.reopen(stamp(30.0))
    assert book.totals("bed1", Role.PH_DOWN, stamp(40.0)).ok


_KILLED = """
import os, signal, sys
from pathlib import Path
from shutil import copyfile
from daemon.dose.ledger import Ledger
from tests.dose.ledgers import permitted
from tests.strategies import stamp
book = Ledger(Path(sys.argv[1]), stamp(0.0), version="0.1.0")
for i in range(5):
    book.settle(book.intend(permitted(2.0), stamp(10.0 * i)), "done")
print(book.intend(permitted(3.0), stamp(60.0)), flush=True)
os.kill(os.getpid(), signal.SIGKILL)
"""


def test_kill_in_the_middle_of_a_dose_counts_it_as_delivered(tmp_path: Path) -> None:
    """A process killed outright after its intent: the dose is there, open, and charged in full."""
    path = tmp_path / "ledger.db"
    done = subprocess.run(
        [sys.executable, "-c", _KILLED, str(path)],
        capture_output=True,
        text=True,
        check=False,
        cwd=Path(__file__).parents[2],
        env={**os.environ, "PYTHONPATH": "."},
    )
    assert (done.returncode, done.stdout) == (-signal.SIGKILL, "6\n"), done.stderr
    again = opened(tmp_path, stamp(0.0, boot="b"))
    assert [(entry.number, entry.ml) for entry in again.left_open] == [(6, 3.0)]
    assert day_ml(again, stamp(1.0, boot="b")) == 13.0
    again.close()


class TestBackup:
    """A copy while in use."""

    def test_a_backup_is_a_whole_ledger(self, tmp_path: Path, book: Ledger) -> None:
        """One file that opens by itself and says the same; the original goes on."""
        book.intend(permitted(), stamp(10.0))
        copy = tmp_path / "copy"
        copy.mkdir()
        for _ in range(2):
            book.backup(copy / "ledger.db")
        assert [path.name for path in copy.iterdir()] == ["ledger.db"]
        again = opened(copy, stamp(20.0))
        assert day_ml(again, stamp(20.0)) == 4.0
        again.close()
        book.intend(permitted(), stamp(30.0))
        assert day_ml(book, stamp(40.0)) == 8.0

    def test_a_backup_that_fails_leaves_ledger_and_older_copy(self, tmp_path: Path, book: Ledger) -> None:
        """A folder that is not there is named, and the ledger stays in use."""
        with pytest.raises(LedgerError, match="nowhere"):
            book.backup(tmp_path / "nowhere" / "copy.db")
        with pytest.raises(ValueError, match="the ledger itself"):
            book.backup(tmp_path / "." / "ledger.db")
        assert book.fault is None
        book.intend(permitted(), stamp(10.0))


def test_closing_twice_is_harmless_and_final(book: Ledger) -> None:
    """After closing, nothing is left to spend and nothing can be read."""
    book.close()
    book.close()
    assert book.totals("bed1", Role.PH_DOWN, stamp(0.0)) is SPENT
    with pytest.raises(LedgerError, match="is closed"):
        book.intend(permitted(), stamp(0.0))
    with pytest.raises(LedgerError, match="is closed"):
        book.recent(1)
