"""The table of calibration standards. Published values are checked in tests/reference."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest

from daemon.measure.standards import SHIPPED, Shelf, Standard, ec_standard, ph_standard
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
    """With what there is."""
    with pytest.raises(
        ValueError, match=r'ec standard "1414": not known; known are: 0\.084, 1\.413, 2\.76, 2\.765'
    ):
        ec_standard("1414", 25.0)
    with pytest.raises(ValueError, match=r"4\.01, 7\.00, 10\.01, phthalate"):
        ph_standard("11", 25.0)


@pytest.mark.parametrize(
    ("quantity", "typed", "name"),
    [
        (Quantity.PH, "7", "7.00"),
        (Quantity.PH, "pH 4,01", "4.01"),
        (Quantity.PH, "6.86", "6.86"),
        (Quantity.EC, "1413", "1.413"),
        (Quantity.EC, "1413 µS/cm", "1.413"),
        (Quantity.EC, "1413 \u03bcS/cm", "1.413"),
        (Quantity.EC, "84 uS/cm", "0.084"),
        (Quantity.EC, "84", "0.084"),
        (Quantity.EC, "2760", "2.76"),
        (Quantity.EC, "12,88 mS/cm", "12.88"),
        (Quantity.EC, "12880", "12.88"),
        (Quantity.EC, "0.01 mol/L", "1.413"),
        (Quantity.EC, "KCl 0.01 mol/kg", "kcl 0.01 mol/kg"),
    ],
)
def test_a_label_is_understood_as_it_is_printed(quantity: Quantity, typed: str, name: str) -> None:
    """With its unit or without, µS or mS, comma or point."""
    assert SHIPPED.standard(quantity, typed).name == name


@pytest.mark.parametrize(
    ("quantity", "typed", "says"),
    [
        (Quantity.EC, "0.01", "mol per litre .* or per kg of water"),
        (Quantity.EC, "KCl 0.1 M", "mol per litre .* or per kg of water"),
        (Quantity.EC, "1.413 µS/cm", "not known"),
        (Quantity.PH, "6.9", "the phosphate buffer is 6.86, and not the 7.00 one"),
        (Quantity.PH, "4.00", "copy its printed table into the settings"),
        (Quantity.PH, "10", "copy its printed table into the settings"),
        (Quantity.PH, "nan", "not known"),
    ],
)
def test_a_label_that_may_mean_two_things_is_asked_back(quantity: Quantity, typed: str, says: str) -> None:
    """Molar and molal KCl are 0.3 to 0.5 % apart, 6.86 and 7.00 are 8 mV apart: never guessed."""
    with pytest.raises(ValueError, match=says):
        SHIPPED.standard(quantity, typed)


def test_a_growers_own_bottle_stands_beside_those_that_ship() -> None:
    """By its name, within its own table, in straight lines."""
    own = Standard("mine-7", "", "its label", "", (20.0, 30.0), (7.02, 6.98))
    shelf = Shelf({Quantity.PH: {"mine-7": own}})
    assert shelf.value(Quantity.PH, "mine-7", 25.0) == pytest.approx(7.0)
    assert shelf.value(Quantity.PH, "7.00", 25.0) == pytest.approx(7.0)
    assert "mine-7" in shelf.bottles(Quantity.PH, 25.0)
    assert "mine-7" not in shelf.bottles(Quantity.PH, 15.0)
    with pytest.raises(ValueError, match="20 to 30 °C"):
        shelf.value(Quantity.PH, "mine-7", 15.0)


def test_only_ph_and_ec_have_standards() -> None:
    """A temperature probe is not calibrated in a bottle."""
    assert {"4.01", "7.00", "10.01", "phthalate", "phosphate", "borax", "carbonate"} <= set(
        SHIPPED.names(Quantity.PH)
    )
    assert {"1.413", "2.765", "12.88"} <= set(SHIPPED.names(Quantity.EC))
    assert SHIPPED.names(Quantity.TEMPERATURE) == ()


@pytest.mark.parametrize(
    ("quantity", "name"),
    [(quantity, name) for quantity in (Quantity.PH, Quantity.EC) for name in SHIPPED.names(quantity)],
)
def test_each_row_is_whole(quantity: Quantity, name: str) -> None:
    """One value for each of the rising temperatures, a source, a status and what is in the bottle."""
    row = SHIPPED.standard(quantity, name)
    assert len(row.temperatures_c) == len(row.values) >= 11
    assert all(low < high for low, high in pairwise(row.temperatures_c))
    assert row.about
    assert row.source
    assert "confirmed" in row.status or "memory" in row.status


def test_conductivity_standards_rise_with_temperature() -> None:
    """By 1.5 to 2.5 % of the 25 °C value for each kelvin, anywhere in the table."""
    for name in SHIPPED.names(Quantity.EC):
        row = SHIPPED.standard(Quantity.EC, name)
        at_25 = ec_standard(name, 25.0)
        for (low_c, low), (high_c, high) in pairwise(zip(row.temperatures_c, row.values, strict=True)):
            assert 0.015 < (high - low) / (high_c - low_c) / at_25 < 0.025
