"""The measuring room against published values. Each check names its source; the rows are in the CSVs beside."""

from __future__ import annotations

import pytest

from daemon.measure.convert import (
    ISO_7888,
    Compensation,
    EcCalibration,
    PhCalibration,
    ec25,
    iso7888_f25,
    nernst_slope_mv_per_ph,
    ph_from_mv,
)
from daemon.measure.standards import ec_standard, ph_standard
from tests.reference.published import by_temperature, rows

PHTHALATE = "phthalate 0.05 m"
PHOSPHATE = "equimolal phosphate 0.025 m + 0.025 m"
BORAX = "borax 0.01 m"
CARBONATE = "carbonate 0.025 m + 0.025 m"
IUPAC = "NIST/IUPAC primary"
SECOND_SERIES = "HJ 1147-2020"


@pytest.mark.parametrize(
    ("name", "buffer", "source", "tolerance"),
    [
        ("phthalate", PHTHALATE, IUPAC, 0.0005),
        ("phosphate", PHOSPHATE, IUPAC, 0.0005),
        ("borax", BORAX, IUPAC, 0.0005),
        ("carbonate", CARBONATE, IUPAC, 0.0005),
        ("phthalate", PHTHALATE, SECOND_SERIES, 0.010),
        ("phosphate", PHOSPHATE, SECOND_SERIES, 0.003 + 1e-9),
        ("6.86", PHOSPHATE, SECOND_SERIES, 0.003 + 1e-9),
    ],
)
def test_primary_buffers_agree_with_two_published_series(
    name: str, buffer: str, source: str, tolerance: float
) -> None:
    """Buck et al. 2002 (NIST, IUPAC) and HJ 1147-2020 give these pH at eleven temperatures."""
    published = by_temperature("ph_buffers.csv", buffer=buffer, source=source)
    assert len(published) == 11
    for temperature_c, ph in published.items():
        assert ph_standard(name, temperature_c) == pytest.approx(ph, abs=tolerance), temperature_c


def test_borax_agrees_with_a_second_series_where_reservoirs_are() -> None:
    """HJ 1147-2020 from 10 to 45 °C within 0.004 (the two series themselves differ by up to 0.006 at 0 °C)."""
    published = by_temperature("ph_buffers.csv", buffer=BORAX, source=SECOND_SERIES)
    for temperature_c in (10, 15, 20, 25, 30, 35, 40, 45):
        assert ph_standard("borax", temperature_c) == pytest.approx(published[temperature_c], abs=0.004)


@pytest.mark.parametrize(
    ("name", "coefficients", "tolerance"),
    [
        ("phosphate", (3459.39, -21.0574, 0.073301, -6.2266e-5), 0.002),
        ("borax", (5259.02, -33.1064, 0.114826, -1.0786e-4), 0.002),
        ("carbonate", (2557.1, -4.2846, 0.019185, 0.0), 0.002),
        ("4.01", (2073.44, -13.327, 0.045199, -3.4846e-5), 0.008),
    ],
)
def test_interpolated_buffers_follow_the_published_equations(
    name: str, coefficients: tuple[float, float, float, float], tolerance: float
) -> None:
    """A/T + B + CT + DT²: Wu, Koch & Durst 1988 (from memory); for 4.01 Hetzer et al. 1977 (confirmed)."""
    a, b, c, d = coefficients
    for tenth in range(0, 501, 7):
        kelvin = tenth / 10.0 + 273.15
        expected = a / kelvin + b + c * kelvin + d * kelvin**2
        assert ph_standard(name, tenth / 10.0) == pytest.approx(expected, abs=tolerance)


def test_the_bottle_numbers_are_right_at_25() -> None:
    """Common practice: a bottle is named by its pH, or mS/cm, at 25 °C."""
    for name in ("4.01", "6.86", "7.00", "9.18", "10.01"):
        assert ph_standard(name, 25.0) == pytest.approx(float(name), abs=0.0051)
    for name in ("1.413", "2.765", "12.88"):
        assert ec_standard(name, 25.0) == pytest.approx(float(name), rel=1e-6)


def test_neutral_bottle_is_not_the_primary_phosphate() -> None:
    """The trap of growing guides: 7.00 and 6.865 are two liquids, and the 7.00 reads 7.06 at 10 °C."""
    technical = by_temperature("ph_buffers.csv", buffer="technical phosphate buffer nominal 7.00")
    for temperature_c, ph in technical.items():
        assert ph_standard("7.00", temperature_c) == pytest.approx(ph, abs=0.0005)
        assert ph_standard("7.00", temperature_c) - ph_standard("phosphate", temperature_c) > 0.12


def test_nernst_slope() -> None:
    """R·T·ln(10)/F from CODATA constants, as computed with scipy: within 0.001 mV per pH."""
    published = by_temperature("nernst.csv", quantity="slope")
    assert len(published) == 11
    for temperature_c, slope in published.items():
        assert nernst_slope_mv_per_ph(temperature_c) == pytest.approx(slope, abs=1e-3)


def test_an_ideal_electrode_reads_the_buffer_it_stands_in() -> None:
    """Ideal potentials in three buffers, 5 to 35 °C: 100 % slope, no offset, within 0.0005 pH."""
    ideal = PhCalibration(slope_percent=100.0, offset_mv=0.0, day="2026-03-02")
    names = {PHTHALATE: "phthalate", PHOSPHATE: "phosphate", BORAX: "borax"}
    seen = 0
    for row in rows("nernst.csv", quantity="ideal glass electrode potential"):
        temperature_c = float(row["temperature_C"])
        ph = ph_from_mv(float(row["value"]), ideal, temperature_c)
        assert ph == pytest.approx(ph_standard(names[row["condition"]], temperature_c), abs=0.0005)
        seen += 1
    assert seen == 18


@pytest.mark.parametrize(
    ("name", "concentration"), [("kcl 0.01 mol/kg", "0.01 mol/kg"), ("kcl 0.1 mol/kg", "0.1 mol/kg")]
)
def test_molal_potassium_chloride(name: str, concentration: str) -> None:
    """Pratt et al. 2001 (IUPAC, NIST; the CRC Handbook's table) at twelve temperatures, within 0.1 %."""
    published = by_temperature("kcl_conductivity.csv", concentration=concentration, source="CRC")
    assert len(published) == 12
    for temperature_c, us_per_cm in published.items():
        assert ec_standard(name, temperature_c) == pytest.approx(us_per_cm / 1000.0, rel=1e-3)


@pytest.mark.parametrize(
    ("name", "concentration"), [("1.413", "0.01 mol/L"), ("2.765", "0.02 mol/L"), ("12.88", "0.1 mol/L")]
)
def test_bottled_potassium_chloride(name: str, concentration: str) -> None:
    """CRC Handbook 97th ed. at 25 °C within 0.1 %; Kohlrausch's at 0, 18, 20 °C (memory) within 0.2 %."""
    at_25 = by_temperature("kcl_conductivity.csv", concentration=concentration, source="CRC Handbook 97th")
    assert ec_standard(name, 25.0) == pytest.approx(at_25[25.0] / 1000.0, rel=1e-3)
    old = by_temperature("kcl_conductivity.csv", concentration=concentration, source="Kohlrausch")
    for temperature_c, us_per_cm in old.items():
        assert ec_standard(name, temperature_c) == pytest.approx(us_per_cm / 1000.0, rel=2e-3)


@pytest.mark.parametrize(("name", "concentration"), [("1.413", "0.01 mol/L"), ("2.765", "0.02 mol/L")])
def test_bottled_potassium_chloride_against_an_independent_model(name: str, concentration: str) -> None:
    """PHREEQC 3.8.6 with phreeqc.dat gives the same at 18 to 25 °C within 0.5 %."""
    modelled = by_temperature("kcl_conductivity.csv", concentration=concentration, source="computed: PHREEQC")
    assert len(modelled) == 3
    for temperature_c, us_per_cm in modelled.items():
        assert ec_standard(name, temperature_c) == pytest.approx(us_per_cm / 1000.0, rel=5e-3)


def test_the_weak_standard_takes_the_course_of_dilute_potassium_chloride() -> None:
    """PHREEQC 3.8.6 for 0.001 mol/L, 18 to 25 °C: the same share of its 25 °C value within 0.3 %."""
    modelled = by_temperature("kcl_conductivity.csv", concentration="0.001 mol/L", source="computed: PHREEQC")
    assert len(modelled) == 3
    for temperature_c, us_per_cm in modelled.items():
        share = ec_standard("0.084", temperature_c) / ec_standard("0.084", 25.0)
        assert share == pytest.approx(us_per_cm / modelled[25.0], rel=3e-3)


def test_molal_and_molar_potassium_chloride_differ_as_published() -> None:
    """CRC Handbook at 25 °C: 1408.23 µS/cm and 12.8246 mS/cm per kg, per litre 0.3 to 0.5 % more."""
    molar = by_temperature("kcl_conductivity.csv", concentration="0.1 mol/L", source="CRC Handbook 97th")[25.0]
    assert ec_standard("12.88", 25.0) / ec_standard("kcl 0.1 mol/kg", 25.0) == pytest.approx(1.0043, abs=2e-4)
    assert molar / 1000.0 / ec_standard("kcl 0.1 mol/kg", 25.0) == pytest.approx(1.0051, abs=2e-4)
    assert ec_standard("1.413", 25.0) / ec_standard("kcl 0.01 mol/kg", 25.0) == pytest.approx(1.0034, abs=2e-4)


def test_iso_7888_equation() -> None:
    """ISO 7888:1985: its equation at every degree from 0 to 35 °C within 0.0001, its table within 0.001."""
    equation = by_temperature("conductivity_temperature.csv", quantity="f25 (kappa25 = f25*kappa_t)")
    printed = by_temperature("conductivity_temperature.csv", quantity="f25 printed table")
    assert len(equation) == 36
    assert len(printed) == 8
    for temperature_c, factor in equation.items():
        assert iso7888_f25(temperature_c) == pytest.approx(factor, abs=1e-4)
    for temperature_c, factor in printed.items():
        assert iso7888_f25(temperature_c) == pytest.approx(factor, abs=1e-3)


@pytest.mark.parametrize(
    ("compensation", "lowest_c", "tolerance"),
    [(ISO_7888, 15.0, 0.0025), (Compensation(linear_percent_per_k=2.0), 15.0, 0.0175)],
)
def test_a_nutrient_solution_reads_the_same_at_any_temperature(
    compensation: Compensation, lowest_c: float, tolerance: float
) -> None:
    """Full Hoagland no. 1 modelled with PHREEQC 3.8.6 (Amm.dat), 15 to 30 °C: EC comes out as at 25 °C."""
    cell = EcCalibration(cell_constant_per_cm=1.0, day="2026-03-02")
    shares = by_temperature("conductivity_temperature.csv", quantity="kappa_t/kappa_25, Hoagland-1 full pH 5.8")
    for temperature_c, share in shares.items():
        if lowest_c <= temperature_c <= 30.0:
            assert ec25(2.157 * share, cell, temperature_c, compensation) == pytest.approx(2.157, rel=tolerance)


def test_a_flat_two_percent_departs_from_iso_7888_as_known() -> None:
    """Against ISO 7888 a flat 2 % per kelvin reads 4.2 % high at 0 °C, 0.5 low at 15, 1.4 high at 35 °C."""
    cell = EcCalibration(cell_constant_per_cm=1.0, day="2026-03-02")
    for temperature_c, percent in ((0.0, 4.2), (15.0, -0.5), (35.0, 1.4)):
        flat = ec25(1.0, cell, temperature_c, Compensation(linear_percent_per_k=2.0))
        iso = ec25(1.0, cell, temperature_c, ISO_7888)
        assert isinstance(flat, float)
        assert isinstance(iso, float)
        assert 100.0 * (flat / iso - 1.0) == pytest.approx(percent, abs=0.1)
