"""Straight lines through points."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.measure.lines import line, slope


@given(st.floats(-50.0, 50.0), st.floats(-50.0, 50.0), st.lists(st.integers(-100, 100), min_size=2, unique=True))
def test_points_on_a_line_give_it_back(steep: float, at_zero: float, xs: list[int]) -> None:
    """Slope and value at zero, wherever the points lie on it."""
    ys = [at_zero + steep * x for x in xs]
    found_steep, found_at_zero = line(xs, ys)
    assert found_steep == pytest.approx(steep, abs=1e-6)
    assert found_at_zero == pytest.approx(at_zero, abs=1e-4)
    assert slope(xs, ys) == found_steep


def test_the_line_is_that_of_least_squares() -> None:
    """Anscombe 1973 (Am. Stat. 27:17), first set: y = 3.00 + 0.500 x; from memory."""
    xs = [10.0, 8.0, 13.0, 9.0, 11.0, 14.0, 6.0, 4.0, 12.0, 7.0, 5.0]
    ys = [8.04, 6.95, 7.58, 8.81, 8.33, 9.96, 7.24, 4.26, 10.84, 4.82, 5.68]
    steep, at_zero = line(xs, ys)
    assert (round(steep, 3), round(at_zero, 2)) == (0.5, 3.0)


@pytest.mark.parametrize(("xs", "ys"), [([], []), ([1.0], [2.0]), ([3.0, 3.0], [1.0, 2.0])])
def test_no_slope_without_two_different_xs(xs: list[float], ys: list[float]) -> None:
    """None, and no error."""
    assert slope(xs, ys) is None


@pytest.mark.parametrize("wrong", [math.nan, math.inf])
def test_no_slope_of_what_is_no_number(wrong: float) -> None:
    """In either coordinate."""
    assert slope([0.0, wrong], [1.0, 2.0]) is None
    assert slope([0.0, 1.0], [wrong, 2.0]) is None
