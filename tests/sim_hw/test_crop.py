"""sim_hw.crop: a stand grows to plausible heads, and drinks and eats as it does."""

from __future__ import annotations

from typing import Any

import pytest

from daemon.crop.lettuce import Weather
from sim_hw.crop import Crop, CropTable
from sim_hw.room import S_PER_DAY, daylight

PARTS = 96
PLANTS = 18


def a_day(temperature_c: float = 20.0) -> list[Weather]:
    """An ordinary day of 14 lit hours, 40 W/m2 in their mean."""
    light = [daylight(6.0, 20.0, (part + 0.5) / PARTS * S_PER_DAY) for part in range(PARTS)]
    return [Weather(temperature_c, 40.0 * share * 14.0 / 24.0, 420.0) for share in light]


def a_crop(plants: int = PLANTS, **changes: Any) -> Crop:
    """A stand of that many plants."""
    return Crop(CropTable(**changes), plants, a_day())


def after(crop: Crop, days: float, temperature_c: float = 20.0) -> tuple[float, float]:
    """Lets it grow: mol of nitrogen and litres of water that it took."""
    weather = a_day(temperature_c)
    wants = [crop.grow(S_PER_DAY / PARTS, weather[part % PARTS]) for part in range(round(days * PARTS))]
    return sum(want.nitrogen_mol for want in wants), sum(want.water_l for want in wants)


def test_a_head_of_five_weeks_weighs_what_heads_weigh() -> None:
    """Planted out as a seedling of 2 g, 120..220 g after 35 days (a 150 g head is common practice)."""
    crop = a_crop()
    assert crop.fresh_g_per_plant() == pytest.approx(2.2, abs=0.1)
    after(crop, 35.0)
    assert 120.0 < crop.fresh_g_per_plant() < 220.0


def test_a_crop_of_an_age_is_one_that_has_grown_to_it() -> None:
    """Its life before the start is lived in the same weather."""
    young = a_crop()
    after(young, 21.0)
    assert a_crop(age_days=21.0).fresh_g_per_plant() == pytest.approx(young.fresh_g_per_plant(), rel=1e-9)


def test_water_for_the_whole_crop_is_as_published() -> None:
    """Within a factor of 1.3 of 20 L for each kg of fresh lettuce (Barbosa et al. 2015, IJERPH 12:6879)."""
    crop = a_crop()
    _, litres = after(crop, 35.0)
    per_kg = litres / (PLANTS * crop.fresh_g_per_plant() / 1000.0)
    assert 20.0 / 1.3 < per_kg < 20.0 * 1.3


def test_nitrogen_for_the_whole_crop_is_what_its_leaves_hold() -> None:
    """4..5 % of the dry matter at harvest (typical plant analysis, from memory)."""
    crop = a_crop()
    nitrogen_mol, _ = after(crop, 35.0)
    dry_g = PLANTS * crop.fresh_g_per_plant() * 0.05
    assert 4.0 < 100.0 * nitrogen_mol * 14.007 / dry_g < 5.0


def test_half_grown_heads_want_more_than_seedlings() -> None:
    """Several times as much, and twice the plants twice as much."""
    small, large = after(a_crop(), 1.0), after(a_crop(age_days=18.0), 1.0)
    twice = after(a_crop(plants=2 * PLANTS, age_days=18.0), 1.0)
    assert large[0] > 5.0 * small[0]
    assert large[1] > 5.0 * small[1]
    assert twice == pytest.approx([2.0 * large[0], 2.0 * large[1]])


def test_heat_makes_thirsty() -> None:
    """At 29 °C a crop drinks a third as much again as at 20 °C."""
    assert after(a_crop(age_days=18.0), 1.0, 29.0)[1] > 1.3 * after(a_crop(age_days=18.0), 1.0)[1]


def test_nothing_is_drunk_in_the_dark_but_growth_goes_on() -> None:
    """The sugars of the day become leaves at night."""
    want = a_crop(age_days=18.0).grow(3600.0, Weather(20.0, 0.0, 420.0))
    assert want.water_l == 0.0
    assert want.nitrogen_mol > 0.0
