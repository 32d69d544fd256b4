"""What a simulated tank holds and what goes on in it: the keys of `[rig.tank.NAME]`, each with a default.

volume_l, start_ph, temperature_c ...     the reservoir as it stands at the start
water = "hard", or [.analysis], or alkalinity_mmol_per_l      what it is filled and topped up with
recipe, nutrient_strength, [.reagent.ROLE]                    what is dissolved in it, and in the bottles
[.system] kind = "ebb_and_flow" ...       how the water goes round: sim_hw/systems.py
plants, nitrate_uptake_..., or [.crop]    what they take: fixed, or growing with sim_hw/crop.py
[[.spell]] from_day, until_day, by_c      warm and cold days: sim_hw/room.py
"""

from __future__ import annotations

from math import inf
from typing import Annotated, Self

from pydantic import Field, field_validator, model_validator

from config.chemistry import COLDEST_C, WARMEST_C, Totals
from config.source_water import Analysis
from sim_hw.crop import CropTable
from sim_hw.reagents import BOTTLES, Reagent, ReagentRole, RecipeName
from sim_hw.room import S_PER_DAY, Spell
from sim_hw.source_water import WATERS, WaterName, calcium_bicarbonate
from sim_hw.strict import Table
from sim_hw.systems import DeepWater, EbbAndFlow, Film, Still

AnySystem = Annotated[DeepWater | Film | EbbAndFlow | Still, Field(discriminator="kind")]
_WATER_KEYS = ("water", "analysis", "alkalinity_mmol_per_l")


class Pour(Table):
    """Source water that somebody pours in, unasked."""

    day: float = Field(ge=0.0, le=3650.0, description="after the start")
    litres: float = Field(gt=0.0, le=2000.0, description="poured in at once")


class TankSettings(Table):
    """A reservoir as it stands at the start, and what goes on in it. Defaults: Quince Lane, an invented place.

    The source water's CO2 is chosen so that the mixed solution starts at start_ph. Figures without a remark are
    our own choice of a plausible small school reservoir.
    """

    volume_l: float = Field(default=60.0, ge=2.0, le=2000.0, description="in the reservoir at the start")
    start_ph: float = Field(default=7.2, ge=3.5, le=10.0, description="of the mixed solution")
    alkalinity_mmol_per_l: float = Field(
        default=1.0, ge=0.0, le=8.0, description="of a source water that is calcium bicarbonate and nothing else"
    )
    water: WaterName | None = Field(default=None, description="a named source water instead (invented analyses)")
    analysis: Analysis | None = None
    recipe: RecipeName = Field(default="hoagland_1", description="of the solution and of stock A and B")
    nutrient_strength: float = Field(
        default=0.47, ge=0.0, le=3.0, description="of the full recipe; half is common practice for lettuce"
    )
    temperature_c: float = Field(default=20.0, ge=5.0, le=40.0, description="mean of an ordinary day")
    temperature_swing_c: float = Field(
        default=1.5, ge=0.0, le=5.0, description="above the mean at 15 h and below it at 3 h"
    )
    spell: tuple[Spell, ...] = Field(default=(), strict=False)
    mixing_time_s: float = Field(default=120.0, ge=1.0, le=7200.0, description="until 95 % of a dose shows")
    system: AnySystem = DeepWater()
    co2_exchange_per_h: float = Field(
        default=0.2, ge=0.0, le=20.0, description="share of the way to what the air holds, per hour at first"
    )
    air_co2_ppm: float = Field(default=420.0, ge=0.0, le=5000.0, description="CO2 in the air")
    plants: int = Field(default=18, ge=0, le=10000, description="that drink from it")
    nitrate_uptake_mmol_per_plant_day: float = Field(
        default=0.7, ge=0.0, le=20.0, description="nitrogen taken up, by day; a head of 150 g holds about 24 mmol"
    )
    ammonium_preference: float = Field(
        default=5.0, ge=0.0, le=100.0, description="over nitrate, mole for mole (from memory)"
    )
    light_on_h: float = Field(default=6.0, ge=0.0, le=24.0, description="hour of the day")
    light_off_h: float = Field(default=20.0, ge=0.0, le=24.0, description="hour of the day, after light_on_h")
    transpiration_l_per_day: float = Field(default=0.9, ge=0.0, le=200.0, description="all plants together")
    evaporation_l_per_day: float = Field(default=0.2, ge=0.0, le=200.0, description="from the open water")
    crop: CropTable | None = None
    harvest_day: float | None = Field(
        default=None, ge=0.0, le=3650.0, description="days after the start; nothing is drunk from then on"
    )
    pour: tuple[Pour, ...] = Field(default=(), strict=False)
    reagent: dict[ReagentRole, Reagent] = Field(default_factory=lambda: dict(BOTTLES))

    @field_validator("reagent")
    @classmethod
    def _bottles_left_out_keep_their_default(
        cls, given: dict[ReagentRole, Reagent]
    ) -> dict[ReagentRole, Reagent]:
        return {**BOTTLES, **given}

    @model_validator(mode="after")
    def _light_in_order(self) -> Self:
        if not self.light_on_h < self.light_off_h:
            raise ValueError(
                f"light_on_h = {self.light_on_h:g}: must be below light_off_h = {self.light_off_h:g}"
            )
        return self

    @model_validator(mode="after")
    def _one_source_of_water(self) -> Self:
        told = [key for key in _WATER_KEYS if key in self.model_fields_set and getattr(self, key) is not None]
        if len(told) > 1:
            raise ValueError(f"{' and '.join(told)}: the source water is told more than once; keep one")
        return self

    @model_validator(mode="after")
    def _neither_ice_nor_steam(self) -> Self:
        by_c = [spell.by_c for spell in self.spell]
        coldest = self.temperature_c - self.temperature_swing_c + sum(c for c in by_c if c < 0.0)
        warmest = self.temperature_c + self.temperature_swing_c + sum(c for c in by_c if c > 0.0)
        if not (coldest >= COLDEST_C and warmest <= WARMEST_C):
            raise ValueError(
                f"spells take the water from {coldest:g} to {warmest:g} °C where they meet: it must stay within "
                f"{COLDEST_C:g}..{WARMEST_C:g} °C; make by_c smaller"
            )
        return self

    @model_validator(mode="after")
    def _one_way_to_drink(self) -> Self:
        fixed = {"nitrate_uptake_mmol_per_plant_day", "transpiration_l_per_day"} & self.model_fields_set
        if self.crop is not None and fixed:
            raise ValueError(f"{' and '.join(sorted(fixed))} with a crop: its growth says that; keep one")
        return self

    @model_validator(mode="after")
    def _bed_can_be_filled(self) -> Self:
        if isinstance(self.system, EbbAndFlow) and not self.system.rise_l() < self.volume_l:
            raise ValueError(
                f"system: a flood takes {self.system.rise_l():g} L out of volume_l = {self.volume_l:g} L: make "
                "bed_l or flood_min smaller, or the reservoir larger"
            )
        return self

    def tap_mol_per_l(self) -> Totals:
        """The source water in mol/L."""
        analysis = self.source_analysis()
        if analysis is not None:
            return analysis.totals_mol_per_l()
        return calcium_bicarbonate(self.alkalinity_mmol_per_l)

    def source_analysis(self) -> Analysis | None:
        """The analysis of the source water, given or of its name; None where only the alkalinity is told."""
        return self.analysis if self.water is None else WATERS[self.water]

    def source(self) -> str:
        """The keys that tell the source water, as a message names them."""
        if self.analysis is not None:
            return "this analysis"
        if self.water is not None:
            return f'water = "{self.water}"'
        return f"alkalinity_mmol_per_l = {self.alkalinity_mmol_per_l:g}"

    def harvest_s(self) -> float:
        """Seconds from the start until the plants are gone; infinity where they stay."""
        return inf if self.harvest_day is None else self.harvest_day * S_PER_DAY
