"""When a head weighs what is wanted."""

from __future__ import annotations

from math import log

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.crop.growth import UNKNOWN, Scale
from daemon.crop.harvest import Window, grams_on, window

CURVE = tuple(2.0 + 5.0 * day for day in range(61))  # 5 g a day
scales = st.builds(Scale, st.floats(-1.0, 1.0), st.floats(0.01, 0.6))


def test_what_is_sure_comes_on_one_day() -> None:
    """102 g at 5 g a day: the twentieth, and no doubt about a day that is today."""
    assert window(CURVE, 101.9, Scale(0.0, 1e-9), 60.0) == Window(20, 20, 20)


def test_eight_cases_in_ten_lie_between() -> None:
    """A factor of 1.2816 standard deviations either way (the normal distribution's nine tenths)."""
    low, likely, high = grams_on(CURVE, 20.0, Scale(log(2.0), 0.1), 20.0)
    assert likely == pytest.approx(204.0)
    assert (likely / low, high / likely) == pytest.approx((1.1367, 1.1367), abs=1e-4)


def test_the_past_is_as_sure_as_today_and_days_to_come_less() -> None:
    """A hundredth a day, beside what is doubted today: 0.1 and 20 days make 0.224."""
    scale = Scale(0.0, 0.1)
    spread = [log(grams_on(CURVE, day, scale, 20.0).high / CURVE[day]) / 1.2816 for day in (5, 20, 40)]
    assert spread == pytest.approx([0.1, 0.1, 0.2236], abs=1e-4)


@given(scale=scales, wanted=st.floats(1.0, 400.0), today=st.floats(0.0, 60.0))
def test_the_earliest_is_never_after_the_latest(scale: Scale, wanted: float, today: float) -> None:
    """Days that are not reached count as later than all."""
    earliest, likely, latest = (61 if day is None else day for day in window(CURVE, wanted, scale, today))
    assert earliest <= likely <= latest


@given(scale=scales, wanted=st.floats(1.0, 200.0), more=st.floats(0.0, 100.0))
def test_heavier_heads_come_later(scale: Scale, wanted: float, more: float) -> None:
    """All three days."""
    sooner, later = window(CURVE, wanted, scale, 10.0), window(CURVE, wanted + more, scale, 10.0)
    for a, b in zip(sooner, later, strict=True):
        assert (61 if a is None else a) <= (61 if b is None else b)


@given(mean=st.floats(-1.0, 1.0), sure=st.floats(0.01, 0.3), more=st.floats(0.0, 0.3))
def test_doubt_widens_the_window(mean: float, sure: float, more: float) -> None:
    """Less sure: an earliest day no later, a latest no earlier, and the likely one the same."""
    narrow = window(CURVE, 100.0, Scale(mean, sure), 10.0)
    wide = window(CURVE, 100.0, Scale(mean, sure + more), 10.0)
    assert wide.likely == narrow.likely
    assert (61 if wide.latest is None else wide.latest) >= (61 if narrow.latest is None else narrow.latest)
    assert (61 if wide.earliest is None else wide.earliest) <= (
        61 if narrow.earliest is None else narrow.earliest
    )


def test_what_is_never_reached_has_no_day() -> None:
    """Within the days of the curve."""
    assert window(CURVE, 1000.0, UNKNOWN, 0.0) == Window(None, None, None)
