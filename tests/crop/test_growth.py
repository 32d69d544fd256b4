"""What heads weigh. The model's own figures are held in tests/reference/test_lettuce_growth.py."""

from __future__ import annotations

from math import exp, log

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daemon.crop.growth import (
    BATCH_SD,
    MODEL_SD,
    UMOL_PER_J,
    UNKNOWN,
    Hour,
    Lamp,
    Scale,
    Weighing,
    as_lately,
    at_day,
    corrected,
    filled,
    g_per_head,
    learned,
    over_and_over,
)
from daemon.crop.harvest import window
from daemon.crop.lettuce import DRY_SHARE, Parameters, Weather, planted, rates
from daemon.measure.daily_light import mol_per_m2
from tests.reference.published import rows

PLANTS_PER_M2 = 28.0  # final spacing, Rutgers lettuce production page (Both; Cornell system)


def a_day(umol: float, celsius: float = 20.0, hours: float = 16.0) -> tuple[Hour, ...]:
    """Under a lamp that comes on at six."""
    lamp = Lamp(umol, 6.0, hours)
    return tuple(Hour(celsius, lamp.light_umol(hour)) for hour in range(24))


def heads(umol: float, days: int, celsius: float = 20.0) -> tuple[float, ...]:
    """g per head by day, in a room of such days."""
    return g_per_head(over_and_over(a_day(umol, celsius), days * 24), PLANTS_PER_M2)


# --- the model in a garden's hours


def test_heads_of_the_published_house_weigh_what_was_published() -> None:
    """Cornell: set out on day 12, 150 g on day 35, at 17 mol/m² a day. The model alone is within a week."""
    (weight,) = (
        float(row["value"]) for row in rows("lettuce_climate.csv", quantity="head fresh weight at harvest")
    )
    planted, picked = (
        next(float(row["value"]) for row in rows("lettuce_climate.csv", quantity=quantity))
        for quantity in ("transplant day", "harvest day")
    )
    assert mol_per_m2(295.0, 16 * 3600.0) == pytest.approx(17.0, abs=0.01)
    likely = window(heads(295.0, 40, 21.5), weight, UNKNOWN, 0.0).likely
    assert likely is not None
    assert abs(likely - (picked - planted)) <= 7.0


def test_light_is_given_to_the_model_in_watts() -> None:
    """An hour changes a stand by the model's own rates at light / 4.57 (Thimijan & Heins 1983)."""
    curve = g_per_head([Hour(20.0, 100.0 * UMOL_PER_J)] * 24, 28.0, 400.0)
    stand = planted(28.0)
    slope = rates(stand, Weather(20.0, 100.0, 400.0), Parameters())
    first_day_g_per_m2 = (curve[1] - curve[0]) * 28.0 * DRY_SHARE
    assert first_day_g_per_m2 > 86400.0 * (slope.structural + slope.non_structural) > 0.5 * first_day_g_per_m2


@settings(max_examples=20, deadline=None)
@given(dim=st.floats(20.0, 400.0), more=st.floats(1.05, 3.0), celsius=st.floats(10.0, 28.0))
def test_more_light_makes_heavier_heads(dim: float, more: float, celsius: float) -> None:
    """In any mild room, after a fortnight."""
    assert heads(dim * more, 14, celsius)[-1] > heads(dim, 14, celsius)[-1]


def test_a_day_is_counted_when_it_is_whole() -> None:
    """The start, and one figure for each 24 hours."""
    assert len(g_per_head([Hour(20.0, 100.0)] * 47, 28.0)) == 2
    assert g_per_head([], 28.0)[0] == pytest.approx(2.16)


@pytest.mark.parametrize("hour", [Hour(float("nan"), 1.0), Hour(20.0, -1.0), Hour(20.0, float("inf"))])
def test_an_hour_that_cannot_be_is_refused(hour: Hour) -> None:
    """Which one, and what it said."""
    with pytest.raises(ValueError, match="hour 2: "):
        g_per_head([Hour(20.0, 0.0), hour], 28.0)


# --- a lamp


@given(on_h=st.floats(0.0, 23.99), hours=st.floats(0.0, 24.0))
def test_a_lamp_gives_its_hours_whenever_it_comes_on(on_h: float, hours: float) -> None:
    """Over midnight too, and in parts of an hour."""
    lamp = Lamp(200.0, on_h, hours)
    by_hour = [lamp.light_umol(hour) for hour in range(24)]
    assert sum(by_hour) == pytest.approx(200.0 * hours, abs=1e-6)
    assert 0.0 <= min(by_hour) <= max(by_hour) <= 200.0 + 1e-9


def test_a_lamp_is_on_when_it_says() -> None:
    """From half past six for an hour."""
    lamp = Lamp(100.0, 6.5, 1.0)
    assert [lamp.light_umol(hour) for hour in (5, 6, 7, 8)] == [0.0, 50.0, 50.0, 0.0]


# --- corrected by the scale


def test_what_was_weighed_moves_the_factor_towards_it() -> None:
    """Four heads of half the model's weight, today: nearly half, and far surer than before."""
    after = corrected(UNKNOWN, [Weighing(100.0, 50.0, 4, 0.0)])
    assert after.factor == pytest.approx(0.5, abs=0.04)
    assert after.log_sd < 0.12 < UNKNOWN.log_sd


@given(
    modelled=st.floats(5.0, 300.0),
    weighed=st.floats(5.0, 300.0),
    count=st.integers(1, 50),
    ago=st.floats(0.0, 60.0),
)
def test_a_weighing_never_overshoots_and_never_makes_less_sure(
    modelled: float, weighed: float, count: int, ago: float
) -> None:
    """Between what was believed and what the scale said, by any weights."""
    after = corrected(UNKNOWN, [Weighing(modelled, weighed, count, ago)])
    said = log(weighed / modelled)
    assert min(0.0, said) - 1e-9 <= after.log_mean <= max(0.0, said) + 1e-9
    assert after.log_sd < UNKNOWN.log_sd


def test_more_heads_and_newer_ones_count_for_more() -> None:
    """Ten heads say more than one, today's more than those of a month ago."""

    def moved(count: int, ago: float) -> float:
        return corrected(UNKNOWN, [Weighing(100.0, 50.0, count, ago)]).factor

    assert moved(10, 0.0) < moved(1, 0.0) < moved(1, 30.0) < 1.0


@pytest.mark.parametrize(
    "none", [Weighing(0.0, 50.0, 1, 0.0), Weighing(9.0, 0.0, 1, 0.0), Weighing(9.0, 5.0, 0, 0.0)]
)
def test_what_is_no_weighing_tells_nothing(none: Weighing) -> None:
    """No grams, no heads."""
    assert corrected(UNKNOWN, [none]) == pytest.approx(UNKNOWN)


def test_doubt_grows_with_the_days_ahead() -> None:
    """And the likely figure stays."""
    now = Scale(log(0.8), 0.05)
    assert now.ahead(0.0) == now
    assert now.ahead(10.0).factor == pytest.approx(0.8)
    assert now.ahead(10.0).log_sd == pytest.approx((0.05**2 + 0.1**2) ** 0.5)


def test_a_garden_learns_from_batch_to_batch() -> None:
    """No batch: the model, hardly believed. Many alike: their factor, as sure as one batch is like the next."""
    none = learned([])
    assert (none.factor, none.log_sd) == pytest.approx((1.0, MODEL_SD))
    many = learned([Scale(log(0.6), 0.05)] * 12)
    assert many.factor == pytest.approx(0.6, abs=0.02)
    assert BATCH_SD < many.log_sd < 1.1 * BATCH_SD
    assert many.log_sd < learned([Scale(log(0.6), 0.05)]).log_sd < MODEL_SD


def test_the_factor_of_a_simulated_garden_is_found() -> None:
    """Heads that truly weigh 0.7 of the model, each off by a fifth, over three batches: within a tenth."""
    off = (0.2, -0.2, 0.1, -0.1)
    done: list[Scale] = []
    for _ in range(3):
        seen = [
            Weighing(grams, 0.7 * grams * exp(one), 1, 0.0)
            for grams, one in zip((20, 60, 100, 150), off, strict=True)
        ]
        done.append(corrected(learned(done), seen))
    assert done[-1].factor == pytest.approx(0.7, rel=0.1)


# --- days to come


def test_days_to_come_are_as_the_last_ones() -> None:
    """Hour by hour the mean of the last whole days, from where the hours end; nothing from less than a day."""
    dull, bright = a_day(100.0, 18.0), a_day(200.0, 22.0)
    lately = as_lately([*a_day(900.0), *dull, *bright], days=2)
    assert lately == tuple(
        Hour(20.0, (a.light_umol + b.light_umol) / 2.0) for a, b in zip(dull, bright, strict=True)
    )
    assert as_lately(dull[:23]) == ()
    turned = as_lately([*dull, *dull[:5]], days=1)
    assert [hour.light_umol for hour in turned] == [hour.light_umol for hour in (*dull[5:], *dull[:5])]


def test_an_hour_that_was_missed_is_as_on_other_days() -> None:
    """By its hour of the day; by the mean of all where no day knows it; nothing comes of nothing."""
    known = {number: 10.0 + number % 24 for number in range(72) if number != 30 and number % 24 != 7}
    hours = filled(known, 72)
    assert hours[30] == 16.0
    assert hours[7] == hours[31] == pytest.approx(sum(known.values()) / len(known))
    assert [hours[number] for number in known] == list(known.values())
    assert filled({}, 72) == ()


def test_between_days_the_curve_is_straight() -> None:
    """And beyond its ends it stays."""
    assert [at_day((1.0, 3.0, 9.0), day) for day in (-1.0, 0.5, 1.0, 1.5, 7.0)] == [1.0, 2.0, 3.0, 6.0, 9.0]
