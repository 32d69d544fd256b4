"""Acid and base in turns."""

from __future__ import annotations

from math import nan

from daemon.dose.finding import Surprise
from daemon.dose.reversals import MOST_REVERSALS, reversals
from daemon.dose.usual import Given
from daemon.dose.windows import DAY_S
from daemon.values import Role

NOW_S = 1e6
DOWN, UP = Role.PH_DOWN, Role.PH_UP


def history(*pumps: Role, every_s: float = 6 * 3600.0) -> list[Given]:
    """Doses, told newest first, the newest just now."""
    return [Given(NOW_S - i * every_s, pump) for i, pump in reversed(list(enumerate(pumps)))]


def test_the_third_reversal_of_a_day_is_found() -> None:
    """Acid, base, acid, base within 24 h."""
    assert reversals(history(DOWN, UP, DOWN), NOW_S) is None
    finding = reversals(history(DOWN, UP, DOWN, UP), NOW_S)
    assert finding is not None
    assert finding.surprise is Surprise.REVERSALS
    assert finding.pump is DOWN
    assert finding.latches
    assert finding.numbers["reversals"] == MOST_REVERSALS


def test_older_reversals_do_not_count() -> None:
    """More than 24 h ago."""
    assert reversals(history(DOWN, UP, DOWN, UP, every_s=DAY_S / 3.0 + 60.0), NOW_S) is None


def test_after_a_clear_only_a_new_reversal_is_found() -> None:
    """The next dose in the same direction is none."""
    assert reversals(history(DOWN, DOWN, UP, DOWN, UP, every_s=3600.0), NOW_S) is None


def test_a_time_that_is_no_number_makes_no_dose_old() -> None:
    """It fails closed."""
    assert reversals(history(DOWN, UP, DOWN, UP, every_s=DAY_S), nan) is not None


def test_nothing_given_is_no_reversal() -> None:
    """As in new water, or where the ledger cannot be read."""
    assert reversals((), NOW_S) is None


def test_what_a_person_poured_turns_nothing() -> None:
    """They had their reasons."""
    given = history(DOWN, UP, DOWN, UP)
    assert reversals([given[0], given[1]._replace(by_hand=True), *given[2:]], NOW_S) is None
