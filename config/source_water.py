"""The water that fills and tops up a tank, by its analysis: for `evenwater mix`, and for the simulated bench.

    [water]                                       alkalinity_mmol_per_l = 1.65
    mg_per_l = { calcium = 30.0, ... }            or mmol_per_l = { calcium = 0.75, ... }

Charges of a real analysis never quite cancel. The error is told, refused when it is large, and made up with
sodium or chloride, so that the alkalinity stays as analysed.
"""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from config.chemistry import Totals, strong_charge
from config.table import Table

Ion = Literal["calcium", "magnesium", "sodium", "potassium", "ammonium", "chloride", "sulfate", "nitrate"]
Amount = Annotated[float, Field(ge=0.0, le=1000.0)]

MG_PER_MMOL: dict[Ion, float] = {  # standard atomic masses; ammonium, sulfate and nitrate as whole ions
    "calcium": 40.078,
    "magnesium": 24.305,
    "sodium": 22.990,
    "potassium": 39.098,
    "ammonium": 18.039,
    "chloride": 35.453,
    "sulfate": 96.06,
    "nitrate": 62.004,
}
MG_CACO3_PER_MMOL = 50.043  # of alkalinity: half a mole of calcium carbonate
MOST_ERROR_PERCENT = 10.0  # a laboratory repeats an analysis that is worse (common practice: above 5 %)

FREE_CO2_SHARE = 0.1  # tap water brings free CO2 of a tenth of its alkalinity, near pH 7.4 (own choice)


class Analysis(Table):
    """A water's analysis, its ions in two tables: mg_per_l = { calcium = 40.0 }, mmol_per_l = { chloride = 0.2 }.

    Known are calcium, magnesium, sodium, potassium, ammonium, chloride, sulfate and nitrate. One left out is 0.
    """

    mg_per_l: dict[Ion, Amount] = Field(default_factory=dict)
    mmol_per_l: dict[Ion, Amount] = Field(default_factory=dict)
    alkalinity_mmol_per_l: float | None = Field(default=None, ge=0.0, le=20.0, description="the same as in meq/L")
    alkalinity_mg_caco3_per_l: float | None = Field(
        default=None, ge=0.0, le=1000.0, description="the other way to tell it"
    )

    @model_validator(mode="after")
    def _each_told_once(self) -> Self:
        if twice := sorted(self.mg_per_l.keys() & self.mmol_per_l.keys()):
            raise ValueError(f"{', '.join(twice)}: told in mg_per_l and in mmol_per_l; keep one")
        if (self.alkalinity_mmol_per_l is None) == (self.alkalinity_mg_caco3_per_l is None):
            raise ValueError("tell alkalinity_mmol_per_l or alkalinity_mg_caco3_per_l (0 where there is none)")
        return self

    @model_validator(mode="after")
    def _charges_nearly_cancel(self) -> Self:
        error = self.charge_error_percent()
        if not abs(error) <= MOST_ERROR_PERCENT:
            more, less = ("positive", "negative") if error > 0.0 else ("negative", "positive")
            raise ValueError(
                f"charges differ by {error:+.1f} % of their sum, more {more} than {less}: allowed is "
                f"{MOST_ERROR_PERCENT:g} % either way; check the units (nitrate as NO3, sulfate as SO4), or add "
                "what is missing"
            )
        return self

    def alkalinity_mol_per_l(self) -> float:
        """Alkalinity as charge, in mol/L."""
        if self.alkalinity_mmol_per_l is not None:
            return self.alkalinity_mmol_per_l / 1000.0
        return (self.alkalinity_mg_caco3_per_l or 0.0) / MG_CACO3_PER_MMOL / 1000.0

    def charge_error_percent(self) -> float:
        """Electroneutrality error: cations less anions over their sum, in equivalents; 0 for pure water."""
        ions = self._ions()
        excess = strong_charge(ions) - self.alkalinity_mol_per_l()
        whole = 2.0 * (ions.calcium + ions.magnesium + ions.sulfate) + self.alkalinity_mol_per_l()
        whole += ions.sodium + ions.potassium + ions.ammonium + ions.chloride + ions.nitrate
        return 100.0 * excess / whole if whole > 0.0 else 0.0

    def totals_mol_per_l(self) -> Totals:
        """The water in mol/L, its charges balanced, with the carbonate of its alkalinity and some free CO2."""
        ions, alkalinity = self._ions(), self.alkalinity_mol_per_l()
        excess = strong_charge(ions) - alkalinity
        return ions._replace(
            sodium=ions.sodium + max(0.0, -excess),
            chloride=ions.chloride + max(0.0, excess),
            carbonate=alkalinity * (1.0 + FREE_CO2_SHARE),
        )

    def _ions(self) -> Totals:
        in_mmol = {ion: mg / MG_PER_MMOL[ion] for ion, mg in self.mg_per_l.items()} | self.mmol_per_l
        return Totals(**{ion: mmol / 1000.0 for ion, mmol in in_mmol.items()})
