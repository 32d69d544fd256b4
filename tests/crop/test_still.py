"""A still reservoir for the whole crop."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.crop.growth import Hour, Lamp, g_per_head, over_and_over
from daemon.crop.still import (
    LEFT_SHARE,
    UNSURE_TIMES,
    WATER_L_PER_KG,
    Litres,
    draw_down,
    drunk,
    empty_on,
    volume_l,
)
from tests.reference.published import rows

LAMP = Lamp(200.0, 6.0, 16.0)
CURVE = g_per_head(over_and_over([Hour(20.0, LAMP.light_umol(hour)) for hour in range(24)], 35 * 24), 28.0)


def test_a_head_drinks_what_was_published() -> None:
    """20 L/kg (Barbosa et al. 2015): 3.0 L for one of 150 g, to a factor of two; their ± 3.8 lies inside."""
    (per_kg,) = rows("lettuce_water.csv", quantity="hydroponic water demand")
    (per_head,) = rows("lettuce_water.csv", quantity="water per 150 g head, whole crop")
    assert float(per_kg["value"]) == WATER_L_PER_KG
    assert drunk(1, 150.0) == pytest.approx((1.5, float(per_head["value"]), 6.0))
    assert WATER_L_PER_KG / UNSURE_TIMES < 20.0 - 3.8 < 20.0 + 3.8 < WATER_L_PER_KG * UNSURE_TIMES


def test_one_filling_is_enough_for_the_thirstiest() -> None:
    """Six heads: 18 L likely, at most 36; of 45 L a fifth is left then."""
    thirst = drunk(6, 150.0)
    assert thirst == pytest.approx((9.0, 18.0, 36.0))
    assert volume_l(thirst) == pytest.approx((11.25, 22.5, 45.0))
    days = draw_down(CURVE, thirst, volume_l(thirst).high)
    assert days[-1].level_low == pytest.approx(LEFT_SHARE)
    assert empty_on(days) is None
    assert days[-1].drunk == pytest.approx(thirst)


def test_too_small_a_one_says_from_which_day() -> None:
    """22.5 L, enough for likely plants: the thirstiest stand at less than a fifth in the third week."""
    day = empty_on(draw_down(CURVE, drunk(6, 150.0), 22.5))
    assert day is not None
    assert 14 <= day <= 24


def test_the_gap_is_what_is_gone_over_the_surface() -> None:
    """9 L out of a box of 30 by 30 cm are 10 cm."""
    days = draw_down((2.0, 77.0, 152.0), Litres(9.0, 18.0, 36.0), 45.0, 900.0)
    assert [day.gap_cm for day in days] == pytest.approx([0.0, 10.0, 20.0])
    assert draw_down((2.0, 77.0), Litres(9.0, 18.0, 36.0), 45.0)[0].gap_cm is None


@given(
    heads=st.integers(1, 200),
    grams=st.floats(5.0, 1000.0),
    full_l=st.floats(2.0, 2000.0),
    gains=st.lists(st.floats(0.0, 20.0), min_size=1, max_size=60),
)
def test_a_still_level_only_falls(heads: int, grams: float, full_l: float, gains: list[float]) -> None:
    """And stays between empty and full, and between what the least and the most thirsty leave."""
    curve = [2.0]
    for gain in gains:
        curve.append(curve[-1] + gain)
    days = draw_down(curve, drunk(heads, grams), full_l)
    for before, after in pairwise(days):
        assert after.level <= before.level
    for day in days:
        assert 0.0 <= day.level_low <= day.level <= day.level_high <= 1.0


def test_heads_that_do_not_grow_drink_nothing() -> None:
    """Nor is anything divided by nothing."""
    assert draw_down((2.0, 2.0), drunk(6, 150.0), 45.0)[-1].level == 1.0
