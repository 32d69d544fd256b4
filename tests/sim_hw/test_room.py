"""sim_hw.room: warm spells come and go by days, ordinary days go round, light adds up to its mean."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from sim_hw.room import S_PER_DAY, Spell, daylight, spells_c, temperature_c

WAVE = Spell(from_day=2.0, until_day=5.0, by_c=8.0, ramp_h=12.0)


@pytest.mark.parametrize(
    ("day", "more_c"),
    [(0.0, 0.0), (2.0, 0.0), (2.25, 4.0), (2.5, 8.0), (5.0, 8.0), (5.25, 4.0), (5.5, 0.0), (9.0, 0.0)],
)
def test_a_spell_ramps_on_and_off(day: float, more_c: float) -> None:
    """Half of it after half the ramp, all of it until its last day, nothing after the ramp down."""
    assert WAVE.now_c(day * S_PER_DAY) == pytest.approx(more_c)


def test_a_ramp_of_nothing_is_a_step() -> None:
    """A chiller that fails at once."""
    step = WAVE.model_copy(update={"ramp_h": 0.0})
    assert step.now_c(2.001 * S_PER_DAY) == 8.0
    assert step.now_c(5.001 * S_PER_DAY) == 0.0


def test_spells_add_up() -> None:
    """A warm week with a cool day in it."""
    cool = Spell(from_day=3.0, until_day=4.0, by_c=-3.0, ramp_h=0.0)
    assert spells_c([WAVE, cool], 3.5 * S_PER_DAY) == pytest.approx(5.0)


def test_a_spell_that_ends_before_it_begins_is_refused() -> None:
    """The message names the key."""
    with pytest.raises(ValidationError, match="until_day = 2: must be after from_day = 2"):
        Spell(from_day=2.0, until_day=2.0, by_c=1.0)


def test_an_ordinary_day_is_warmest_at_three() -> None:
    """And coldest twelve hours before."""
    assert temperature_c(20.0, 1.5, 15 * 3600.0) == pytest.approx(21.5)
    assert temperature_c(20.0, 1.5, 3 * 3600.0) == pytest.approx(18.5)


def test_daylight_has_a_mean_of_one() -> None:
    """Whatever the light hours; none of it at night."""
    for on_h, off_h in ((6.0, 20.0), (10.0, 14.0), (0.0, 24.0)):
        minutes = [daylight(on_h, off_h, 60.0 * minute) for minute in range(1440)]
        assert sum(minutes) / 1440.0 == pytest.approx(1.0, abs=1e-4)
        assert all(light == 0.0 for light in minutes[: round(on_h * 60.0)])
