"""Which bottle a probe stands in."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.measure.convert import EcCalibration, PhCalibration, nernst_slope_mv_per_ph
from daemon.measure.recognise import recognise
from daemon.measure.standards import SHIPPED, Shelf, Standard, ec_standard, ph_standard
from daemon.values import Quantity

OLD = PhCalibration(slope_percent=97.0, offset_mv=6.0, day="2026-03-02")
CELL = EcCalibration(cell_constant_per_cm=0.98, day="2026-03-02")


def mv_in(buffer: str, at_c: float = 22.0, slope_percent: float = 97.0, offset_mv: float = 6.0) -> float:
    slope_mv = nernst_slope_mv_per_ph(at_c) * slope_percent / 100.0
    return offset_mv + slope_mv * (7.0 - ph_standard(buffer, at_c))


@pytest.mark.parametrize(
    ("buffer", "of_old", "of_nothing"),
    [
        ("4.01", ("4.01",), ("4.01",)),
        ("7.00", ("7.00", "6.86"), ("7.00", "6.86")),
        ("6.86", ("7.00", "6.86"), ("7.00", "6.86")),
        ("9.18", ("9.18",), ("9.18",)),
        ("10.01", ("10.01",), ("10.01",)),
    ],
)
def test_a_buffer_is_known_where_only_one_fits(
    buffer: str, of_old: tuple[str, ...], of_nothing: tuple[str, ...]
) -> None:
    """6.86 and 7.00 are asked about, always."""
    found = recognise(Quantity.PH, mv_in(buffer), 22.0, SHIPPED, OLD)
    assert sorted(found) == sorted(of_old)
    assert sorted(recognise(Quantity.PH, mv_in(buffer), 22.0, SHIPPED)) == sorted(of_nothing)


def test_borax_and_carbonate_are_asked_about_where_no_calibration_tells() -> None:
    """The same signal is one bottle's by the calibration before, and may be either's without it."""
    signal_mv, before = mv_in("9.18", offset_mv=-10.0), PhCalibration(slope_percent=97.0, offset_mv=-8.0, day="")
    assert recognise(Quantity.PH, signal_mv, 22.0, SHIPPED, before) == ("9.18",)
    assert sorted(recognise(Quantity.PH, signal_mv, 22.0, SHIPPED)) == ["10.01", "9.18"]


@given(
    buffer=st.sampled_from(["4.01", "6.86", "7.00", "9.18", "10.01"]),
    slope_percent=st.floats(91.5, 102.5),
    offset_mv=st.floats(-8.5, 20.5),
    at_c=st.floats(5.0, 40.0),
)
def test_the_true_buffer_is_always_among_them(
    buffer: str, slope_percent: float, offset_mv: float, at_c: float
) -> None:
    """However the electrode aged within what may be, so that a single candidate is never a wrong one."""
    assert buffer in recognise(Quantity.PH, mv_in(buffer, at_c, slope_percent, offset_mv), at_c, SHIPPED, OLD)


@given(
    buffer=st.sampled_from(["4.01", "6.86", "7.00", "9.18", "10.01"]),
    slope_percent=st.floats(85.0, 105.0),
    offset_mv=st.floats(-29.9, 29.9),
)
def test_without_a_calibration_every_acceptable_electrode_is_thought_of(
    buffer: str, slope_percent: float, offset_mv: float
) -> None:
    """A new electrode, nothing known of it."""
    assert buffer in recognise(Quantity.PH, mv_in(buffer, 22.0, slope_percent, offset_mv), 22.0, SHIPPED)


@pytest.mark.parametrize(
    ("standard", "of_cell", "of_nothing"),
    [
        ("0.084", ("0.084",), ("0.084",)),
        ("1.413", ("1.413",), ("1.413", "2.76", "2.765")),
        ("2.765", ("2.76", "2.765"), ("1.413", "2.76", "2.765")),
        ("12.88", ("12.88",), ("12.88",)),
    ],
)
def test_a_conductivity_standard_is_known_where_only_one_fits(
    standard: str, of_cell: tuple[str, ...], of_nothing: tuple[str, ...]
) -> None:
    """2760 and 2765 µS/cm are asked about; 1413 too, where the cell may have any constant."""
    signal_ms = ec_standard(standard, 22.0) / 0.98
    assert recognise(Quantity.EC, signal_ms, 22.0, SHIPPED, CELL) == of_cell
    assert recognise(Quantity.EC, signal_ms, 22.0, SHIPPED) == of_nothing


@pytest.mark.parametrize("signal", [math.nan, math.inf, 400.0, 90.0])
def test_a_signal_of_no_buffer_is_none(signal: float) -> None:
    """No number, no buffer, and between two buffers."""
    assert recognise(Quantity.PH, signal, 22.0, SHIPPED, OLD) == ()


def test_the_growers_own_bottle_is_thought_of_where_its_table_reaches() -> None:
    """Beside those that ship; at a temperature that its label does not print it is left out."""
    own = Standard("mine", "", "its label", "", (20.0, 30.0), (4.05, 4.06))
    shelf = Shelf({Quantity.PH: {"mine": own}})
    assert recognise(Quantity.PH, mv_in("4.01"), 22.0, shelf, OLD) == ("4.01", "mine")
    assert recognise(Quantity.PH, mv_in("4.01", 15.0), 15.0, shelf, OLD) == ("4.01",)
