"""How well a calibration is known."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from math import sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.measure.calibrate import Point, fit_ph, fit_stop_gap
from daemon.measure.convert import PhCalibration, nernst_slope_mv_per_ph
from daemon.measure.standards import ph_standard
from daemon.measure.uncertainty import AT_PH, of_ph, propagated

WHEN = datetime(2026, 3, 2, 9, 12, tzinfo=UTC)
OLD = PhCalibration(slope_percent=97.0, offset_mv=0.0, day="2026-03-02")


def point(name: str, spread: float = 0.0, at_c: float = 22.0) -> Point:
    ph = ph_standard(name, at_c)
    signal = 6.0 - nernst_slope_mv_per_ph(at_c) * 0.97 * (ph - 7.0)
    return Point(name, ph, signal, spread, at_c, WHEN)


def known(*points: Point) -> float:
    fit = fit_stop_gap(points, OLD) if len(points) == 1 else fit_ph(points)
    assert fit.calibration is not None
    found = of_ph(points, fit.calibration)
    assert found is not None
    return found


def test_the_guides_own_example_is_propagated() -> None:
    """JCGM 100:2008, H.1, the end gauge: its shares in nm, combined 32 nm (from memory)."""
    shares = (25.0, 5.8, 3.9, 6.7, 2.9, 16.6)
    assert propagated(sum, shares) == pytest.approx(sqrt(sum(one * one for one in shares)))
    assert propagated(sum, shares) == pytest.approx(32.0, abs=0.5)


def test_an_input_counts_by_its_slope() -> None:
    """Twice the slope, twice the share; what cancels counts nothing."""
    assert propagated(lambda x: 2.0 * x[0] - 3.0 * x[1], (0.5, 1.0)) == pytest.approx(sqrt(1.0 + 9.0))
    assert propagated(lambda x: x[0] - x[0], (0.5,)) == 0.0


def test_two_bottles_on_both_sides_are_averaged() -> None:
    """By hand: at 5.8 the bottles weigh (5.8 - 4.00)/3.01 and the rest; each known to 0.02/√3."""
    weight = (AT_PH - ph_standard("4.01", 22.0)) / (ph_standard("7.00", 22.0) - ph_standard("4.01", 22.0))
    by_hand = 0.02 / sqrt(3.0) * sqrt(weight**2 + (1.0 - weight) ** 2)
    assert known(point("7.00"), point("4.01")) == pytest.approx(by_hand, rel=0.05)


def test_a_stop_gap_is_much_less_sure() -> None:
    """By hand: 1.2 pH away from 7.00, the slope known to 5 %/√3."""
    by_hand = sqrt((1.21 * 0.05 / 0.97) ** 2 / 3.0 + 0.02**2 / 3.0)
    assert known(point("7.00")) == pytest.approx(by_hand, rel=0.05)
    assert known(point("7.00")) > 3.0 * known(point("7.00"), point("4.01"))


@given(spread=st.floats(0.0, 3.0), at_c=st.floats(10.0, 35.0))
def test_a_restless_point_is_less_sure(spread: float, at_c: float) -> None:
    """Never surer than a still one."""
    still = known(point("7.00", 0.0, at_c), point("4.01", 0.0, at_c))
    assert known(point("7.00", spread, at_c), point("4.01", spread, at_c)) >= still - 1e-12


def test_without_points_nothing_is_known() -> None:
    """A calibration written by hand."""
    assert of_ph((), replace(OLD, slope_percent=98.0)) is None
