"""The table of calibration standards. Published values are checked in tests/reference."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest

from daemon.measure.standards import ec_standard, names, ph_standard, standard
from daemon.values import Quantity


def test_values_between_two_temperatures_lie_on_the_straight_line() -> None:
    """Half way between 20 °C (7.02) and 25 °C (7.00)."""
    assert ph_standard("7.00", 22.5) == pytest.approx(7.01)
    assert ec_standard("12.88", 19.0) == pytest.approx((11.189 + 11.666) / 2)


def test_both_ends_of_the_table_belong_to_it() -> None:
    """0 and 50 °C are known; a hair beyond is not."""
    assert ph_standard("carbonate", 0.0) == pytest.approx(10.317)
    assert ph_standard("carbonate", 50.0) == pytest.approx(9.828)


@pytest.mark.parametrize("temperature_c", [-0.1, 50.1, math.nan, math.inf])
def test_outside_the_table_is_an_error_with_the_range(temperature_c: float) -> None:
    """Nothing is extrapolated, and the message says what to do."""
    with pytest.raises(ValueError, match=r"0 to 50 °C; bring the bottle near"):
        ph_standard("7.00", temperature_c)
    with pytest.raises(ValueError, match="0 to 50 °C"):
        ec_standard("1.413", temperature_c)


def test_an_unknown_name_lists_the_known() -> None:
    """Typing 1413 (µS/cm) for 1.413 (mS/cm) shows what there is."""
    with pytest.raises(ValueError, match=r'ec standard "1413": not known; known are: 1\.413, 2\.765, 12\.88'):
        ec_standard("1413", 25.0)
    with pytest.raises(ValueError, match=r"4\.01, 7\.00, 10\.01, phthalate"):
        ph_standard("10.0", 25.0)


def test_only_ph_and_ec_have_standards() -> None:
    """A temperature probe is not calibrated in a bottle."""
    assert {"4.01", "7.00", "10.01", "phthalate", "phosphate", "borax", "carbonate"} <= set(names(Quantity.PH))
    assert {"1.413", "2.765", "12.88"} <= set(names(Quantity.EC))
    assert names(Quantity.TEMPERATURE) == ()


@pytest.mark.parametrize(
    ("quantity", "name"),
    [(quantity, name) for quantity in (Quantity.PH, Quantity.EC) for name in names(quantity)],
)
def test_each_row_is_whole(quantity: Quantity, name: str) -> None:
    """One value for each of the rising temperatures, a source, a status and what is in the bottle."""
    row = standard(quantity, name)
    assert len(row.temperatures_c) == len(row.values) >= 11
    assert all(low < high for low, high in pairwise(row.temperatures_c))
    assert row.about
    assert row.source
    assert "confirmed" in row.status or "memory" in row.status


def test_conductivity_standards_rise_with_temperature() -> None:
    """By 1.5 to 2.5 % of the 25 °C value for each kelvin, anywhere in the table."""
    for name in names(Quantity.EC):
        row = standard(Quantity.EC, name)
        at_25 = ec_standard(name, 25.0)
        for (low_c, low), (high_c, high) in pairwise(zip(row.temperatures_c, row.values, strict=True)):
            assert 0.015 < (high - low) / (high_c - low_c) / at_25 < 0.025
