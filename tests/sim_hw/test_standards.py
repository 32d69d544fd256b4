"""Buffers and conductivity standards against published values."""

from __future__ import annotations

import pytest

from sim_hw.standards import (
    StandardError,
    Touched,
    bath,
    between,
    buffer_ph,
    chloride_ms_per_cm,
    ec_standard,
    ph_standard,
)

# NIST/IUPAC primary pH(S): Buck et al. 2002, Pure Appl. Chem. 74:2169
PRIMARY_PH = [
    (4.01, 25.0, 4.005),
    (4.01, 30.0, 4.011),
    (4.01, 35.0, 4.018),
    (6.86, 15.0, 6.900),
    (6.86, 20.0, 6.881),
    (6.86, 25.0, 6.865),
    (6.86, 30.0, 6.853),
    (6.86, 35.0, 6.844),
    (9.18, 15.0, 9.276),
    (9.18, 20.0, 9.225),
    (9.18, 25.0, 9.180),
    (10.01, 25.0, 10.012),  # and Staples & Bates 1969, J. Res. NBS 73A:37
]
# 0.01 mol/L potassium chloride, the label 1413 µS/cm: Kohlrausch-type normal solutions (from memory)
CHLORIDE_MS_PER_CM = [(18.0, 1.225), (20.0, 1.278), (25.0, 1.413)]


@pytest.mark.parametrize(("label", "temperature_c", "ph"), PRIMARY_PH)
def test_buffers_have_their_published_ph(label: float, temperature_c: float, ph: float) -> None:
    """Within 0.002 pH of the primary standards."""
    assert buffer_ph(label, temperature_c) == pytest.approx(ph, abs=0.002)


def test_the_technical_buffer_is_7_at_25_and_above_it_when_cold() -> None:
    """The buffer labelled 7.00 is not the primary phosphate (common practice: 7.06 at 10 °C)."""
    assert buffer_ph(7.00, 25.0) == 7.00
    assert buffer_ph(7.00, 10.0) == pytest.approx(7.06)
    assert buffer_ph(7.00, 22.5) == pytest.approx(7.01)


@pytest.mark.parametrize(("temperature_c", "ms_per_cm"), CHLORIDE_MS_PER_CM)
def test_potassium_chloride_follows_its_table(temperature_c: float, ms_per_cm: float) -> None:
    """Within 0.2 % of the published conductivity at other temperatures."""
    assert chloride_ms_per_cm(1.413, temperature_c) == pytest.approx(ms_per_cm, rel=0.002)


@pytest.mark.parametrize("name", ["7", "7.0", "7.00", "7.001"])
def test_a_label_may_be_written_loosely(name: str) -> None:
    """7, 7.0 and 7.00 are one buffer."""
    assert ph_standard(name, 25.0) == Touched(7.00, 5.0, 25.0)


@pytest.mark.parametrize("name", ["7.5", "nan", "soup", ""])
def test_a_buffer_that_does_not_exist_is_refused_with_those_that_do(name: str) -> None:
    """The message lists what there is."""
    with pytest.raises(StandardError, match=r"4\.01, 6\.86, 7\.00, 9\.18, 10\.01"):
        ph_standard(name, 25.0)


def test_an_ec_standard_that_does_not_exist_is_refused() -> None:
    """pH buffers are no EC standards."""
    with pytest.raises(StandardError, match=r"1\.413"):
        ec_standard("7.00", 25.0)


def test_a_water_bath_has_the_temperature_of_its_name() -> None:
    """Between freezing and 50 °C."""
    assert bath("25.5", 20.0) == Touched(6.8, 0.005, 25.5)
    for name in ("80", "nan", "hot"):
        with pytest.raises(StandardError, match="0 to 50 °C"):
            bath(name, 20.0)


def test_air_is_nothing_and_water_nearly_nothing() -> None:
    """Every probe may be in either."""
    for standard in (ph_standard, ec_standard, bath):
        assert standard("air", 20.0) is None
        assert standard("water", 20.0) == Touched(6.8, 0.005, 20.0)


def test_between_knots_lies_a_straight_line() -> None:
    """And beyond the ends the end itself."""
    knots = [(0.0, 1.0), (10.0, 3.0)]
    assert [between(knots, x) for x in (-1.0, 0.0, 5.0, 10.0, 11.0)] == [1.0, 1.0, 2.0, 3.0, 3.0]
