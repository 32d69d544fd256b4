"""What a growing crop takes from its water: a stand of lettuce, its nitrogen and its thirst.

Dry matter follows daemon/crop/lettuce.py. Nitrogen goes in with structural growth, day and night; water leaves
with the carbon that is fixed, so by day, and more of it in warm air.
"""

from __future__ import annotations

from typing import NamedTuple

from pydantic import Field

from daemon.crop.lettuce import DRY_SHARE, Weather, fresh_g_per_head, grown, photosynthesis, planted
from daemon.measure.air import saturation_kpa
from sim_hw.room import S_PER_DAY
from sim_hw.strict import Table

MOL_N_PER_G = 0.05 / 14.007  # 5 % of structural dry matter is nitrogen (memory, typical plant analysis)
KEPT_OF_FIXED = 0.5  # g of dry matter that stay of each g of CO2 fixed, after all respiration (own choice)


class CropTable(Table):
    """Lettuce that grows. Takes the place of the tank's fixed uptake and transpiration.

    The tank's plants, light hours, temperature and air_co2_ppm hold for the crop too.
    """

    age_days: float = Field(
        default=0.0, ge=0.0, le=90.0, description="at the start, since planting out as a seedling of 2 g"
    )
    plants_per_m2: float = Field(default=25.0, ge=1.0, le=200.0, description="of the bed")
    par_w_per_m2: float = Field(
        default=40.0,
        gt=0.0,
        le=500.0,
        description="light for growth, mean of the lit hours; this is 9 mol/m2 in 14 h",
    )
    water_l_per_kg: float = Field(
        default=20.0,
        ge=1.0,
        le=500.0,
        description="for each kg of fresh lettuce (Barbosa et al. 2015, IJERPH 12:6879)",
    )


class Demand(NamedTuple):
    """What the roots want: mol of nitrogen and litres of water."""

    nitrogen_mol: float
    water_l: float


class Crop:
    """A stand of lettuce on a tank."""

    def __init__(self, table: CropTable, plants: int, ordinary_day: list[Weather]) -> None:
        """ordinary_day: the weather of its life so far, in even parts of a day."""
        self._table = table
        self._area_m2 = plants / table.plants_per_m2
        self.stand = planted(table.plants_per_m2)
        part_s = S_PER_DAY / len(ordinary_day)
        for part in range(round(table.age_days * len(ordinary_day))):
            self.stand = grown(self.stand, part_s, ordinary_day[part % len(ordinary_day)])

    def fresh_g_per_plant(self) -> float:
        """What a head weighs now."""
        return fresh_g_per_head(self.stand, self._table.plants_per_m2)

    def grow(self, seconds: float, weather: Weather) -> Demand:
        """Lets it grow, and tells what it took for that from its water."""
        before = self.stand
        self.stand = grown(before, seconds, weather)
        gained = self._area_m2 * (self.stand.structural - before.structural)
        return Demand(gained * MOL_N_PER_G, self._area_m2 * seconds * self._thirst_l_per_m2_s(weather))

    def _thirst_l_per_m2_s(self, weather: Weather) -> float:
        """Water goes with carbon, and with how dry the air is: at one humidity, with the vapour pressure."""
        fixed = photosynthesis(self.stand.structural, weather)
        fresh_kg = fixed * KEPT_OF_FIXED / DRY_SHARE / 1000.0
        dryness = saturation_kpa(weather.temperature_c) / saturation_kpa(20.0)
        return fresh_kg * self._table.water_l_per_kg * dryness
