"""Acid and base in turns."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from daemon.dose.finding import Surprise
from daemon.dose.reversals import MOST_REVERSALS, reversals
from daemon.dose.windows import DAY_S, Stamp
from daemon.values import DoseReason, Entry, Outcome, Role
from tests.strategies import NOON


def entry(number: int, pump: Role, age_s: float, *, boot_id: str = "now") -> Entry:
    """A dose of so long ago."""
    utc = NOON - timedelta(seconds=age_s)
    numbers: dict[str, float] = {}
    return Entry(
        number, "bed1", pump, 3.0, 3.0, DoseReason.PH_HIGH, numbers, utc, True, boot_id, 1e6 - age_s, Outcome.DONE
    )


NOW = Stamp("now", 1e6, NOON, True)
DOWN, UP = Role.PH_DOWN, Role.PH_UP


def history(*pumps: Role, every_s: float = 6 * 3600.0) -> list[Entry]:
    """Doses, newest first, the newest just now."""
    return [entry(100 - i, pump, i * every_s) for i, pump in enumerate(pumps)]


def test_the_third_reversal_of_a_day_is_found() -> None:
    """Acid, base, acid, base within 24 h."""
    assert reversals(history(DOWN, UP, DOWN), NOW) is None
    finding = reversals(history(DOWN, UP, DOWN, UP), NOW)
    assert finding is not None
    assert finding.surprise is Surprise.REVERSALS
    assert finding.latches
    assert finding.numbers["reversals"] == MOST_REVERSALS


def test_older_reversals_do_not_count() -> None:
    """More than 24 h ago."""
    assert reversals(history(DOWN, UP, DOWN, UP, every_s=DAY_S / 3.0 + 60.0), NOW) is None


def test_after_a_clear_only_a_new_reversal_is_found() -> None:
    """The next dose in the same direction is none."""
    assert reversals(history(DOWN, DOWN, UP, DOWN, UP, every_s=3600.0), NOW) is None


def test_an_age_that_is_not_proven_counts_as_nothing() -> None:
    """Across a restart without a synchronised clock, two days ago is today."""
    doses = [replace(one, boot_id="before") for one in history(DOWN, UP, DOWN, UP, every_s=2 * DAY_S)]
    assert reversals(doses, NOW) is None
    assert reversals(doses, replace(NOW, utc_trusted=False)) is not None
    assert reversals([replace(one, utc_trusted=False) for one in doses], NOW) is not None


def test_doses_that_are_neither_acid_nor_base_are_passed_over() -> None:
    """Stock between acid and acid is no reversal."""
    assert reversals(history(DOWN, Role.STOCK_A, DOWN, Role.STOCK_B, DOWN, every_s=60.0), NOW) is None
