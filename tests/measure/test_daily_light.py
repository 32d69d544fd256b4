"""Light of the last 24 hours, from looks that come when they come."""

from __future__ import annotations

from math import inf, nan

import pytest

from daemon.measure.daily_light import DAY_S, LEAST_QUARTERS, QUARTER_S, QUARTERS, LightDay, integral_mol, lit


def constant(quarters: int, umol: float = 100.0) -> LightDay:
    day = LightDay()
    for number in range(quarters):
        day = lit(day, umol, number * QUARTER_S)
    return day


def test_is_not_known_until_nine_tenths_of_a_day_were_seen() -> None:
    """One quarter of an hour less is nothing yet."""
    assert integral_mol(constant(LEAST_QUARTERS - 1), DAY_S) is None
    assert integral_mol(constant(LEAST_QUARTERS), DAY_S) == pytest.approx(100.0 * DAY_S / 1e6)


def test_only_the_last_day_counts() -> None:
    """A bright day, then a dark one; and after a day without looks nothing is known."""
    day = constant(QUARTERS, 500.0)
    for number in range(QUARTERS, 2 * QUARTERS):
        day = lit(day, 0.0, number * QUARTER_S)
    assert integral_mol(day, 2 * DAY_S) == 0.0
    assert len(day.quarters) <= QUARTERS + 1
    assert integral_mol(day, 4 * DAY_S) is None


def test_looks_of_one_quarter_count_as_their_mean() -> None:
    """However many there are in each."""
    day = constant(QUARTERS)
    for _ in range(3):
        day = lit(day, 300.0, DAY_S - 1.0)
    assert day.quarters[-1].mean_umol == pytest.approx((100.0 + 3 * 300.0) / 4)


@pytest.mark.parametrize(("umol", "at_s"), [(nan, 1e6), (inf, 1e6), (100.0, nan), (900.0, 0.0)])
def test_what_is_no_number_or_from_before_changes_nothing(umol: float, at_s: float) -> None:
    """Neither the light nor the time."""
    day = constant(QUARTERS)
    assert lit(day, umol, at_s) == day


def test_darkness_below_zero_counts_as_none() -> None:
    """Noise around the sensor's dark volts takes nothing away."""
    assert integral_mol(constant(QUARTERS, -5.0), DAY_S) == 0.0
