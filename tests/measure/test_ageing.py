"""How a probe ages, and when it will fail."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.measure.ageing import (
    HORIZON_DAYS,
    Made,
    ProbeNote,
    forecast,
    forecasts,
    notes,
    series,
    t_95,
)
from daemon.values import Quantity

TODAY = date(2026, 7, 1)


def made(days_ago: float, slope_percent: float = 98.0, offset_mv: float = 3.0, **more: object) -> Made:
    """An electrode calibrated so long ago."""
    utc = datetime(2026, 7, 1, 8, 0, tzinfo=UTC) - timedelta(days=days_ago)
    return Made(utc, {"slope_percent": slope_percent, "offset_mv": offset_mv}, **more)  # type: ignore[arg-type]


def monthly(values: Sequence[float]) -> list[date]:
    """A day for each value, 30 days apart, the last one today."""
    return [TODAY - timedelta(days=30 * back) for back in range(len(values) - 1, -1, -1)]


def _density(t: float, degrees: int) -> float:
    log = math.lgamma((degrees + 1) / 2) - math.lgamma(degrees / 2) - 0.5 * math.log(degrees * math.pi)
    return math.exp(log - (degrees + 1) / 2 * math.log(1.0 + t * t / degrees))


@pytest.mark.parametrize("degrees", [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 12, 15, 20, 30, 60])
def test_students_t_leaves_five_percent_outside(degrees: int) -> None:
    """Its density integrated by Simpson's rule from 0: 0.475 on either side, as its definition asks."""
    steps, most = 4000, t_95(degrees)
    width = most / steps
    weights = [1.0, *[4.0 if place % 2 else 2.0 for place in range(1, steps)], 1.0]
    area = sum(w * _density(place * width, degrees) for place, w in enumerate(weights)) * width / 3.0
    assert area == pytest.approx(0.475, abs=2e-4)


def test_between_two_rows_of_the_table_the_wider_is_taken() -> None:
    """For 11 degrees that of 10; beyond the last row the last."""
    assert t_95(11) == t_95(10)
    assert t_95(500) == t_95(60)


def test_a_steady_fall_meets_its_limit_on_its_day() -> None:
    """One percent a month from 98: 90 in eight months after today's 96, give or take nothing."""
    values = [98.0, 97.0, 96.0]
    found = forecast("slope_percent", monthly(values), values, 90.0, TODAY)
    assert found is not None
    assert found.per_month == pytest.approx(-1.0)
    assert found.give_or_take == pytest.approx(0.0, abs=1e-9)
    day = TODAY + timedelta(days=180)
    assert found.on is not None
    assert abs((found.on - day).days) <= 1
    assert (found.from_on, found.to_on) == (found.on, found.on)


def test_the_band_is_that_of_the_textbook() -> None:
    """Hand-reckoned: x = -60, -30, 0; y = 98, 96, 97; residuals 0.5, -1, 0.5; s = √1.5; t(1) = 12.706."""
    found = forecast("slope_percent", monthly([0, 0, 0]), [98.0, 96.0, 97.0], 90.0, TODAY)
    assert found is not None
    assert found.per_month == pytest.approx(-0.5)
    assert found.give_or_take == pytest.approx(30.0 * 12.706 * math.sqrt(1.5) / math.sqrt(1800.0))
    assert found.from_on == TODAY  # 97 - 12.7 · 1.22 · 0.91 is below 90 already
    assert found.to_on is None


@pytest.mark.parametrize(
    ("days", "values"),
    [([], []), (monthly([1, 2]), [98.0, 97.0]), ([TODAY, TODAY, TODAY - timedelta(days=1)], [98.0, 97.0, 96.0])],
)
def test_too_little_says_nothing(days: list[date], values: list[float]) -> None:
    """Fewer than three, or three on two days."""
    assert forecast("slope_percent", days, values, 90.0, TODAY) is None


def test_a_probe_that_does_not_age_meets_no_limit() -> None:
    """Within two years."""
    values = [98.0] * 5
    found = forecast("slope_percent", monthly(values), values, 90.0, TODAY)
    assert found is not None
    assert (found.on, found.from_on, found.to_on) == (None, None, None)


@given(
    st.lists(st.floats(86.0, 104.0), min_size=3, max_size=12),
    st.sampled_from([90.0, 30.0, 180.0]),
    st.integers(0, 99),
)
def test_early_comes_before_the_line_and_the_line_before_late(
    values: list[float], limit: float, ago: int
) -> None:
    """Whatever was calibrated, and nothing is foretold for the past or for after two years."""
    days = [day - timedelta(days=ago) for day in monthly(values)]
    found = forecast("any", days, values, limit, TODAY)
    assert found is not None
    far = TODAY + timedelta(days=HORIZON_DAYS + 1)
    early, on, late = (day or far for day in (found.from_on, found.on, found.to_on))
    assert TODAY <= early <= on <= late <= far


def test_the_band_holds_the_truth_as_often_as_it_says() -> None:
    """Drawn: a true fall of 1 % a month with noise of 0.5 %; in 95 of 100 the true rate lies in the band."""
    draw, held, tries = Random(5), 0, 600
    for _ in range(tries):
        values = [98.0 - month + draw.gauss(0.0, 0.5) for month in range(6)]
        found = forecast("slope_percent", monthly(values), values, 90.0, TODAY)
        assert found is not None
        held += abs(found.per_month + 1.0) <= found.give_or_take
    assert held / tries == pytest.approx(0.95, abs=0.03)


def test_a_renewed_probe_begins_a_new_series() -> None:
    """Slope up by four percent, or the offset elsewhere; a stop-gap is no part of it."""
    old, new = [made(120, 92.0), made(90, 90.5)], [made(60, 99.0), made(30, 98.5), made(1, 98.0)]
    assert series([*new, made(45, 99.0, stop_gap=True), *old]) == tuple(new)
    assert series([made(60, offset_mv=-8.0), made(30, offset_mv=8.0)]) == (made(30, offset_mv=8.0),)
    assert len(series([made(60, 94.0), made(30, 97.9)])) == 2


def test_an_electrode_is_foretold_by_slope_offset_and_settling() -> None:
    """Each against its own limit: 90 % below which nothing is dosed, the 30 mV it moves towards, 180 s."""
    past = [made(90 - 30 * n, 96.0 - n, -4.0 - 2.0 * n, settled_s=60.0 + 20.0 * n) for n in range(4)]
    found = {one.key: one for one in forecasts(Quantity.PH, past, TODAY)}
    assert {key: one.limit for key, one in found.items()} == {
        "slope_percent": 90.0,
        "offset_mv": -30.0,
        "settled_s": 180.0,
    }
    assert found["offset_mv"].per_month == pytest.approx(-2.0)
    cell = [Made(one.utc, {"cell_constant_per_cm": 1.0 + 0.02 * n}) for n, one in enumerate(past)]
    assert [one.limit for one in forecasts(Quantity.EC, cell, TODAY)] == [2.0]
    assert forecasts(Quantity.TEMPERATURE, past, TODAY) == ()


@pytest.mark.parametrize(
    ("past", "expected"),
    [
        ([], (ProbeNote.UNKNOWN,)),
        ([made(3)], (ProbeNote.FINE,)),
        ([made(3, stop_gap=True)], (ProbeNote.STOP_GAP,)),
        ([made(3, 94.9)], (ProbeNote.WORN,)),
        ([made(3, offset_mv=-20.1)], (ProbeNote.FAR_OFFSET,)),
        ([made(3, settled_s=181.0)], (ProbeNote.SLOW,)),
        ([made(30)], (ProbeNote.FINE,)),
        ([made(31)], (ProbeNote.DUE,)),
        ([made(60)], (ProbeNote.DUE,)),
        ([made(61)], (ProbeNote.EXPIRED,)),
        ([made(61, 94.0), made(2)], (ProbeNote.FINE,)),
    ],
)
def test_what_is_to_be_said_of_a_probe(past: list[Made], expected: tuple[ProbeNote, ...]) -> None:
    """By slope, offset, time to settle and age of its last calibration, at their limits."""
    assert notes(past, (), TODAY, 30.0, 60.0) == expected


def test_a_probe_that_may_fail_within_two_months_is_told() -> None:
    """By the early end of the band."""
    past = [made(60, 95.9), made(30, 94.0), made(0, 92.3)]
    ahead = forecasts(Quantity.PH, past, TODAY)
    assert ProbeNote.FAILS_SOON in notes(past, ahead, TODAY, 30.0, 60.0)
