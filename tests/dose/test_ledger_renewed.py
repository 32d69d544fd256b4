"""What a ledger tells of bottles, tubes and the water, and of doses since."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from daemon.dose.ledger import Ledger, LedgerError
from daemon.dose.ledger_standing import Lock
from daemon.dose.usual import Given
from daemon.measure.rate import Tube
from daemon.values import DoseReason, Permit, Role
from tests.dose.ledgers import opened, permitted
from tests.strategies import NOON, request, stamp


class TestGiven:
    """What usual days are reckoned from."""

    def test_acid_and_base_in_proven_time(self, tmp_path: Path, book: Ledger) -> None:
        """Oldest first, priming and other pumps left out, also of the boot before."""
        book.intend(permitted(), stamp(10.0))
        book.intend(permitted(3.0, Role.PH_UP), stamp(20.0))
        book.intend(permitted(3.0, Role.STOCK_A), stamp(25.0))
        primed = request(2.0, reason=DoseReason.PRIME)
        book.intend(Permit(primed, 2.0, 2.0), stamp(30.0))
        before = (Given(14.0, Role.PH_DOWN), Given(24.0, Role.PH_UP))
        assert book.given("bed1") == before
        book.close()
        after = opened(tmp_path, stamp(5.0, boot="boot-2"))
        after.intend(permitted(6.0), stamp(15.0, boot="boot-2"))
        assert after.given("bed1") == (*before, Given(30.0 + 10.0 + 4.0, Role.PH_DOWN))
        assert after.given("bed2") == ()
        after.close()

    @pytest.mark.parametrize(
        ("numbers", "ph", "shift_ph"),
        [
            ({"ph": 6.3, "ml_per_ph": 20.0, "lessons": 3.0}, 6.3, 0.2),
            ({"ph": 6.3, "ml_per_ph": 20.0, "lessons": 3.0, "level_share": 0.5}, 6.3, 0.4),
            ({"ph": 6.3, "ml_per_ph": 20.0, "lessons": 2.0}, None, 0.0),
            ({"ph": 6.3, "ml_per_ph": 20.0}, None, 0.0),
            ({"ph": 6.3, "lessons": 3.0}, None, 0.0),
            ({"ph": 6.3, "ml_per_ph": 0.0, "lessons": 3.0}, None, 0.0),
            ({"ml_per_ph": 20.0, "lessons": 3.0}, None, 0.0),
        ],
    )
    def test_with_what_each_should_have_done(
        self, book: Ledger, numbers: dict[str, float], ph: float | None, shift_ph: float
    ) -> None:
        """As reckoned when it was asked for, in the water that was in; unknown before a few have shown it."""
        for pump, way in ((Role.PH_DOWN, -1.0), (Role.PH_UP, 1.0)):
            asked = replace(request(4.0), pump=pump, numbers=numbers)
            book.intend(Permit(asked, 4.0, 4.0), stamp(10.0))
            assert book.given("bed1")[-1] == Given(14.0, pump, ph, way * shift_ph)

    def test_what_was_poured_by_hand_is_known_as_such(self, book: Ledger) -> None:
        """Its effect nobody knows."""
        poured = replace(
            request(4.0), reason=DoseReason.BY_HAND, numbers={"ph": 6.3, "ml_per_ph": 20.0, "lessons": 3.0}
        )
        book.intend(Permit(poured, 4.0, 4.0), stamp(10.0))
        assert book.given("bed1") == (Given(14.0, Role.PH_DOWN, by_hand=True),)

    def test_time_that_is_proven_later_moves_what_was_read(self, tmp_path: Path, book: Ledger) -> None:
        """A night without power, told by the wall clock only after the next dose."""
        book.keep_time(stamp(5.0, trusted=True))
        book.intend(permitted(), stamp(10.0, trusted=True))
        book.close()
        utc = NOON + timedelta(hours=25)
        after = opened(tmp_path, stamp(0.0, boot="boot-2", utc=utc, trusted=False))
        after.intend(permitted(), stamp(20.0, boot="boot-2", utc=utc, trusted=False))
        (old, *_), (new_s, *_) = after.given("bed1")
        after.keep_time(stamp(60.0, boot="boot-2", utc=utc + timedelta(seconds=60), trusted=True))
        (still_old, *_), (newer_s, *_) = after.given("bed1")
        assert still_old == old
        assert newer_s - new_s > 24 * 3600.0
        after.close()

    def test_the_last_lock_that_a_person_cleared(self, book: Ledger) -> None:
        """In proven time, when it began; one that stands is not cleared, and a hold is no lock."""
        assert book.cleared("bed1") is None
        book.lock("bed1", "stop", "evenwater", stamp(40.0))
        assert book.cleared("bed1") is None
        book.clear("bed1", "local", stamp(90.0))
        book.hold("bed1", "work", "local", stamp(100.0))
        book.release("bed1", "local", stamp(110.0))
        assert book.cleared("bed1") == Lock(40.0, NOON + timedelta(seconds=40), "stop", cleared=True)
        assert book.cleared("bed2") is None

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
        assert after.given("bed1") == (Given(204.0, Role.PH_DOWN),)
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
            book.given("bed1")
