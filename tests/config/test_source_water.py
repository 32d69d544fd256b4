"""config.source_water: a water by its analysis, balanced, its error told."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from config.chemistry import strong_charge
from config.source_water import Analysis
from sim_hw.source_water import calcium_bicarbonate


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
