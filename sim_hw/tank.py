"""One simulated reservoir: what is dissolved, how it mixes, breathes and is drunk, and what a probe sees.

    deliver, add_water ->  unmixed  --mixing lag-->  mixed  ->  look()      what the probes are in
                              \\________both________/        ->  bulk()      the whole tank, fully mixed

Slow processes are settled lazily: `advance` only counts time until enough is owed, so it may be called for every
few milliseconds, or once for a week. The same calls always give the same water; there is no chance in here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, log, pi, sin
from typing import Literal, Self

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from sim_hw.chemistry import (
    ChemistryError,
    Equilibrium,
    Totals,
    carbonate_for_ph,
    co2_in_air_equilibrium,
    conductivity_ms_per_cm,
    equilibrate,
)

Substance = Literal[
    "phosphoric_acid",
    "nitric_acid",
    "sulfuric_acid",
    "potassium_hydroxide",
    "potassium_carbonate",
    "nutrient_a",
    "nutrient_b",
]
ReagentRole = Literal["ph_down", "ph_up", "stock_a", "stock_b"]
TOP_UP = "top_up"  # the one role that delivers plain tap water

WATER_KG_PER_L = 0.998  # at 20 °C; its change with temperature is below 0.5 %
_S_PER_DAY = 86400.0
_S_PER_H = 3600.0

# Hoagland & Arnon 1950, Calif. Agric. Exp. Stn. Circular 347, solution 1, in mol/L: 5 KNO3, 5 Ca(NO3)2, 1 KH2PO4,
# 2 MgSO4 (all in mmol/L). Trace elements and iron chelate are too dilute to matter here.
_HOAGLAND = Totals(calcium=0.005, magnesium=0.002, potassium=0.006, nitrate=0.015, sulfate=0.002, phosphate=0.001)

# Moles that one mole of a substance brings. A mole of stock counts its leading salt: Ca(NO3)2 in A, MgSO4 in B.
# The split keeps calcium away from sulfate and phosphate, with half the KNO3 in each bottle (common practice).
_BRINGS: dict[Substance, Totals] = {
    "phosphoric_acid": Totals(phosphate=1.0),
    "nitric_acid": Totals(nitrate=1.0),
    "sulfuric_acid": Totals(sulfate=1.0),
    "potassium_hydroxide": Totals(potassium=1.0),
    "potassium_carbonate": Totals(potassium=2.0, carbonate=1.0),
    "nutrient_a": Totals(calcium=1.0, potassium=0.5, nitrate=2.5),
    "nutrient_b": Totals(magnesium=1.0, sulfate=1.0, potassium=1.75, nitrate=1.25, phosphate=0.5),
}

# Taken up with each mole of nitrate: lettuce dry matter of about 4.5 % N, 7 % K, 1.2 % Ca, 0.4 % Mg, 0.6 % P and
# 0.3 % S (memory, typical plant analysis). More negative than positive charge goes in, so the pH rises.
_UPTAKE_PER_NITRATE = Totals(
    calcium=0.09, magnesium=0.05, potassium=0.56, nitrate=1.0, sulfate=0.03, phosphate=0.06
)
_HALF_UPTAKE_MOL_PER_KG = 5e-5  # roots slow down to half at 0.05 mmol/L (memory, order of magnitude)

_FREE_CO2_SHARE = 0.1  # tap water brings free CO2 of a tenth of its alkalinity, near pH 7.4 (own choice)
_WARMEST_AT_H = 15.0  # a room is warmest in mid-afternoon (own choice)
_LEFT_BEHIND_L = 0.1  # what neither a drain nor the roots can reach (own choice)

_LONGEST_STEP_S = 60.0
_CO2_SHARE_PER_STEP = 0.05  # of the way to air equilibrium
_QUIET_S, _MIXING_S = 10.0, 1.0  # time that may be owed before the water is worked out again
_NOTHING_LEFT = 1e-4  # unmixed share of the whole at which a dose counts as mixed for that choice only


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, strict=True)


class Reagent(_Table):
    """What is in a bottle. For nutrient_a and nutrient_b the strength is that of their leading salt (_BRINGS)."""

    substance: Substance
    strength_mol_per_l: float = Field(gt=0.0, le=20.0)


# 0.5 mol/L is our own choice: dilute enough that a whole dose cannot hurt. Stocks are 100-fold (common practice).
_BOTTLES: dict[ReagentRole, Reagent] = {
    "ph_down": Reagent(substance="phosphoric_acid", strength_mol_per_l=0.5),
    "ph_up": Reagent(substance="potassium_hydroxide", strength_mol_per_l=0.5),
    "stock_a": Reagent(substance="nutrient_a", strength_mol_per_l=0.5),
    "stock_b": Reagent(substance="nutrient_b", strength_mol_per_l=0.2),
}


class TankSettings(_Table):
    """A reservoir as it stands at the start, and what goes on in it. Defaults: Quince Lane, an invented place.

    alkalinity is that of the raw water, as calcium bicarbonate; its CO2 is chosen so that the mixed solution
    starts at start_ph. Figures without a remark are our own choice of a plausible small school reservoir.
    """

    volume_l: float = Field(default=60.0, ge=2.0, le=2000.0)
    start_ph: float = Field(default=7.2, ge=3.5, le=10.0)
    alkalinity_mmol_per_l: float = Field(default=1.0, ge=0.0, le=8.0)
    nutrient_strength: float = Field(default=0.47, ge=0.0, le=3.0)  # half strength is common practice for lettuce
    temperature_c: float = Field(default=20.0, ge=5.0, le=40.0)
    temperature_swing_c: float = Field(default=1.5, ge=0.0, le=5.0)  # above and below the mean, over a day
    mixing_time_s: float = Field(default=120.0, ge=1.0, le=7200.0)  # until 95 % of a dose shows
    co2_exchange_per_h: float = Field(default=0.2, ge=0.0, le=20.0)  # share of the way to air, per hour at first
    air_co2_ppm: float = Field(default=420.0, ge=0.0, le=5000.0)
    plants: int = Field(default=18, ge=0, le=10000)
    nitrate_uptake_mmol_per_plant_day: float = Field(default=0.7, ge=0.0, le=20.0)  # 150 g head: ~24 mmol in 35 d
    light_on_h: float = Field(default=6.0, ge=0.0, le=24.0)
    light_off_h: float = Field(default=20.0, ge=0.0, le=24.0)
    transpiration_l_per_day: float = Field(default=0.9, ge=0.0, le=200.0)  # all plants together; none without any
    evaporation_l_per_day: float = Field(default=0.2, ge=0.0, le=200.0)
    reagent: dict[ReagentRole, Reagent] = Field(default_factory=lambda: dict(_BOTTLES))

    @field_validator("reagent")
    @classmethod
    def _bottles_left_out_keep_their_default(
        cls, given: dict[ReagentRole, Reagent]
    ) -> dict[ReagentRole, Reagent]:
        return {**_BOTTLES, **given}

    @model_validator(mode="after")
    def _light_in_order(self) -> Self:
        if not self.light_on_h < self.light_off_h:
            raise ValueError(
                f"light_on_h = {self.light_on_h:g}: must be below light_off_h = {self.light_off_h:g}"
            )
        return self


@dataclass(frozen=True, slots=True)
class Look:
    """The water as a perfect instrument sees it. ec_ms_per_cm is at the water's own temperature."""

    ph: float
    ec_ms_per_cm: float
    ec25_ms_per_cm: float
    temperature_c: float
    level_share: float  # of the volume at the start


class _Zone:
    """Water and what is dissolved in it, in litres and mol (in the order of Totals)."""

    __slots__ = ("litres", "mol")

    def __init__(self, litres: float, mol: Sequence[float]) -> None:
        self.litres = litres
        self.mol = list(mol)

    def add(self, litres: float, mol: Sequence[float]) -> None:
        self.litres += litres
        self.mol = [have + more for have, more in zip(self.mol, mol, strict=True)]

    def take(self, share: float) -> tuple[float, list[float]]:
        """Removes this share of the zone, and gives it."""
        litres, mol = self.litres * share, [amount * share for amount in self.mol]
        self.litres -= litres
        self.mol = [have - gone for have, gone in zip(self.mol, mol, strict=True)]
        return litres, mol

    def totals(self) -> Totals:
        """In mol per kg of water."""
        kg = self.litres * WATER_KG_PER_L
        return Totals._make([amount / kg for amount in self.mol])


class Tank:
    """A reservoir. Volumes in litres or mL as named; time comes from the caller."""

    def __init__(self, settings: TankSettings) -> None:
        """Raises ChemistryError when start_ph cannot be reached with this alkalinity and nutrient strength."""
        self._settings = settings
        self._tap_mol_per_l = _tap(settings.alkalinity_mmol_per_l / 1000.0)
        self._mixed = _Zone(settings.volume_l, _first_fill(settings, self._tap_mol_per_l))
        self._unmixed = _Zone(0.0, Totals())
        self._owed_s = 0.0
        self._day_s: float | None = None  # until time first passes
        self._temperature_c = settings.temperature_c
        self._water = equilibrate(self._mixed.totals(), self._temperature_c)
        self._look = self._seen(self._water)

    @property
    def volume_l(self) -> float:
        """Litres in the tank now."""
        return self._mixed.litres + self._unmixed.litres

    def look(self) -> Look:
        """The water where the probes are, at most 10 s old (1 s while a dose is mixing in)."""
        return self._look

    def bulk(self) -> Look:
        """The whole tank as if fully mixed, now."""
        self._catch_up()
        whole = self._whole()
        return self._seen(equilibrate(whole.totals(), self._temperature_c, self._water))

    def dissolved_mol(self) -> dict[str, float]:
        """Moles of each of the Totals in the whole tank, now."""
        self._catch_up()
        return Totals._make(self._whole().mol)._asdict()

    def advance(self, seconds: float, day_s: float) -> None:
        """Lets time pass. day_s: seconds into the local day at the start of it. Cheap for small steps."""
        if not (0.0 <= seconds < float("inf")):
            raise ValueError(f"seconds = {seconds!r}: must be 0 s or more, and finite")
        first = self._day_s is None
        self._owed_s += seconds
        self._day_s = day_s + seconds
        if first or self._owed_s >= self._patience_s():
            self._work_out(self._day_s)

    def deliver(self, role: str, ml: float) -> None:
        """Pours ml of the bottle of this role (or, for "top_up", of tap water) where it is not yet mixed."""
        litres = _amount(f"{role}: ml", ml) / 1000.0
        if role == TOP_UP:
            self.add_water(litres)
            return
        if role not in self._settings.reagent:
            raise ValueError(f"role = {role!r}: must be one of {', '.join((*self._settings.reagent, TOP_UP))}")
        reagent = self._settings.reagent[role]
        mol = litres * reagent.strength_mol_per_l
        if self._owed_s >= _MIXING_S:
            self._catch_up()
        self._unmixed.add(litres, [mol * per_mol for per_mol in _BRINGS[reagent.substance]])

    def add_water(self, litres: float) -> None:
        """Pours in tap water of the settings' alkalinity, at the tank's temperature."""
        _amount("litres", litres)
        self._catch_up()
        self._unmixed.add(litres, [litres * amount for amount in self._tap_mol_per_l])

    def drain(self, litres: float) -> None:
        """Lets water out, mixed and unmixed alike; the last 0.1 L stays."""
        _amount("litres", litres)
        self._catch_up()
        share = max(0.0, min(litres, self.volume_l - _LEFT_BEHIND_L)) / self.volume_l
        self._mixed.take(share)
        self._unmixed.take(share)
        self._look = self._seen(self._water)

    # --- time ---

    def _patience_s(self) -> float:
        mixing = self._unmixed.litres > _NOTHING_LEFT * self._mixed.litres
        return _MIXING_S if mixing else _QUIET_S

    def _catch_up(self) -> None:
        if self._day_s is not None and self._owed_s > 0.0:
            self._work_out(self._day_s)

    def _work_out(self, day_s: float) -> None:
        """Lets all time that is owed, up to day_s, do its work, in steps short enough for each process."""
        owed_s, self._owed_s = self._owed_s, 0.0
        to_air_h = _CO2_SHARE_PER_STEP / max(1e-9, self._settings.co2_exchange_per_h)
        steps = int(owed_s / min(_LONGEST_STEP_S, to_air_h * _S_PER_H)) + 1
        for step in range(steps):
            self._step(owed_s / steps, day_s - owed_s * (1.0 - (step + 0.5) / steps))
        self._look = self._seen(self._water)

    def _step(self, seconds: float, day_s: float) -> None:
        """day_s: of the middle of the step."""
        settings = self._settings
        day_s %= _S_PER_DAY
        self._temperature_c = _temperature_c(settings, day_s)
        self._mixed.add(*self._unmixed.take(1.0 - exp(-log(20.0) * seconds / settings.mixing_time_s)))
        self._exchange_co2(seconds)
        self._grow(seconds * _daylight(settings, day_s))
        self._lose_water(seconds * settings.evaporation_l_per_day / _S_PER_DAY)
        self._water = equilibrate(self._mixed.totals(), self._temperature_c, self._water)

    def _exchange_co2(self, seconds: float) -> None:
        """Dissolved CO2 relaxes towards what the air holds in it; bicarbonate follows through the pH."""
        in_air = co2_in_air_equilibrium(self._temperature_c, self._settings.air_co2_ppm)
        share = self._settings.co2_exchange_per_h * seconds / _S_PER_H
        gained = (in_air - self._water.co2) * share * self._mixed.litres * WATER_KG_PER_L
        self._mixed.mol[_CARBONATE] = max(0.0, self._mixed.mol[_CARBONATE] + gained)

    def _grow(self, lit_s: float) -> None:
        """Uptake and transpiration of all plants; lit_s: seconds, weighted so that a day has 86400 of them."""
        settings = self._settings
        if not (settings.plants and lit_s > 0.0):
            return
        days = lit_s / _S_PER_DAY
        wanted = settings.plants * settings.nitrate_uptake_mmol_per_plant_day / 1000.0 * days
        half = _HALF_UPTAKE_MOL_PER_KG * self._mixed.litres * WATER_KG_PER_L
        mol = self._mixed.mol
        for place, per_nitrate in _TAKEN_UP:
            have = mol[place]
            mol[place] -= have * min(0.5, wanted * per_nitrate / (have + half))
        self._lose_water(settings.transpiration_l_per_day * days)

    def _lose_water(self, litres: float) -> None:
        """Pure water leaves; what was dissolved stays."""
        self._mixed.litres -= max(0.0, min(litres, self._mixed.litres - _LEFT_BEHIND_L))

    # --- looking ---

    def _whole(self) -> _Zone:
        whole = _Zone(self._mixed.litres, self._mixed.mol)
        whole.add(self._unmixed.litres, self._unmixed.mol)
        return whole

    def _seen(self, water: Equilibrium) -> Look:
        return Look(
            ph=water.ph,
            ec_ms_per_cm=conductivity_ms_per_cm(water, self._temperature_c),
            ec25_ms_per_cm=conductivity_ms_per_cm(water, 25.0),
            temperature_c=self._temperature_c,
            level_share=self.volume_l / self._settings.volume_l,
        )


_CARBONATE = Totals._fields.index("carbonate")
_TAKEN_UP = [(place, share) for place, share in enumerate(_UPTAKE_PER_NITRATE) if share > 0.0]


def _tap(alkalinity_mol_per_l: float) -> Totals:
    """Tap water in mol/L: calcium bicarbonate and some free CO2."""
    return Totals(calcium=alkalinity_mol_per_l / 2.0, carbonate=alkalinity_mol_per_l * (1.0 + _FREE_CO2_SHARE))


def _first_fill(settings: TankSettings, tap_mol_per_l: Totals) -> list[float]:
    """Moles in the tank at the start: tap water and nutrient salts, its CO2 such that start_ph holds."""
    per_l = [tap + settings.nutrient_strength * salt for tap, salt in zip(tap_mol_per_l, _HOAGLAND, strict=True)]
    per_kg = Totals._make([amount / WATER_KG_PER_L for amount in per_l])
    try:
        carbonate = carbonate_for_ph(per_kg, settings.start_ph, settings.temperature_c)
    except ChemistryError as error:
        raise ChemistryError(
            f"start_ph with alkalinity_mmol_per_l = {settings.alkalinity_mmol_per_l:g} and "
            f"nutrient_strength = {settings.nutrient_strength:g}: {error}"
        ) from error
    per_l[_CARBONATE] = carbonate * WATER_KG_PER_L
    return [settings.volume_l * amount for amount in per_l]


def _temperature_c(settings: TankSettings, day_s: float) -> float:
    turn = 2.0 * pi * (day_s - _WARMEST_AT_H * _S_PER_H) / _S_PER_DAY
    return settings.temperature_c + settings.temperature_swing_c * sin(turn + pi / 2.0)


def _daylight(settings: TankSettings, day_s: float) -> float:
    """Light now over its mean of the day: half a sine from light_on_h to light_off_h, 0 in the dark."""
    lit_h = settings.light_off_h - settings.light_on_h
    through = (day_s / _S_PER_H - settings.light_on_h) / lit_h
    if not (0.0 < through < 1.0):
        return 0.0
    return sin(pi * through) * (pi / 2.0) * 24.0 / lit_h


def _amount(what: str, value: float) -> float:
    if not (0.0 <= value < float("inf")):
        raise ValueError(f"{what} = {value!r}: must be 0 or more, and finite")
    return value
