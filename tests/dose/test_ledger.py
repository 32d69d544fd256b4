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
from daemon.dose.ledger_time import KEEP_TIME_EVERY_S, stamp_of
from daemon.dose.windows import DAY_S, HOUR_S, RUN_MARGIN_S, SPENT, Stamp
from daemon.measure.rate import Tube
from daemon.values import Condition, DoseReason, Outcome, Permit, Role
from tests.strategies import NOON, request, stamp


def permitted(ml: float = 4.0, pump: Role = Role.PH_DOWN, run_s: float = 4.0) -> Permit:
    """A permit for bed1."""
    return Permit(request(ml, pump), ml, run_s, numbers={"per_hour_room_ml": 20.0})


def opened(path: Path, at: Stamp | None = None) -> Ledger:
    """The ledger in a folder, opened at the start of boot-1 unless said."""
    return Ledger(path / "ledger.db", at or stamp(0.0), version="0.1.0")


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Ledger]:
    """A new ledger, closed in the end."""
    ledger = opened(tmp_path)
    yield ledger
    ledger.close()


def day_ml(ledger: Ledger, at: Stamp, pump: Role = Role.PH_DOWN) -> float:
    """What bed1's pump is charged with in the last 24 h."""
    return ledger.totals("bed1", pump, at).day_ml


class TestGiven:
    """What usual days are reckoned from."""

    def test_doses_of_one_pump_in_proven_time(self, tmp_path: Path, book: Ledger) -> None:
        """Oldest first, priming and other pumps left out, also of the boot before."""
        book.intend(permitted(), stamp(10.0))
        book.intend(permitted(3.0, Role.PH_UP), stamp(20.0))
        primed = request(2.0, reason=DoseReason.PRIME)
        book.intend(Permit(primed, 2.0, 2.0), stamp(30.0))
        assert book.given("bed1", Role.PH_DOWN) == ((14.0, 4.0),)
        book.close()
        after = opened(tmp_path, stamp(5.0, boot="boot-2"))
        after.intend(permitted(6.0), stamp(15.0, boot="boot-2"))
        assert after.given("bed1", Role.PH_DOWN) == ((14.0, 4.0), (30.0 + 10.0 + 4.0, 6.0))
        assert after.given("bed1", Role.STOCK_A) == ()
        after.close()

    def test_the_last_lock_that_a_person_cleared(self, book: Ledger) -> None:
        """In proven time, when it began; one that stands is not cleared, and a hold is no lock."""
        assert book.cleared_s("bed1") == -inf
        book.lock("bed1", "stop", "evenwater", stamp(40.0))
        assert book.cleared_s("bed1") == -inf
        book.clear("bed1", "local", stamp(90.0))
        book.hold("bed1", "work", "local", stamp(100.0))
        book.release("bed1", "local", stamp(110.0))
        assert book.cleared_s("bed1") == 40.0
        assert book.cleared_s("bed2") == -inf

    def test_new_water_begins_anew(self, tmp_path: Path, book: Ledger) -> None:
        """What went into the old one no longer counts; a bottle does not get full by it."""
        assert book.water("bed1") is None
        book.intend(permitted(), stamp(10.0))
        book.intend(permitted(30.0, Role.STOCK_A), stamp(20.0))
        water = book.water("bed1")
        assert water is not None
        assert (water.after_entry, water.utc, water.stock_a_ml) == (0, stamp(10.0).utc, 30.0)
        book.change_water("bed1", "local", stamp(100.0))
        book.close()
        after = opened(tmp_path, stamp(150.0))
        after.intend(permitted(6.0), stamp(200.0))
        assert after.given("bed1", Role.PH_DOWN) == ((204.0, 6.0),)
        assert after.totals("bed1", Role.PH_DOWN, stamp(300.0)).since_refill_ml == 10.0
        water = after.water("bed1")
        assert water is not None
        assert (water.after_entry, water.utc, water.stock_a_ml) == (2, stamp(100.0).utc, 0.0)
        after.close()

    def test_a_tube_counts_its_seconds_from_when_it_was_put_in(self, tmp_path: Path, book: Ledger) -> None:
        """Each pump's own; also after a restart; the bottle is not counted as full by it."""
        book.intend(permitted(6.0), stamp(10.0))
        assert book.tube("bed1", Role.PH_DOWN) == Tube(0, "", 4.0)
        assert book.tube("bed1", Role.PH_UP) == Tube(0, "", 0.0)
        book.change_tube("bed1", Role.PH_DOWN, "local", stamp(100.0))
        assert book.tube("bed1", Role.PH_DOWN).run_s == 0.0
        book.intend(permitted(6.0), stamp(200.0))
        book.close()
        after = opened(tmp_path, stamp(250.0))
        day = stamp(100.0).utc.date().isoformat()
        assert after.tube("bed1", Role.PH_DOWN) == Tube(1, day, 4.0)
        assert after.tube("bed2", Role.PH_DOWN) == Tube(0, "", 0.0)
        assert after.totals("bed1", Role.PH_DOWN, stamp(300.0)).since_refill_ml == 12.0
        after.close()

    def test_without_the_file_nothing_is_told(self, book: Ledger) -> None:
        """It says that it is closed."""
        book.close()
        with pytest.raises(LedgerError):
            book.given("bed1", Role.PH_DOWN)


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


class TestTime:
    """Windows in proven time, whatever the clocks do."""

    def test_a_dose_leaves_the_windows_by_the_monotonic_clock(self, book: Ledger) -> None:
        """Counted for an hour and a day after its run, plus the margin, in one boot."""
        book.intend(permitted(run_s=4.0), stamp(10.0))
        for window_s, which in ((HOUR_S, "hour_ml"), (DAY_S, "day_ml")):
            end_s = 14.0 + window_s + RUN_MARGIN_S
            assert getattr(book.totals("bed1", Role.PH_DOWN, stamp(end_s)), which) == 4.0
            assert getattr(book.totals("bed1", Role.PH_DOWN, stamp(end_s + 1.0)), which) == 0.0

    def test_a_hundred_restarts_a_day_without_network_free_nothing(self, tmp_path: Path) -> None:
        """Boots of 14 minutes that each claim another year: the dose counts until proven old."""
        ledger = opened(tmp_path)
        ledger.intend(permitted(), stamp(1.0))
        ledger.close()
        for i in range(100):
            boot, utc = f"boot-{i}", NOON + timedelta(days=365 * (i % 21 - 10))
            ledger = opened(tmp_path, stamp(0.0, boot=boot, utc=utc))
            ledger.keep_time(stamp(840.0, boot=boot, utc=utc))
            assert day_ml(ledger, stamp(840.0, boot=boot, utc=utc)) == 4.0
            ledger.close()

    def test_proven_uptime_adds_up_over_boots_and_frees_the_budget(self, tmp_path: Path) -> None:
        """Boots of two hours each, kept every quarter hour: after thirteen of them a day is proven."""
        ledger = opened(tmp_path)
        ledger.intend(permitted(), stamp(1.0))
        ledger.close()
        left = []
        for i in range(13):
            boot = f"boot-{i}"
            ledger = opened(tmp_path, stamp(3.0, boot=boot))
            for at_s in range(3, 7204, 100):
                ledger.keep_time(stamp(float(at_s), boot=boot))
            left.append(day_ml(ledger, stamp(7203.0, boot=boot)))
            ledger.close()
        assert left[:11] == [4.0] * 11
        assert left[-1] == 0.0

    def test_a_synchronised_night_off_frees_the_budget(self, tmp_path: Path) -> None:
        """Wall clock synchronised before and after 25 hours without power: the dose is old."""
        ledger = opened(tmp_path, stamp(0.0, trusted=True))
        ledger.intend(permitted(), stamp(10.0, trusted=True))
        ledger.close()
        utc = NOON + timedelta(hours=25)
        ledger = opened(tmp_path, stamp(0.0, boot="b", utc=utc, trusted=False))
        assert day_ml(ledger, stamp(1.0, boot="b", utc=utc)) == 4.0
        ledger.keep_time(stamp(60.0, boot="b", utc=utc + timedelta(seconds=60), trusted=True))
        assert day_ml(ledger, stamp(61.0, boot="b")) == 0.0
        ledger.close()
        ledger = opened(tmp_path, stamp(70.0, boot="b"))
        assert day_ml(ledger, stamp(71.0, boot="b")) == 0.0
        ledger.close()

    def test_a_step_takes_the_credit_back(self, tmp_path: Path) -> None:
        """If the clock that vouched for the night then steps, the dose counts again."""
        ledger = opened(tmp_path, stamp(0.0, trusted=True))
        ledger.intend(permitted(), stamp(10.0, trusted=True))
        ledger.close()
        utc = NOON + timedelta(hours=25)
        ledger = opened(tmp_path, stamp(0.0, boot="b", utc=utc, trusted=True))
        assert day_ml(ledger, stamp(1.0, boot="b")) == 0.0
        ledger.keep_time(stamp(2.0, boot="b", utc=NOON, trusted=True))
        assert day_ml(ledger, stamp(3.0, boot="b")) == 4.0
        ledger.close()

    def test_a_wall_step_within_a_boot_frees_nothing(self, book: Ledger) -> None:
        """Ten years forward by a clock that claims to be synchronised: still counted."""
        book.keep_time(stamp(0.0, trusted=True))
        book.intend(permitted(), stamp(10.0))
        late = stamp(20.0, utc=NOON + timedelta(days=3650), trusted=True)
        book.keep_time(late)
        assert day_ml(book, late) == 4.0

    @pytest.mark.parametrize("odd", [stamp(1e9, boot="other"), stamp(5.0)])
    def test_a_foreign_or_backward_clock_proves_nothing(self, book: Ledger, odd: Stamp) -> None:
        """A stamp of another boot, or from before the last record, does not make a dose older."""
        book.intend(permitted(run_s=4.0), stamp(10.0))
        assert book.totals("bed1", Role.PH_DOWN, odd).since_pump_s == 0.0
        book.keep_time(odd)
        book.intend(permitted(), odd)
        assert book.recent(1)[0].at_s == 10.0
        assert day_ml(book, stamp(20.0)) == 8.0

    def test_time_is_written_down_now_and_then_only(self, book: Ledger) -> None:
        """A pass writes nothing until a quarter of an hour has gone by."""
        before = book._db.total_changes
        book.keep_time(stamp(KEEP_TIME_EVERY_S - 1.0))
        assert book._db.total_changes == before
        book.keep_time(stamp(KEEP_TIME_EVERY_S))
        assert book._db.total_changes > before


class TestConditions:
    """Holds and locks."""

    def test_nothing_stands_at_first(self, book: Ledger) -> None:
        """A new ledger holds nobody."""
        assert book.standing("bed1", stamp(0.0)) is None
        assert book.release("bed1", "Ana", stamp(0.0)) is False
        assert book.clear("bed1", "Ana", stamp(0.0)) is False

    def test_a_hold_survives_a_restart_until_released(self, tmp_path: Path, book: Ledger) -> None:
        """Who and why stay; the other reservoir is free; releasing is remembered too."""
        book.hold("bed1", "cleaning", "Ana", stamp(10.0))
        book.close()
        again = opened(tmp_path, stamp(0.0, boot="b"))
        held = again.standing("bed1", stamp(1.0, boot="b"))
        assert held is not None
        assert (held.condition, held.reason, held.who) == (Condition.HELD, "cleaning", "Ana")
        assert again.standing("bed2", stamp(1.0, boot="b")) is None
        assert again.release("bed1", "Ben", stamp(2.0, boot="b")) is True
        again.close()
        last = opened(tmp_path, stamp(3.0, boot="b"))
        assert last.standing("bed1", stamp(3.0, boot="b")) is None
        last.close()

    def test_a_timed_hold_ends_in_proven_time(self, tmp_path: Path, book: Ledger) -> None:
        """An hour's hold lasts an hour of uptime; time without power or a wall clock step does not shorten it."""
        held = book.hold("bed1", "cleaning", "Ana", stamp(0.0), for_s=3600.0)
        assert book.until(held, stamp(600.0)) == NOON + timedelta(hours=1)
        book.keep_time(stamp(900.0))
        book.close()
        late = NOON + timedelta(days=3650)
        again = opened(tmp_path, stamp(0.0, boot="b", utc=late))
        assert again.standing("bed1", stamp(2699.0, boot="b", utc=late)) is not None
        assert again.standing("bed1", stamp(2701.0, boot="b", utc=late)) is None
        again.close()

    def test_a_shorter_hold_does_not_shorten_a_longer_one(self, book: Ledger) -> None:
        """A minute asked during an open-ended hold leaves it; an open-ended one replaces an hour."""
        book.hold("bed1", "first", "Ana", stamp(0.0), for_s=3600.0)
        assert book.hold("bed1", "second", "Ben", stamp(1.0), for_s=60.0).reason == "first"
        assert book.hold("bed1", "third", "Ben", stamp(2.0)).reason == "third"
        assert book.hold("bed1", "fourth", "Ben", stamp(3.0), for_s=1e9).reason == "third"
        assert book.standing("bed1", stamp(1e7)) is not None

    @pytest.mark.parametrize("for_s", [0.0, -1.0, nan, inf])
    def test_a_hold_needs_a_sound_time(self, book: Ledger, for_s: float) -> None:
        """No time at all, or no number, is refused."""
        with pytest.raises(ValueError, match="must be finite"):
            book.hold("bed1", "x", "Ana", stamp(0.0), for_s=for_s)

    def test_it_knows_when_a_reservoir_was_locked(self, tmp_path: Path, book: Ledger) -> None:
        """The newest first, cleared ones too, over a restart; neither holds nor another reservoir's."""
        for at_s in (1.0, 2.0, 3.0):
            book.lock("bed1", "no effect", "daemon", stamp(at_s))
            book.clear("bed1", "Ana", stamp(at_s))
        book.hold("bed1", "cleaning", "Ana", stamp(4.0))
        book.lock("bed2", "wet", "daemon", stamp(5.0))
        first, second = book.locked_at_s("bed1", 2)
        assert first - second == pytest.approx(1.0)
        book.close()
        again = opened(tmp_path, stamp(6.0))
        assert len(again.locked_at_s("bed1", 9)) == 3
        assert len(again.locked_at_s("bed2", 9)) == 1
        again.close()

    def test_a_lock_keeps_its_first_reason_and_outranks_a_hold(self, tmp_path: Path, book: Ledger) -> None:
        """Later reasons do not replace the first; clearing the lock brings the hold back to light."""
        book.hold("bed1", "cleaning", "Ana", stamp(0.0))
        book.lock("bed1", "no effect", "daemon", stamp(1.0))
        assert book.lock("bed1", "other", "daemon", stamp(2.0)).reason == "no effect"
        book.release("bed1", "Ana", stamp(3.0))
        book.hold("bed1", "again", "Ana", stamp(3.5))
        book.close()
        again = opened(tmp_path, stamp(4.0))
        locked = again.standing("bed1", stamp(1e8))
        assert locked is not None
        assert (locked.condition, locked.reason) == (Condition.LOCKED, "no effect")
        assert again.clear("bed1", "Ana", stamp(1e8)) is True
        held = again.standing("bed1", stamp(1e8))
        assert held is not None
        assert held.reason == "again"
        again.close()

    def test_who_ended_it_stays_on_record(self, book: Ledger) -> None:
        """A cleared lock is a line with both names in the file."""
        book.lock("bed1", "no effect", "daemon", stamp(1.0))
        book.clear("bed1", "Ana", stamp(2.0))
        line = book._db.execute("SELECT reason, who, ended_by FROM conditions").fetchall()
        assert line == [("no effect", "daemon", "Ana")]

    def test_any_text_a_message_may_bring_is_kept_as_one_line(self, tmp_path: Path, book: Ledger) -> None:
        """Line breaks, half characters and floods of text neither break the ledger nor a terminal."""
        book.hold("bed1", "a\nb\x00\ud800" + "x" * 999, "Ana\t", stamp(0.0))
        book.close()
        again = opened(tmp_path, stamp(1.0))
        held = again.standing("bed1", stamp(1.0))
        assert held is not None
        assert held.reason.startswith("a b")
        assert len(held.reason) == 200
        again.close()

    def test_a_lock_that_cannot_be_written_holds_and_is_written_later(self, tmp_path: Path, book: Ledger) -> None:
        """With the disk read-only the lock is in force in memory; once it can be written, it is."""
        book._db.execute("PRAGMA query_only = ON")
        with pytest.raises(LedgerError):
            book.lock("bed1", "no effect", "daemon", stamp(1.0))
        assert book.standing("bed1", stamp(2.0)) is not None
        book.reopen(stamp(3.0))
        book.close()
        again = opened(tmp_path, stamp(4.0))
        locked = again.standing("bed1", stamp(5.0))
        assert locked is not None
        assert locked.reason == "no effect"
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
from tests.dose.test_ledger import permitted
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


class TestOpening:
    """What is wrong with the file, said clearly, and nothing changed in it."""

    def test_a_folder_that_is_not_there(self, tmp_path: Path) -> None:
        """The message says that it cannot be opened and to look at the folder."""
        with pytest.raises(LedgerError, match=r"missing/ledger\.db cannot be opened .*check that its folder"):
            opened(tmp_path / "missing")

    def test_a_folder_in_its_place(self, tmp_path: Path) -> None:
        """A folder called ledger.db is not a ledger."""
        (tmp_path / "ledger.db").mkdir()
        with pytest.raises(LedgerError):
            opened(tmp_path)

    def test_an_empty_file_is_damage_not_a_fresh_allowance(self, tmp_path: Path) -> None:
        """A ledger cut to nothing does not start over."""
        (tmp_path / "ledger.db").touch()
        with pytest.raises(LedgerError, match=r"damaged.*empty.*evenwater repair") as caught:
            opened(tmp_path)
        assert caught.value.fault is LedgerFault.DAMAGED

    def test_a_lost_file_whose_journal_is_there_is_not_started_over(self, tmp_path: Path) -> None:
        """A -wal file without its ledger means that someone took the ledger away."""
        (tmp_path / "ledger.db-wal").write_bytes(b"x")
        with pytest.raises(LedgerError) as caught:
            opened(tmp_path)
        assert caught.value.fault is LedgerFault.MOVED

    def test_a_file_of_something_else(self, tmp_path: Path) -> None:
        """Text is not a database."""
        path = tmp_path / "ledger.db"
        path.write_text("shopping list: lettuce seed\n" * 100)
        with pytest.raises(LedgerError, match="not a ledger") as caught:
            opened(tmp_path)
        assert caught.value.fault is LedgerFault.NOT_A_LEDGER
        assert path.read_text().startswith("shopping list")

    def test_a_database_of_another_program_is_left_alone(self, tmp_path: Path) -> None:
        """Its tables and its journal mode stay as they were."""
        path = tmp_path / "ledger.db"
        other = sqlite3.connect(path)
        other.execute("CREATE TABLE notes (text)")
        other.close()
        before = path.read_bytes()
        with pytest.raises(LedgerError) as caught:
            opened(tmp_path)
        assert caught.value.fault is LedgerFault.NOT_A_LEDGER
        assert path.read_bytes() == before

    def test_a_ledger_of_a_newer_version(self, tmp_path: Path) -> None:
        """Refused, with both format numbers, and unchanged."""
        opened(tmp_path).close()
        db = sqlite3.connect(tmp_path / "ledger.db")
        db.execute("PRAGMA user_version = 9")
        db.close()
        with pytest.raises(LedgerError, match="format 9, this program knows 1") as caught:
            opened(tmp_path)
        assert caught.value.fault is LedgerFault.NEWER

    def test_each_commit_waits_for_the_disk(self, tmp_path: Path) -> None:
        """Every connection asks SQLite for 2 (FULL) and a -wal file: a power cut takes back no commit."""
        opened(tmp_path).close()
        with closing(ledger_file.open_file(tmp_path / "ledger.db")) as db:
            assert db.execute("PRAGMA synchronous").fetchone() == (2,)
            assert db.execute("PRAGMA journal_mode").fetchone() == ("wal",)

    def test_a_half_made_ledger_is_made_again(self, tmp_path: Path) -> None:
        """What a crash during the very first start left behind is no obstacle."""
        (tmp_path / "ledger.db.new").write_bytes(b"half")
        opened(tmp_path).close()
        assert not (tmp_path / "ledger.db.new").exists()

    def test_a_truncated_file(self, tmp_path: Path) -> None:
        """Cut anywhere, the ledger is refused, or (the empty end of its last page) says all it said before."""
        path = self.filled(tmp_path)
        whole = path.read_bytes()
        for size in (1, 50, 100, 4096, len(whole) // 2, len(whole) - 4096):
            path.write_bytes(whole[:size])
            assert self.found_out(tmp_path), size
        path.write_bytes(whole[:-1])
        self.found_out(tmp_path)

    def test_a_changed_figure_is_found(self, tmp_path: Path) -> None:
        """SQLite sees nothing wrong with 4 mL turned into 0.4; the checksum does."""
        path = self.filled(tmp_path)
        db = sqlite3.connect(path)
        db.execute("UPDATE entries SET ml = 0.4 WHERE number = 3")
        db.commit()
        db.close()
        with pytest.raises(LedgerError, match="entries, line 3"):
            opened(tmp_path)

    @pytest.mark.parametrize("number", [1, 3, 20])
    def test_a_missing_line_is_found(self, tmp_path: Path, number: int) -> None:
        """The first, one in between and the last: none can go unnoticed."""
        path = self.filled(tmp_path)
        db = sqlite3.connect(path)
        db.execute("DELETE FROM entries WHERE number = ?", (number,))
        db.commit()
        db.close()
        with pytest.raises(LedgerError, match="entries"):
            opened(tmp_path)

    def test_a_missing_boot_is_found(self, tmp_path: Path) -> None:
        """Proven time that is gone would put every dose at another age."""
        for number in range(1, 4):
            opened(tmp_path, stamp(0.0, boot=f"boot-{number}")).close()
        with closing(sqlite3.connect(tmp_path / "ledger.db")) as db:
            db.execute("DELETE FROM boots WHERE number = 2")
            db.commit()
        with pytest.raises(LedgerError, match="boots, line 2"):
            opened(tmp_path)

    def test_pages_that_do_not_add_up_are_found(self, tmp_path: Path) -> None:
        """Free pages that are not there, by the file's header: no line is spoiled, yet the file is."""
        path = self.filled(tmp_path)
        whole = path.read_bytes()
        path.write_bytes(whole[:36] + (7).to_bytes(4, "big") + whole[40:])
        with pytest.raises(LedgerError, match="damaged"):
            opened(tmp_path)

    def test_flipped_bits_never_make_it_say_less(self, tmp_path: Path) -> None:
        """A bit flipped anywhere is either found, or changes nothing that dosing rests on."""
        path = self.filled(tmp_path)
        whole, found = path.read_bytes(), 0
        places = [*range(0, 110, 3), *range(110, len(whole), 97)]
        for place in places:
            path.write_bytes(whole[:place] + bytes([whole[place] ^ (1 << place % 8)]) + whole[place + 1 :])
            found += self.found_out(tmp_path)
            for side in ("-wal", "-shm"):
                path.with_name(path.name + side).unlink(missing_ok=True)
        assert found > 30

    def found_out(self, folder: Path) -> bool:
        """Whether the spoiled ledger is refused; if it is not, it must say what `filled` wrote."""
        try:
            ledger = opened(folder, stamp(300.0))
        except LedgerError:
            return True
        got, standing = ledger.totals("bed1", Role.PH_DOWN, stamp(300.0)), ledger.standing("bed1", stamp(300.0))
        ledger.close()
        assert (got.day_ml, got.since_refill_ml, got.since_pump_s) == (80.0, 80.0, 106.0)
        assert standing is not None
        assert standing.condition is Condition.LOCKED
        return False

    def filled(self, folder: Path) -> Path:
        """A closed ledger with twenty doses and a lock."""
        ledger = opened(folder)
        for i in range(20):
            ledger.settle(ledger.intend(permitted(), stamp(10.0 * i)), Outcome.DONE)
        ledger.lock("bed1", "no effect", "daemon", stamp(200.0))
        ledger.close()
        return folder / "ledger.db"


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


def test_a_stamp_asks_the_rig_for_its_boot_and_trust() -> None:
    """A clock that names its boot is believed; one that does not counts as fresh and unsynchronised."""

    class Plain:
        def monotonic_s(self) -> float:
            return 7.0

        def utc(self) -> Any:
            return NOON

        def sleep(self, seconds: float) -> None:
            raise AssertionError(seconds)

    class Telling(Plain):
        def boot_id(self) -> str:
            return "mine"

        def utc_trusted(self) -> bool:
            return True

    assert stamp_of(Plain(), "fresh") == Stamp("fresh", 7.0, NOON, utc_trusted=False)
    assert stamp_of(Telling(), "fresh") == Stamp("mine", 7.0, NOON, utc_trusted=True)
