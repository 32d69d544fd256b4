"""The ledger read by others, while it is in use and when it is not."""

from __future__ import annotations

import sqlite3
from datetime import timedelta
from pathlib import Path

import pytest

from daemon.dose.ledger import Ledger, LedgerError, LedgerFault
from daemon.dose.ledger_reading import LedgerSeen, seen
from daemon.values import Outcome
from tests.dose.ledgers import opened, permitted
from tests.strategies import NOON, stamp


def test_doses_are_seen_while_the_ledger_is_in_use(tmp_path: Path, book: Ledger) -> None:
    """Those from the asked day on, oldest first; the daemon goes on writing undisturbed."""
    book.settle(book.intend(permitted(), stamp(10.0)), Outcome.DONE)
    assert [(dose.ml, dose.outcome) for dose in seen(tmp_path, NOON.date()).doses] == [(4.0, Outcome.DONE)]
    book.intend(permitted(), stamp(5000.0))
    found = seen(tmp_path, NOON.date()).doses
    assert [dose.number for dose in found] == [1, 2]
    assert seen(tmp_path, NOON.date() + timedelta(days=1)) == LedgerSeen()


def test_and_when_the_daemon_is_gone(tmp_path: Path, book: Ledger) -> None:
    """New water too; and the daemon finds its ledger as it left it."""
    book.intend(permitted(), stamp(10.0))
    book.change_water("bed1", "a person", stamp(20.0))
    book.close()
    found = seen(tmp_path, NOON.date())
    assert len(found.doses) == 1
    assert [(name, at.date()) for name, at in found.new_water] == [("bed1", NOON.date())]
    again = opened(tmp_path, stamp(30.0))
    assert again.fault is None
    assert len(again.recent(5)) == 1
    again.close()


def test_no_ledger_is_no_dose(tmp_path: Path) -> None:
    """A diary can be kept without a box; nothing is made by looking."""
    assert seen(tmp_path, NOON.date()) == LedgerSeen()
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("spoil", "fault"),
    [
        ("PRAGMA application_id = 5", LedgerFault.NOT_A_LEDGER),
        ("PRAGMA user_version = 99", LedgerFault.NEWER),
        ("UPDATE entries SET numbers = 'x'", LedgerFault.DAMAGED),
        ("DROP TABLE refills", LedgerFault.DISK),
    ],
)
def test_what_is_no_ledger_is_told(tmp_path: Path, book: Ledger, spoil: str, fault: LedgerFault) -> None:
    """By its name, with the next step."""
    book.intend(permitted(), stamp(10.0))
    book.close()
    db = sqlite3.connect(tmp_path / "ledger.db", isolation_level=None)
    db.execute(spoil)
    db.close()
    with pytest.raises(LedgerError, match=r"ledger\.db") as told:
        seen(tmp_path, NOON.date())
    assert told.value.fault is fault


def test_an_empty_file_is_told(tmp_path: Path) -> None:
    """What a full disk may leave."""
    (tmp_path / "ledger.db").touch()
    with pytest.raises(LedgerError, match="empty"):
        seen(tmp_path, NOON.date())
