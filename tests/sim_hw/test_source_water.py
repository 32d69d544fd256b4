"""sim_hw.source_water: a water by its analysis, balanced, its error told; three named waters."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from sim_hw.chemistry import equilibrate, strong_charge
from sim_hw.source_water import MG_PER_MMOL, WATERS, Analysis, calcium_bicarbonate

# mg/L: source water limits for lettuce, Oklahoma State Extension HLA-6722, Table 1.
LIMITS = {"calcium": 150.0, "magnesium": 50.0, "sodium": 50.0, "chloride": 140.0, "sulfate": 100.0}


def an_analysis(**changes: Any) -> Analysis:
    """A plain water that is nearly balanced, with some keys changed."""
    plain = {"mg_per_l": {"calcium": 40.0, "chloride": 7.0}, "alkalinity_mmol_per_l": 1.8}
    return Analysis.model_validate({**plain, **changes})


def test_units_make_no_difference() -> None:
    """40.078 mg/L of calcium is 1 mmol/L, 100.086 mg/L CaCO3 of alkalinity is 2 mmol/L."""
    by_mass = Analysis(mg_per_l={"calcium": 40.078}, alkalinity_mg_caco3_per_l=100.086)
    by_moles = Analysis(mmol_per_l={"calcium": 1.0}, alkalinity_mmol_per_l=2.0)
    assert by_mass.totals_mol_per_l() == pytest.approx(by_moles.totals_mol_per_l(), abs=1e-9)
    assert by_moles.totals_mol_per_l() == pytest.approx(calcium_bicarbonate(2.0), abs=1e-12)


def test_the_charge_error_is_told() -> None:
    """2 meq/L of calcium against 1.8 of alkalinity and 0.197 of chloride: cations less anions over their sum."""
    cations, anions = 2.0 * 40.0 / 40.078, 1.8 + 7.0 / 35.453
    expected = 100.0 * (cations - anions) / (cations + anions)
    assert an_analysis().charge_error_percent() == pytest.approx(expected, abs=1e-9)
    assert Analysis(alkalinity_mmol_per_l=0.0).charge_error_percent() == 0.0


@given(
    alkalinity=st.floats(0.5, 8.0),
    calcium=st.floats(0.0, 4.0),
    sodium=st.floats(0.0, 4.0),
    error=st.floats(-9.9, 9.9),
)
def test_the_alkalinity_is_as_analysed_whatever_the_error(
    alkalinity: float, calcium: float, sodium: float, error: float
) -> None:
    """Sodium or chloride makes up the rest, so strong charge equals alkalinity in every accepted analysis."""
    cations = 2.0 * calcium + sodium
    anions = max(alkalinity, cations * (1.0 - error / 100.0) / (1.0 + error / 100.0))
    sodium += max(0.0, anions * (1.0 + error / 100.0) / (1.0 - error / 100.0) - cations)
    water = Analysis(
        mmol_per_l={"calcium": calcium, "sodium": sodium, "chloride": anions - alkalinity},
        alkalinity_mmol_per_l=alkalinity,
    )
    assert water.charge_error_percent() == pytest.approx(error, abs=1e-6)
    totals = water.totals_mol_per_l()
    assert strong_charge(totals) == pytest.approx(alkalinity / 1000.0, abs=1e-12)
    assert min(totals) >= 0.0


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"alkalinity_mmol_per_l": 0.5}, r"charges differ by \+4\d\.\d % .* more positive than negative"),
        ({"alkalinity_mmol_per_l": 4.0}, r"charges differ by -3\d\.\d % .* more negative than positive"),
        ({"mmol_per_l": {"calcium": 1.0}}, "calcium: told in mg_per_l and in mmol_per_l"),
        ({"alkalinity_mg_caco3_per_l": 90.0}, "tell alkalinity_mmol_per_l or alkalinity_mg_caco3_per_l"),
        ({"mg_per_l": {"iron": 1.0}}, "iron"),
        ({"mg_per_l": {"calcium": -1.0}}, "greater than or equal to 0"),
        ({"mg_per_l": {"calcium": float("nan")}}, "calcium"),
    ],
)
def test_an_analysis_that_cannot_be_is_refused(changes: dict[str, Any], says: str) -> None:
    """Large charge errors, an ion told twice, unknown ions and impossible amounts."""
    with pytest.raises(ValidationError, match=says):
        an_analysis(**changes)


def test_an_analysis_without_alkalinity_is_refused() -> None:
    """It is never taken to be none."""
    with pytest.raises(ValidationError, match="0 where there is none"):
        Analysis(mg_per_l={"sodium": 23.0, "chloride": 35.4})


def test_named_waters_are_within_published_limits_and_balanced() -> None:
    """Charges within 5 %, every ion below the limits for lettuce, pH of a tap between 6.5 and 8."""
    for water in WATERS.values():
        assert abs(water.charge_error_percent()) < 5.0
        assert all(water.mg_per_l[ion] < limit for ion, limit in LIMITS.items())  # type: ignore[index]
        assert 6.5 < equilibrate(water.totals_mol_per_l(), 15.0).ph < 8.0


# Classes of the U.S. Geological Survey, from memory: soft to 60, moderately hard to 120, very hard above 180.
@pytest.mark.parametrize(
    ("name", "low", "high"), [("soft", 0.0, 60.0), ("typical", 61.0, 120.0), ("hard", 180.0, 500.0)]
)
def test_named_waters_are_as_hard_as_they_say(name: str, low: float, high: float) -> None:
    """Calcium and magnesium as mg/L CaCO3."""
    ions = WATERS[name].mg_per_l  # type: ignore[index]
    hardness = 100.086 * (ions["calcium"] / MG_PER_MMOL["calcium"] + ions["magnesium"] / MG_PER_MMOL["magnesium"])
    assert low <= hardness <= high
