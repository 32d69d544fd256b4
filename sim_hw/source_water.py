"""Source waters of the bench: those known by a name, and one told only by its alkalinity."""

from __future__ import annotations

from typing import Literal

from config.chemistry import Totals
from config.source_water import FREE_CO2_SHARE, Analysis

WaterName = Literal["soft", "typical", "hard"]

# Invented analyses. Hardness classes of the U.S. Geological Survey (memory), in mg/L CaCO3: soft to 60, moderate
# to 120, very hard above 180; these have 26, 104 and 311. All ions are within the limits for lettuce source water
# of Oklahoma State Extension HLA-6722, Table 1.
WATERS: dict[WaterName, Analysis] = {
    "soft": Analysis(
        mg_per_l={
            **{"calcium": 8.0, "magnesium": 1.5, "sodium": 6.0, "potassium": 0.8},
            **{"chloride": 7.0, "sulfate": 5.0, "nitrate": 2.0},
        },
        alkalinity_mmol_per_l=0.46,
    ),
    "typical": Analysis(
        mg_per_l={
            **{"calcium": 30.0, "magnesium": 7.0, "sodium": 16.0, "potassium": 2.0},
            **{"chloride": 20.0, "sulfate": 22.0, "nitrate": 6.0},
        },
        alkalinity_mmol_per_l=1.65,
    ),
    "hard": Analysis(
        mg_per_l={
            **{"calcium": 95.0, "magnesium": 18.0, "sodium": 30.0, "potassium": 3.0},
            **{"chloride": 42.0, "sulfate": 60.0, "nitrate": 15.0},
        },
        alkalinity_mmol_per_l=4.85,
    ),
}


def calcium_bicarbonate(alkalinity_mmol_per_l: float) -> Totals:
    """Water in mol/L that holds nothing else, with some free CO2."""
    alkalinity = alkalinity_mmol_per_l / 1000.0
    return Totals(calcium=alkalinity / 2.0, carbonate=alkalinity * (1.0 + FREE_CO2_SHARE))
