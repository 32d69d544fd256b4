"""From a sample to a reading."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.measure.convert import (
    ISO_7888,
    Compensation,
    EcCalibration,
    LevelCalibration,
    NotRead,
    PhCalibration,
    TemperatureCalibration,
    ec25,
    iso7888_f25,
    nernst_slope_mv_per_ph,
    ph_from_mv,
    to_reading,
)
from daemon.values import Quantity, Reading, Sample, VerdictReason

DAY = "2026-03-02"
ELECTRODE = PhCalibration(slope_percent=97.0, offset_mv=6.0, day=DAY)
CELL = EcCalibration(cell_constant_per_cm=1.1, offset_ms=0.01, day=DAY)
LINEAR = Compensation(linear_percent_per_k=2.0)
NOT_NUMBERS = [math.nan, math.inf, -math.inf]


def sample(quantity: Quantity, signal: float) -> Sample:
    return Sample(quantity, 50.0, signal, volts=1.5, spread_v=0.001)


@given(
    ph=st.floats(0.0, 14.0),
    slope_percent=st.floats(85.0, 105.0),
    offset_mv=st.floats(-30.0, 30.0),
    temperature_c=st.floats(0.0, 50.0),
)
def test_ph_comes_back_from_its_own_potential(
    ph: float, slope_percent: float, offset_mv: float, temperature_c: float
) -> None:
    """The potential an electrode gives for a pH converts to that pH again."""
    calibration = PhCalibration(slope_percent=slope_percent, offset_mv=offset_mv, day=DAY)
    mv = offset_mv - nernst_slope_mv_per_ph(temperature_c) * slope_percent / 100.0 * (ph - 7.0)
    assert ph_from_mv(mv, calibration, temperature_c) == pytest.approx(ph, abs=1e-9)


@given(
    ec=st.floats(0.0, 10.0),
    constant=st.floats(0.5, 2.0),
    offset_ms=st.floats(-0.15, 0.15),
    temperature_c=st.floats(0.0, 35.0),
)
def test_ec_comes_back_from_its_own_conductance(
    ec: float, constant: float, offset_ms: float, temperature_c: float
) -> None:
    """The conductance a cell shows for an EC converts to that EC again."""
    factor = iso7888_f25(temperature_c)
    assert isinstance(factor, float)
    calibration = EcCalibration(cell_constant_per_cm=constant, offset_ms=offset_ms, day=DAY)
    conductance_ms = ec / factor / constant + offset_ms
    assert ec25(conductance_ms, calibration, temperature_c, ISO_7888) == pytest.approx(ec, abs=1e-9)


def test_ten_kelvin_of_error_moves_a_reading_by_little_in_ph_and_much_in_ec() -> None:
    """Common practice: 10 K wrong moves pH 5.5 by at most 0.06, EC by some 20 %."""
    electrode = PhCalibration(slope_percent=100.0, offset_mv=0.0, day=DAY)
    mv = 1.5 * nernst_slope_mv_per_ph(20.0)
    assert ph_from_mv(mv, electrode, 30.0) == pytest.approx(5.5, abs=0.06)
    right, wrong = ec25(1.2, CELL, 20.0, ISO_7888), ec25(1.2, CELL, 30.0, ISO_7888)
    assert isinstance(right, float)
    assert isinstance(wrong, float)
    assert 0.15 < 1.0 - wrong / right < 0.25


@pytest.mark.parametrize("temperature_c", [-0.01, 35.01, math.nan, math.inf])
def test_iso_7888_ends_where_its_table_ends(temperature_c: float) -> None:
    """Beyond 0 to 35 °C the factor is not extrapolated."""
    assert iso7888_f25(temperature_c) is VerdictReason.OUT_OF_SPAN


@pytest.mark.parametrize("percent", [-0.1, 3.1, math.nan])
def test_a_linear_coefficient_has_limits(percent: float) -> None:
    """A coefficient that could turn the sign of a factor cannot be made."""
    with pytest.raises(ValueError, match="% per K"):
        Compensation(linear_percent_per_k=percent)


def test_linear_compensation_at_twenty_degrees() -> None:
    """2 % per kelvin and five kelvin below 25 °C: divided by 0.9."""
    assert ec25(1.01, CELL, 20.0, LINEAR) == pytest.approx(1.1 / 0.9)
    assert ec25(1.01, CELL, 25.0, LINEAR) == pytest.approx(1.1)


def test_a_ph_reading_keeps_what_it_was_made_from() -> None:
    """Volts, temperature, day and slope stand beside the value."""
    look = to_reading(sample(Quantity.PH, 6.0), ELECTRODE, 21.0)
    assert look == Reading(Quantity.PH, 7.0, 50.0, sample(Quantity.PH, 6.0), 21.0, DAY, 97.0)


def test_an_ec_reading_keeps_what_it_was_made_from() -> None:
    """Volts, temperature and day stand beside the value."""
    look = to_reading(sample(Quantity.EC, 1.01), CELL, 25.0, LINEAR)
    assert isinstance(look, Reading)
    assert look.value == pytest.approx(1.1)
    assert (look.temperature_c, look.calibration) == (25.0, DAY)
    assert look.sample.volts == 1.5


@pytest.mark.parametrize("quantity", [Quantity.TEMPERATURE, Quantity.LEVEL])
def test_temperature_and_level_pass_through(quantity: Quantity) -> None:
    """They need neither a calibration nor a temperature."""
    look = to_reading(sample(quantity, 0.75), None, None)
    assert look == Reading(quantity, 0.75, 50.0, sample(quantity, 0.75))


@pytest.mark.parametrize(
    ("quantity", "calibration", "temperature_c", "reason"),
    [
        (Quantity.PH, None, 21.0, VerdictReason.NOT_CALIBRATED),
        (Quantity.PH, CELL, 21.0, VerdictReason.NOT_CALIBRATED),
        (Quantity.EC, ELECTRODE, 21.0, VerdictReason.NOT_CALIBRATED),
        (Quantity.PH, ELECTRODE, None, VerdictReason.NO_TEMPERATURE),
        (Quantity.EC, CELL, None, VerdictReason.NO_TEMPERATURE),
        (Quantity.PH, ELECTRODE, math.nan, VerdictReason.NO_TEMPERATURE),
        (Quantity.EC, CELL, math.inf, VerdictReason.NO_TEMPERATURE),
        (Quantity.PH, ELECTRODE, 50.1, VerdictReason.OUT_OF_SPAN),
        (Quantity.PH, ELECTRODE, -127.0, VerdictReason.OUT_OF_SPAN),
        (Quantity.EC, CELL, 35.1, VerdictReason.OUT_OF_SPAN),
        (Quantity.EC, CELL, 85.0, VerdictReason.OUT_OF_SPAN),
    ],
)
def test_what_cannot_be_converted_says_why(
    quantity: Quantity,
    calibration: PhCalibration | EcCalibration | None,
    temperature_c: float | None,
    reason: VerdictReason,
) -> None:
    """No calibration, no temperature, or a temperature beyond the compensation's range; the sample is kept."""
    look = to_reading(sample(quantity, 1.0), calibration, temperature_c)
    assert isinstance(look, NotRead)
    assert look.reason is reason
    assert look.sample == sample(quantity, 1.0)


def test_a_temperature_beyond_the_range_is_told_with_the_range() -> None:
    """The numbers let a grower check the reason by hand."""
    look = to_reading(sample(Quantity.EC, 1.0), CELL, 36.0)
    assert isinstance(look, NotRead)
    assert look.numbers == {"temperature_c": 36.0, "lowest_c": 0.0, "highest_c": 35.0}
    linear = to_reading(sample(Quantity.EC, 1.0), CELL, 36.0, LINEAR)
    assert isinstance(linear, Reading)


def test_a_slope_of_zero_counts_as_no_calibration() -> None:
    """A calibration that would divide by zero is none."""
    flat = PhCalibration(slope_percent=0.0, offset_mv=0.0, day=DAY)
    assert ph_from_mv(10.0, flat, 25.0) is VerdictReason.NOT_CALIBRATED


@pytest.mark.parametrize("quantity", list(Quantity))
@pytest.mark.parametrize("signal", NOT_NUMBERS)
def test_a_signal_that_is_no_number_is_not_read(quantity: Quantity, signal: float) -> None:
    """NaN and infinity never become a reading, and the temperature is not blamed for it."""
    calibration = ELECTRODE if quantity is Quantity.PH else CELL
    look = to_reading(sample(quantity, signal), calibration, 21.0)
    assert isinstance(look, NotRead)
    assert look.reason is VerdictReason.OUT_OF_SPAN
    assert look.numbers == {}


def test_a_thermometers_offset_is_added() -> None:
    """And the day of the comparison is kept; a calibration of another kind counts as none."""
    offset = TemperatureCalibration(offset_k=-0.4, day=DAY)
    look = to_reading(sample(Quantity.TEMPERATURE, 20.4), offset, None)
    assert isinstance(look, Reading)
    assert look.value == pytest.approx(20.0)
    assert look.calibration == DAY
    other = to_reading(sample(Quantity.TEMPERATURE, 20.4), CELL, None)
    assert isinstance(other, Reading)
    assert (other.value, other.calibration) == (20.4, "")


def test_a_level_is_stretched() -> None:
    """Scale, then offset."""
    stretched = LevelCalibration(scale=1.1, offset_share=-0.05, day=DAY)
    look = to_reading(sample(Quantity.LEVEL, 0.5), stretched, None)
    assert isinstance(look, Reading)
    assert look.value == pytest.approx(0.5)


def test_a_stop_gap_is_told_with_the_reading() -> None:
    """So that the judge lets no dose rest on it."""
    look = to_reading(sample(Quantity.PH, 0.0), replace(ELECTRODE, stop_gap=True), 21.0)
    assert isinstance(look, Reading)
    assert look.stop_gap
    whole = to_reading(sample(Quantity.PH, 0.0), ELECTRODE, 21.0)
    assert isinstance(whole, Reading)
    assert not whole.stop_gap
