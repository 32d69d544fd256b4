"""What is in the bottles at a tank: acids and bases by strength, the two stocks of a nutrient recipe.

    percent and density, mol/L, or times  ->  Reagent.per_l(recipe)  ->  moles of each of the Totals per litre

CAUTION, for a real bottle: these are hazardous concentrates. Acid goes into water, never water into acid;
goggles, gloves and local rules apply. The strengths here only say what a simulated bottle holds.
"""

from __future__ import annotations

from typing import Literal, NamedTuple, Self, cast, get_args

from pydantic import Field, model_validator

from config.chemistry import Totals
from sim_hw.strict import Table

Pure = Literal[
    "phosphoric_acid",
    "nitric_acid",
    "sulfuric_acid",
    "hydrochloric_acid",
    "potassium_hydroxide",
    "sodium_hydroxide",
    "potassium_carbonate",
    "potassium_bicarbonate",
    "ammonium_nitrate",
    "ammonium_sulfate",
]
Stock = Literal["nutrient_a", "nutrient_b"]
ReagentRole = Literal["ph_down", "ph_up", "stock_a", "stock_b"]
RecipeName = Literal["hoagland_1", "hoagland_2", "sonneveld_lettuce"]
Salt = Literal[
    "calcium_nitrate",
    "potassium_nitrate",
    "ammonium_nitrate",
    "potassium_phosphate",
    "ammonium_phosphate",
    "magnesium_sulfate",
]


class _Kind(NamedTuple):
    """What one mole brings, and weighs."""

    brings: Totals
    g_per_mol: float


# Molar masses from standard atomic masses.
PURE: dict[Pure, _Kind] = {
    "phosphoric_acid": _Kind(Totals(phosphate=1.0), 97.994),
    "nitric_acid": _Kind(Totals(nitrate=1.0), 63.012),
    "sulfuric_acid": _Kind(Totals(sulfate=1.0), 98.072),
    "hydrochloric_acid": _Kind(Totals(chloride=1.0), 36.458),
    "potassium_hydroxide": _Kind(Totals(potassium=1.0), 56.105),
    "sodium_hydroxide": _Kind(Totals(sodium=1.0), 39.997),
    "potassium_carbonate": _Kind(Totals(potassium=2.0, carbonate=1.0), 138.205),
    "potassium_bicarbonate": _Kind(Totals(potassium=1.0, carbonate=1.0), 100.114),
    "ammonium_nitrate": _Kind(Totals(ammonium=1.0, nitrate=1.0), 80.043),
    "ammonium_sulfate": _Kind(Totals(ammonium=2.0, sulfate=1.0), 132.134),
}

_SALTS: dict[Salt, Totals] = {
    "calcium_nitrate": Totals(calcium=1.0, nitrate=2.0),
    "potassium_nitrate": Totals(potassium=1.0, nitrate=1.0),
    "ammonium_nitrate": Totals(ammonium=1.0, nitrate=1.0),
    "potassium_phosphate": Totals(potassium=1.0, phosphate=1.0),  # KH2PO4
    "ammonium_phosphate": Totals(ammonium=1.0, phosphate=1.0),  # NH4H2PO4
    "magnesium_sulfate": Totals(magnesium=1.0, sulfate=1.0),
}
_LEADING: dict[Stock, Salt] = {"nutrient_a": "calcium_nitrate", "nutrient_b": "magnesium_sulfate"}

# Full strength, in mmol of each salt per litre, by the bottle that holds it: calcium apart from sulfate and
# phosphate, half the KNO3 in each where both hold some (common practice). Trace elements and iron chelate are too
# dilute to matter. Hoagland & Arnon 1950, Calif. Agric. Exp. Stn. Circular 347 (solution 2 from memory); modified
# Sonneveld solution for lettuce: Mattson & Peters 2014 (memory), the ammonium of its double salt as NH4NO3.
_RECIPES: dict[RecipeName, dict[Stock, dict[Salt, float]]] = {
    "hoagland_1": {
        "nutrient_a": {"calcium_nitrate": 5.0, "potassium_nitrate": 2.5},
        "nutrient_b": {"potassium_nitrate": 2.5, "potassium_phosphate": 1.0, "magnesium_sulfate": 2.0},
    },
    "hoagland_2": {
        "nutrient_a": {"calcium_nitrate": 4.0, "potassium_nitrate": 3.0},
        "nutrient_b": {"potassium_nitrate": 3.0, "ammonium_phosphate": 1.0, "magnesium_sulfate": 2.0},
    },
    "sonneveld_lettuce": {
        "nutrient_a": {"calcium_nitrate": 2.249, "ammonium_nitrate": 0.925, "potassium_nitrate": 2.1855},
        "nutrient_b": {"potassium_nitrate": 2.1855, "potassium_phosphate": 1.0, "magnesium_sulfate": 0.998},
    },
}


def recipe_mol_per_l(recipe: RecipeName) -> Totals:
    """A nutrient solution at full strength, in pure water."""
    return _sum(_stock_mol_per_l(recipe, "nutrient_a"), _stock_mol_per_l(recipe, "nutrient_b"))


def _stock_mol_per_l(recipe: RecipeName, stock: Stock) -> Totals:
    """What one stock contributes to a litre of solution at full strength."""
    whole = Totals()
    for salt, mmol in _RECIPES[recipe][stock].items():
        whole = _sum(whole, _times(_SALTS[salt], mmol / 1000.0))
    return whole


def _leading_mol(recipe: RecipeName, stock: Stock) -> float:
    """Of the salt that a stock's strength is told by, in mol per litre of solution at full strength."""
    return _RECIPES[recipe][stock][_LEADING[stock]] / 1000.0


def _sum(one: Totals, other: Totals) -> Totals:
    return Totals._make([a + b for a, b in zip(one, other, strict=True)])


def _times(totals: Totals, factor: float) -> Totals:
    return Totals._make([factor * amount for amount in totals])


class Reagent(Table):
    """What is in a bottle, its strength told in one way: mol/L, percent and density, or times the recipe.

    Left out, ROLE holds 0.5 mol/L phosphoric acid or potassium hydroxide, or a hundredfold stock of the recipe.
    """

    substance: Pure | Stock = Field(description="nutrient_a and nutrient_b: the stocks of the tank's recipe")
    strength_mol_per_l: float | None = Field(
        default=None, gt=0.0, le=20.0, description="of the substance; of a stock its Ca(NO3)2 or MgSO4"
    )
    percent: float | None = Field(default=None, gt=0.0, le=100.0, description="by weight, as on the label")
    density_g_per_ml: float | None = Field(default=None, ge=0.9, le=2.0, description="goes with percent")
    times: float | None = Field(
        default=None, ge=1.0, le=400.0, description="of a stock: 1 mL in so many mL is the full recipe"
    )

    @model_validator(mode="after")
    def _told_in_one_way(self) -> Self:
        ways = (self.strength_mol_per_l, self.percent, self.times)
        if sum(way is not None for way in ways) != 1:
            raise ValueError(
                "tell the strength in one way: strength_mol_per_l, or percent and density_g_per_ml, or times"
            )
        if (self.percent is None) != (self.density_g_per_ml is None):
            raise ValueError("percent and density_g_per_ml go together")
        if self.substance in get_args(Stock) and self.percent is not None:
            raise ValueError(f"{self.substance}: tell its strength as times or strength_mol_per_l, not percent")
        if self.substance in PURE and self.times is not None:
            raise ValueError(f"{self.substance}: times is for nutrient_a and nutrient_b only")
        return self

    def mol_per_l(self, recipe: RecipeName) -> float:
        """Strength in mol/L, of a stock that of its leading salt."""
        if self.strength_mol_per_l is not None:
            return self.strength_mol_per_l
        if self.percent is not None and self.density_g_per_ml is not None:
            grams = 1000.0 * self.density_g_per_ml * self.percent / 100.0
            return grams / PURE[cast(Pure, self.substance)].g_per_mol
        return (self.times or 0.0) * _leading_mol(recipe, cast(Stock, self.substance))

    def per_l(self, recipe: RecipeName) -> Totals:
        """Moles that a litre of this bottle brings; the stocks belong to this recipe."""
        return _times(self._per_mol(recipe), self.mol_per_l(recipe))

    def _per_mol(self, recipe: RecipeName) -> Totals:
        if self.substance in PURE:
            return PURE[self.substance].brings
        stock = cast(Stock, self.substance)
        return _times(_stock_mol_per_l(recipe, stock), 1.0 / _leading_mol(recipe, stock))


# 0.5 mol/L is our own choice: dilute enough that a whole dose cannot hurt. Stocks are 100-fold (common practice).
BOTTLES: dict[ReagentRole, Reagent] = {
    "ph_down": Reagent(substance="phosphoric_acid", strength_mol_per_l=0.5),
    "ph_up": Reagent(substance="potassium_hydroxide", strength_mol_per_l=0.5),
    "stock_a": Reagent(substance="nutrient_a", times=100.0),
    "stock_b": Reagent(substance="nutrient_b", times=100.0),
}
