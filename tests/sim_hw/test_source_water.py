"""sim_hw.source_water: three named waters."""

from __future__ import annotations

import pytest

from config.chemistry import equilibrate
from config.source_water import MG_PER_MMOL
from sim_hw.source_water import WATERS

# mg/L: source water limits for lettuce, Oklahoma State Extension HLA-6722, Table 1.
LIMITS = {"calcium": 150.0, "magnesium": 50.0, "sodium": 50.0, "chloride": 140.0, "sulfate": 100.0}


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
