"""Windows in proven time, whatever the clocks do."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from daemon.dose.ledger import Ledger
from daemon.dose.ledger_time import KEEP_TIME_EVERY_S, stamp_of
from daemon.dose.windows import DAY_S, HOUR_S, RUN_MARGIN_S, Stamp
from daemon.values import Role
from tests.dose.ledgers import day_ml, opened, permitted
from tests.strategies import NOON, stamp


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
