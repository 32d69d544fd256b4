"""Tests of daemon/crop/costs.py: whose it was, and what it cost."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from config.prices import Appliance, Prices
from daemon.crop.costs import (
    Amounts,
    Missing,
    Thing,
    Use,
    costs,
    electricity,
    fillings,
    poured,
    shared,
)

MONDAY = date(2026, 3, 2)
DAY = timedelta(days=1)
ALL = Prices(
    currency="EUR",
    water_per_m3=4.0,
    stock_a_per_l=8.0,
    stock_b_per_l=6.0,
    ph_down_per_l=10.0,
    ph_up_per_l=12.0,
    electricity_per_kwh=0.30,
    plug_each=0.05,
    shop_per_head=1.50,
)


def use(ml: float, *, day: int = 0, days: int = 1, reservoirs: tuple[str, ...] = ("bed1",)) -> Use:
    """So much stock A, from the `day`-th day on."""
    return Use(Thing.STOCK_A, ml, reservoirs, MONDAY + day * DAY, MONDAY + (day + days) * DAY)


def test_a_dose_is_shared_among_the_heads_of_its_day() -> None:
    """12 heads of one batch and 4 of another: three quarters, and one."""
    standing = {("bed1", MONDAY): {"spring-1": 12, "spring-2": 4}, ("bed2", MONDAY): {"spring-3": 40}}
    found = shared([use(20.0)], standing)
    assert found.by_batch == {"spring-1": {Thing.STOCK_A: 15.0}, "spring-2": {Thing.STOCK_A: 5.0}}
    assert found.nobodys == {}


def test_a_day_later_it_is_somebody_elses() -> None:
    """By the day, not by the whole time that a batch stood."""
    standing = {("bed1", MONDAY): {"spring-1": 10}, ("bed1", MONDAY + DAY): {"spring-2": 1}}
    found = shared([use(20.0), use(3.0, day=1)], standing)
    assert found.by_batch == {"spring-1": {Thing.STOCK_A: 20.0}, "spring-2": {Thing.STOCK_A: 3.0}}


def test_a_filling_is_shared_by_head_days() -> None:
    """10 heads for one day of it and 5 for two bear the same."""
    standing = {
        ("bed1", MONDAY): {"spring-1": 10, "spring-2": 5},
        ("bed1", MONDAY + DAY): {"spring-2": 5},
    }
    found = shared([Use(Thing.WATER, 60.0, ("bed1",), MONDAY, MONDAY + 7 * DAY)], standing)
    assert found.by_batch == {"spring-1": {Thing.WATER: 30.0}, "spring-2": {Thing.WATER: 30.0}}


def test_what_was_used_in_an_empty_reservoir_is_nobodys() -> None:
    """It is told, not hidden in the costs of a batch in another reservoir, or on another day."""
    standing = {("bed2", MONDAY): {"spring-1": 10}, ("bed1", MONDAY + DAY): {"spring-2": 10}}
    found = shared([use(20.0)], standing)
    assert found.by_batch == {}
    assert found.nobodys == {Thing.STOCK_A: 20.0}


days_of_weeks = st.integers(0, 20)
uses = st.builds(
    lambda ml, day, days, where: use(ml, day=day, days=days, reservoirs=where),
    st.floats(0.0, 1e5),
    days_of_weeks,
    st.integers(1, 30),
    st.sampled_from([("bed1",), ("bed2",), ("bed1", "bed2")]),
)
stands = st.dictionaries(
    st.tuples(st.sampled_from(["bed1", "bed2"]), days_of_weeks.map(lambda day: MONDAY + day * DAY)),
    st.dictionaries(st.sampled_from(["a", "b", "c"]), st.floats(0.01, 500.0), min_size=1),
)


@given(st.lists(uses, max_size=12), stands)
def test_nothing_is_lost_and_nothing_is_added(
    used: list[Use], standing: dict[tuple[str, date], dict[str, float]]
) -> None:
    """All shares and what is nobody's come to what was used; no share is below 0."""
    found = shared(used, standing)
    parts: list[Amounts] = [*found.by_batch.values(), found.nobodys]
    assert sum(part.get(Thing.STOCK_A, 0.0) for part in parts) == pytest.approx(sum(one.amount for one in used))
    assert all(amount >= 0.0 for part in parts for amount in part.values())


def test_electricity_is_rated_power_times_hours_while_heads_stand() -> None:
    """A lamp of 100 W, 16 h a day: 1.6 kWh on each day with heads in what it serves, and on no other."""
    standing = {
        ("bed1", MONDAY): {"a": 3.0},
        ("bed2", MONDAY): {"b": 1.0},
        ("bed2", MONDAY + 5 * DAY): {"b": 1.0},
    }
    lamp = Appliance(rated_w=100.0, hours_per_day=16.0)
    air = Appliance(rated_w=5.0, hours_per_day=24.0, reservoir=("bed1",))
    used = list(electricity([lamp, air], ["bed1", "bed2"], standing))
    assert [one.first for one in used] == [MONDAY, MONDAY + 5 * DAY, MONDAY]
    assert [one.amount for one in used] == pytest.approx([1.6, 1.6, 0.12])
    found = shared(used, standing)
    assert found.by_batch["a"] == {Thing.ELECTRICITY: pytest.approx(1.6 * 3 / 4 + 0.12)}
    assert found.by_batch["b"] == {Thing.ELECTRICITY: pytest.approx(1.6 / 4 + 1.6)}


def test_a_filling_lasts_until_the_next() -> None:
    """Of changes on one day only one is water; what would begin at the end is of another time."""
    used = list(fillings([MONDAY + 21 * DAY, MONDAY, MONDAY, MONDAY + 40 * DAY], "bed1", 60.0, MONDAY + 40 * DAY))
    assert [(one.amount, one.first, one.until) for one in used] == [
        (60.0, MONDAY, MONDAY + 21 * DAY),
        (60.0, MONDAY + 21 * DAY, MONDAY + 40 * DAY),
    ]


def test_poured_water_shows_in_the_level() -> None:
    """Drunk from 0.95 to 0.80, filled to 0.95 over two hours: 9 L of 60, on the day it began."""
    shares = [0.95, 0.90, 0.901, 0.85, 0.80, 0.90, 0.95, 0.94, 0.95, 0.93]
    levels = [(MONDAY + number // 5 * DAY, share) for number, share in enumerate(shares)]
    (one,) = poured(levels, "bed1", 60.0)
    assert (one.thing, one.first) == (Thing.WATER, MONDAY)
    assert one.amount == pytest.approx(9.0)


def test_poured_at_the_end_counts() -> None:
    """What still rises when the readings end was poured as well."""
    levels = [(MONDAY, 0.5), (MONDAY, 0.6)]
    assert [one.amount for one in poured(levels, "bed1", 60.0)] == [pytest.approx(6.0)]
    assert not list(poured([], "bed1", 60.0))


def test_costs_by_hand() -> None:
    """Each price is for its own many units: m³, L, kWh, a piece."""
    amounts: dict[Thing, float | Missing] = {
        Thing.WATER: 50.0,  # L at 4 a m³: 0.20
        Thing.STOCK_A: 250.0,  # mL at 8 a litre: 2.00
        Thing.STOCK_B: 250.0,  # 1.50
        Thing.PH_DOWN: 30.0,  # 0.30
        Thing.PH_UP: 5.0,  # 0.06
        Thing.ELECTRICITY: 10.0,  # 3.00
        Thing.PLUGS: 20.0,  # 1.00
    }
    found = costs(amounts, ALL, 10)
    assert [item.cost for item in found.items] == pytest.approx([0.20, 2.00, 1.50, 0.30, 0.06, 3.00, 1.00])
    assert found.known == pytest.approx(8.06)
    assert found.per_head == pytest.approx(0.806)
    assert found.saved_per_head == pytest.approx(1.50 - 0.806)
    assert found.whole


def test_what_is_not_known_is_told_and_never_free() -> None:
    """No price, no measurement: no cost, and the sum is no longer whole."""
    prices = Prices(currency="EUR", water_per_m3=4.0, shop_per_head=1.5)
    found = costs({Thing.WATER: Missing.NOT_MEASURED, Thing.STOCK_A: 100.0}, prices, 4)
    water, stock = found.items
    assert (water.amount, water.cost, water.missing) == (None, None, Missing.NOT_MEASURED)
    assert (stock.amount, stock.cost, stock.missing) == (100.0, None, Missing.NO_PRICE)
    assert not found.whole
    assert found.saved_per_head is None


def test_part_of_the_costs_is_compared_as_part() -> None:
    """The saving is at most so much; `whole` says that more may come on top."""
    found = costs(
        {Thing.WATER: 100.0, Thing.STOCK_A: 100.0}, Prices(currency="EUR", water_per_m3=4.0, shop_per_head=1.5), 4
    )
    assert not found.whole
    assert found.saved_per_head == pytest.approx(1.4)


def test_nothing_used_costs_nothing_at_any_price() -> None:
    """0 mL of what has no price is not unknown; and 0 as a price is one."""
    assert costs({Thing.PH_UP: 0.0}, None, 4).whole
    free = costs({Thing.WATER: 80.0}, Prices(currency="EUR", water_per_m3=0.0), 4)
    assert (free.known, free.whole) == (0.0, True)


def test_no_heads_no_price_of_one() -> None:
    """A batch of which nothing was picked cost what it cost, and no head anything; nor while some still stand."""
    found = costs({Thing.WATER: 100.0}, ALL, 0)
    assert found.known == pytest.approx(0.4)
    assert (found.per_head, found.saved_per_head) == (None, None)
    assert costs({Thing.WATER: 100.0}, ALL, 4, heads_standing=1).per_head is None
