"""daemon.crop.lettuce at its edges; its figures are held in tests/reference/test_lettuce_growth.py."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daemon.crop.lettuce import Stand, Weather, grown, photosynthesis

DAY = Weather(20.0, 60.0, 420.0)


@pytest.mark.parametrize(
    "weather",
    [
        DAY._replace(par_w_per_m2=0.0),
        DAY._replace(temperature_c=4.0),
        DAY._replace(temperature_c=41.0),
        DAY._replace(co2_ppm=30.0),
    ],
)
def test_nothing_is_fixed_where_it_cannot_be(weather: Weather) -> None:
    """In the dark, the cold, the heat, and where the air holds less CO2 than leaves give off."""
    assert photosynthesis(50.0, DAY) > 0.0
    assert photosynthesis(50.0, weather) == 0.0


@settings(max_examples=40)
@given(
    sugars=st.floats(0.0, 200.0),
    structure=st.floats(0.1, 500.0),
    temperature_c=st.floats(0.0, 45.0),
    par_w_per_m2=st.floats(0.0, 500.0),
)
def test_no_weather_takes_more_than_there_is(
    sugars: float, structure: float, temperature_c: float, par_w_per_m2: float
) -> None:
    """A day in steps of a quarter hour: sugars never fall below 0, and structure never shrinks."""
    stand = Stand(sugars, structure)
    for _ in range(96):
        after = grown(stand, 900.0, Weather(temperature_c, par_w_per_m2, 420.0))
        assert after.non_structural >= 0.0
        assert after.structural >= stand.structural
        stand = after


def test_more_light_makes_more_lettuce() -> None:
    """From a seedling, in a fortnight of mild days."""

    def after_a_fortnight(par_w_per_m2: float) -> float:
        stand = Stand(0.7, 2.0)
        for _ in range(14 * 96):
            stand = grown(stand, 900.0, DAY._replace(par_w_per_m2=par_w_per_m2))
        return stand.dry_g_per_m2()

    assert after_a_fortnight(20.0) < after_a_fortnight(40.0) < after_a_fortnight(80.0)
