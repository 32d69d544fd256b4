"""Holds and locks, as the ledger keeps them."""

from __future__ import annotations

from datetime import timedelta
from math import inf, nan
from pathlib import Path

import pytest

from daemon.dose.ledger import Ledger, LedgerError
from daemon.values import Condition
from tests.dose.ledgers import opened
from tests.strategies import NOON, stamp


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
