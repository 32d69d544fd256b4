"""What is asked for strength: pairs of A and B, and water."""

from __future__ import annotations

from dataclasses import replace
from math import inf, nan
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from config.settings import Reservoir
from daemon.dose.newest import BREAK_S, READINGS
from daemon.dose.strength import EcAim, Strength, ask_strength, ec_aim_of, owed_ml
from daemon.values import (
    DoseReason,
    DoseRequest,
    Entry,
    Outcome,
    Quality,
    Quantity,
    Reading,
    Role,
    Sample,
    Verdict,
    VerdictReason,
)
from tests.strategies import NOON, any_float

AIM = EcAim(
    target=1.2,
    dead_band=0.1,
    a_ml_per_ms_per_cm=300.0,
    b_per_a=0.8,
    share_of_need=0.5,
    mixing_time_s=120.0,
    full_l=60.0,
    fill_to=0.95,
    has_stocks=True,
    has_water=True,
)


def ec(value: float, at_s: float, quality: Quality = Quality.GOOD) -> Verdict:
    """A look at EC."""
    reading = Reading(Quantity.EC, value, at_s, Sample(Quantity.EC, at_s, signal=0.0))
    return Verdict(Quantity.EC, quality, VerdictReason.FINE, reading)


def asked(
    value: float, aim: EcAim = AIM, last_dose_s: float | None = None, every_s: float = 10.0, **look: Any
) -> DoseRequest | None:
    """What is asked at the fifth of five equal looks, the first of them at 1000 s."""
    newest: Any = ()
    request = None
    for i in range(READINGS):
        at_s = 1000.0 + every_s * i
        at = Strength(ec(value, at_s), at_s, last_dose_s, **look)
        request, newest = ask_strength("bed1", aim, at, newest)
    return request


def entry(pump: Role, ml: float, reason: DoseReason = DoseReason.EC_LOW, number: int = 1) -> Entry:
    """A line of the ledger."""
    return Entry(number, "bed1", pump, ml, ml, reason, {}, NOON, False, "boot", 0.0, Outcome.DONE)


def test_too_weak_asks_for_a_by_half_of_the_need() -> None:
    """0.2 mS/cm at 300 mL each are 60 mL, of which half."""
    request = asked(1.0)
    assert request is not None
    assert (request.pump, request.reason) == (Role.STOCK_A, DoseReason.EC_LOW)
    assert request.ml == pytest.approx(30.0)
    assert request.numbers["need_ml"] == pytest.approx(60.0)


@pytest.mark.parametrize("value", [1.1001, 1.2, 1.2999])
def test_within_the_dead_band_nothing_is_asked(value: float) -> None:
    """Neither stock nor water."""
    assert asked(value, rest_share=0.8) is None


def test_a_b_that_is_owed_comes_first() -> None:
    """Whatever strength says, since its A is in the water already."""
    for value in (1.0, 1.2, 1.5):
        request = asked(value, owed_b_ml=24.0)
        assert request is not None
        assert (request.pump, request.ml) == (Role.STOCK_B, 24.0)


def test_the_level_takes_off_from_a_pair_once() -> None:
    """Permit takes off a fifth at 80 %: asked for is what leaves the amount owed after that."""
    request = asked(1.0, owed_b_ml=24.0, level_share=0.8)
    assert request is not None
    assert request.ml == pytest.approx(30.0)
    assert asked(1.0, owed_b_ml=24.0, level_share=0.2) is None


def test_a_b_that_is_ahead_makes_the_next_a_larger_by_nothing() -> None:
    """It makes it smaller, so that the pair is even again after it."""
    request = asked(1.0, owed_b_ml=-8.0)
    assert request is not None
    assert request.ml == pytest.approx(30.0 - 10.0)


def test_too_strong_asks_for_water_as_far_as_there_is_room() -> None:
    """10 % above the target in 48 L are 4.8 L, of which half; at 94 % there is room for 0.6 L."""
    request = asked(1.32, rest_share=0.8)
    assert request is not None
    assert (request.pump, request.reason) == (Role.TOP_UP, DoseReason.EC_HIGH)
    assert request.ml == pytest.approx(2400.0)
    near = asked(1.32, rest_share=0.94)
    assert near is not None
    assert near.ml == pytest.approx(600.0)


@pytest.mark.parametrize("share", [None, 0.95, 0.9495, 1.1, nan])
def test_no_water_where_there_is_no_room_or_none_is_known(share: float | None) -> None:
    """A person has to take some out first."""
    assert asked(1.5, rest_share=share) is None


def test_without_pumps_nothing_is_asked() -> None:
    """Nor for a B that is owed."""
    bare = replace(AIM, has_stocks=False, has_water=False)
    assert asked(1.0, bare, owed_b_ml=5.0) is None
    assert asked(1.5, bare, rest_share=0.5) is None


def test_nothing_before_the_last_dose_has_mixed() -> None:
    """Three mixing times of 120 s, to the newest of the five looks."""
    assert asked(1.0, last_dose_s=1040.0 - 360.0) is not None
    assert asked(1.0, last_dose_s=1040.1 - 360.0) is None


def test_only_looks_in_which_the_last_dose_shows_count() -> None:
    """Two and a half mixing times of 120 s, to the first of the five."""
    assert asked(1.0, last_dose_s=1000.0 - 300.0, every_s=60.0) is not None
    assert asked(1.0, last_dose_s=1000.1 - 300.0, every_s=60.0) is None


def test_a_reading_of_the_mixing_looked_at_later_does_not_count() -> None:
    """Taken before the dose shows, looked at after it."""
    assert ask_strength("bed1", AIM, Strength(ec(1.0, 1299.0), 1361.0, 1000.0), ())[1] == ()


@pytest.mark.parametrize("odd", [ec(1.0, 1040.0, Quality.BAD), ec(nan, 1040.0), ec(1.0, 1030.0 + BREAK_S + 1.0)])
def test_one_look_that_cannot_be_used_asks_for_nothing(odd: Verdict) -> None:
    """Nor one after a break."""
    newest: Any = ()
    for i in range(READINGS - 1):
        at_s = 1000.0 + 10.0 * i
        _, newest = ask_strength("bed1", AIM, Strength(ec(1.0, at_s), at_s, None), newest)
    assert ask_strength("bed1", AIM, Strength(odd, 1300.0, None), newest)[0] is None


def test_pairs_are_balanced_by_the_ledger() -> None:
    """Newest first: a B without its A at the end of the list is not counted; other doses are none."""
    a, b = entry(Role.STOCK_A, 10.0), entry(Role.STOCK_B, 8.0)
    acid = entry(Role.PH_DOWN, 5.0, DoseReason.PH_HIGH)
    primed = entry(Role.STOCK_A, 3.0, DoseReason.PRIME)
    assert owed_ml([], 0.8) == 0.0
    assert owed_ml([a], 0.8) == 8.0
    assert owed_ml([b, a], 0.8) == 0.0
    assert owed_ml([acid, b, a, b], 0.8) == 0.0
    assert owed_ml([a, acid, b, a, b], 0.8) == 8.0
    assert owed_ml([primed], 0.8) == 0.0
    assert owed_ml([entry(Role.STOCK_B, 5.0), a], 0.8) == pytest.approx(3.0)


@given(
    any_float,
    st.none() | any_float,
    st.none() | any_float,
    st.none() | any_float,
    any_float,
)
def test_whatever_is_seen_what_is_asked_is_sound(
    value: float, last_dose_s: float | None, rest: float | None, level: float | None, owed: float
) -> None:
    """A finite amount, of one pump, and never stock into what is strong enough."""
    request = asked(value, last_dose_s=last_dose_s, rest_share=rest, level_share=level, owed_b_ml=owed)
    if request is None:
        return
    assert 0.0 < request.ml < inf
    if request.pump is Role.STOCK_A:
        assert value < AIM.target - AIM.dead_band
    if request.pump is Role.TOP_UP:
        assert value > AIM.target + AIM.dead_band
        assert request.ml <= 60000.0


def test_the_aim_comes_from_the_settings() -> None:
    """Without a guess of the stock's strength, 5 mL for each litre and mS/cm."""
    pump = {"line": 17, "ml_per_s": 1.0, "bottle_ml": 500.0}
    table: dict[str, Any] = {"title": "Bed", "system": "film", "volume_l": 20.0, "mixing_time_s": 60.0}
    bare = ec_aim_of(Reservoir.model_validate(table))
    assert (bare.has_stocks, bare.has_water, bare.a_ml_per_ms_per_cm) == (False, False, 100.0)
    table |= {
        "ec": {"target_ms_per_cm": 1.0, "stock_a_ml_per_ms_per_cm": 70.0, "stock_b_ml_per_a_ml": 1.5},
        "water": {"dilute": False},
        "pump": {"stock_a": pump, "stock_b": pump, "top_up": pump},
    }
    full = ec_aim_of(Reservoir.model_validate(table))
    assert (full.target, full.a_ml_per_ms_per_cm, full.b_per_a) == (1.0, 70.0, 1.5)
    assert (full.has_stocks, full.has_water) == (True, False)
