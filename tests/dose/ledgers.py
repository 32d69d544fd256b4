"""Ledgers for tests, and what goes into them."""

from __future__ import annotations

from pathlib import Path

from daemon.dose.ledger import Ledger
from daemon.dose.windows import Stamp
from daemon.values import Permit, Role
from tests.strategies import request, stamp


def permitted(ml: float = 4.0, pump: Role = Role.PH_DOWN, run_s: float = 4.0) -> Permit:
    """A permit for bed1."""
    return Permit(request(ml, pump), ml, run_s, numbers={"per_hour_room_ml": 20.0})


def opened(path: Path, at: Stamp | None = None) -> Ledger:
    """The ledger in a folder, opened at the start of boot-1 unless said."""
    return Ledger(path / "ledger.db", at or stamp(0.0), version="0.1.0")


def day_ml(ledger: Ledger, at: Stamp, pump: Role = Role.PH_DOWN) -> float:
    """What bed1's pump is charged with in the last 24 h."""
    return ledger.totals("bed1", pump, at).day_ml
