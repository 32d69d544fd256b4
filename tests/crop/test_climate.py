"""What air and water offer; oxygen is held to its table in tests/reference/test_dissolved_oxygen.py."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.crop.climate import day_deficit_kpa, oxygen_mg_per_l
from daemon.measure.air import deficit_kpa, saturation_kpa
from tests.reference.published import rows


def published(condition: str, quantity: str) -> float:
    """One worked example of FAO-56."""
    (row,) = rows("vapour_pressure.csv", quantity=quantity, condition=condition)
    return float(row["value"])


def test_the_deficit_of_a_day_is_that_of_the_worked_example() -> None:
    """FAO-56 examples 5 and 6, as printed to 0.01 kPa."""
    kpa = day_deficit_kpa(coolest_c=18.0, warmest_c=25.0, dampest_percent=82.0, driest_percent=54.0)
    printed = published("Tmin 18 RHmax 82 %, Tmax 25 RHmin 54 %", "FAO-56 Example 5/6 VPD")
    assert kpa == pytest.approx(printed, abs=0.005)


def test_pressures_are_averaged_not_temperatures() -> None:
    """FAO-56 example 3: 2.39 kPa between 15 and 24.5 °C; that of the mean temperature would be 2.30."""
    dry = day_deficit_kpa(coolest_c=15.0, warmest_c=24.5, dampest_percent=0.0, driest_percent=0.0)
    assert dry == pytest.approx(published("Tmax 24.5 Tmin 15", "FAO-56 Example 3 mean es"), abs=0.001)
    assert dry > saturation_kpa(19.75) + 0.08


@given(celsius=st.floats(0.0, 45.0), percent=st.floats(0.0, 100.0))
def test_a_day_without_change_is_as_one_moment(celsius: float, percent: float) -> None:
    """Both ends alike: the deficit of daemon.measure.air."""
    day = day_deficit_kpa(coolest_c=celsius, warmest_c=celsius, dampest_percent=percent, driest_percent=percent)
    assert day == pytest.approx(deficit_kpa(celsius, percent), abs=1e-9)


@given(a_c=st.floats(0.0, 40.0), b_c=st.floats(0.0, 40.0))
def test_warmer_water_holds_less(a_c: float, b_c: float) -> None:
    """At any two temperatures."""
    cool, warm = sorted((a_c, b_c))
    assert oxygen_mg_per_l(warm) <= oxygen_mg_per_l(cool)


@pytest.mark.parametrize("celsius", [-0.1, 40.1, float("nan"), float("inf")])
def test_what_water_cannot_be_is_refused(celsius: float) -> None:
    """Ice, a hot tub, no number."""
    with pytest.raises(ValueError, match="must be 0 to 40 °C"):
        oxygen_mg_per_l(celsius)
