"""One simulated reservoir: what is dissolved, how it mixes, breathes and is drunk, and what a probe sees.

    deliver, add_water -> unmixed --mixing lag--> reservoir <--system--> bed        look()  where the probes are
                             \\________________all of it________________/           bulk()  as if fully mixed

Only some systems have a bed (sim_hw/systems.py). Slow processes are settled lazily: `advance` only counts time
until enough is owed, so it may be called for every few milliseconds, or once for a week. The same calls always
give the same water; there is no chance in here.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from math import exp, inf, log

from config.chemistry import (
    ChemistryError,
    Equilibrium,
    Totals,
    carbonate_for_ph,
    co2_in_air_equilibrium,
    conductivity_ms_per_cm,
    equilibrate,
)
from daemon.crop.lettuce import Weather
from sim_hw.crop import Crop, Demand
from sim_hw.reagents import ReagentRole, recipe_mol_per_l
from sim_hw.room import S_PER_DAY, S_PER_H, daylight, spells_c, temperature_c
from sim_hw.tank_settings import TankSettings
from sim_hw.zones import LEFT_BEHIND_L, WATER_KG_PER_L, Batch, Zone, go_round

TOP_UP = "top_up"  # the one role that delivers plain source water

# Taken up with each mole of nitrogen: lettuce dry matter of about 4.5 % N, 7 % K, 1.2 % Ca, 0.4 % Mg, 0.6 % P and
# 0.3 % S (memory, typical plant analysis). With nitrate more negative than positive charge goes in, so the pH
# rises; a seventh of the nitrogen as ammonium turns that round.
_UPTAKE_PER_NITROGEN = Totals(calcium=0.09, magnesium=0.05, potassium=0.56, sulfate=0.03, phosphate=0.06)
_HALF_UPTAKE_MOL_PER_KG = 5e-5  # roots slow down to half at 0.05 mmol/L (memory, order of magnitude)

_LONGEST_STEP_S = 90.0  # a daemon that looks once a minute is one step away
_CO2_SHARE_PER_STEP = 0.05  # of the way to air equilibrium
_QUIET_S, _MIXING_S = 10.0, 1.0  # time that may be owed before the water is worked out again
_NOTHING_LEFT = 1e-4  # unmixed share of the whole at which a dose counts as mixed for that choice only
_PARTS_OF_A_DAY = 96  # in which a crop's life before the start is worked out


@dataclass(frozen=True, slots=True)
class Look:
    """The water as a perfect instrument sees it. Conductivity is worked out only for who asks."""

    water: Equilibrium
    temperature_c: float
    level_share: float  # of the volume at the start

    @property
    def ph(self) -> float:
        """Its pH."""
        return self.water.ph

    @property
    def ec_ms_per_cm(self) -> float:
        """At the water's own temperature."""
        return conductivity_ms_per_cm(self.water, self.temperature_c)

    @property
    def ec25_ms_per_cm(self) -> float:
        """At 25 °C."""
        return conductivity_ms_per_cm(self.water, 25.0)


class Tank:
    """A reservoir. Volumes in litres or mL as named; time comes from the caller."""

    def __init__(self, settings: TankSettings) -> None:
        """Raises ChemistryError when start_ph cannot be reached with this source water and nutrient strength."""
        self._settings = settings
        self._tap_mol_per_l = settings.tap_mol_per_l()
        self._brings_per_l = {role: bottle.per_l(settings.recipe) for role, bottle in settings.reagent.items()}
        self._place(_first_fill(settings, self._tap_mol_per_l))
        self._unmixed = Batch(0.0, Totals())
        self._crop = _crop(settings)
        self._to_pour = deque(sorted(settings.pour, key=lambda pour: pour.day))
        self._owed_s = 0.0
        self._lived_s = 0.0  # since the start
        self._day_s: float | None = None  # until time first passes
        self._temperature_c = settings.temperature_c
        self._look = self._seen(self._probed.water)

    def _place(self, fill: Batch) -> None:
        """Fills each zone, by the litre that is given, and says which the air, roots and probes touch."""
        settings, system = self._settings, self._settings.system
        bed_l = system.start_bed_l(settings.volume_l)
        reservoir_l = settings.volume_l - (bed_l if system.layered else 0.0)
        self._reservoir = _zone(fill, reservoir_l, settings.temperature_c)
        self._bed = _zone(fill, bed_l, settings.temperature_c) if bed_l > 0.0 else None
        self._zones = (self._reservoir,) if self._bed is None else (self._reservoir, self._bed)
        self._surface = self._zones[-1] if system.layered else self._reservoir
        self._aired = (self._surface,) if system.layered else self._zones
        self._roots = self._zones[-1] if system.roots_in == "bed" else self._reservoir
        self._probed = self._zones[-1] if system.probes_in == "bed" else self._reservoir

    @property
    def volume_l(self) -> float:
        """Litres in the reservoir now; in a still one, root layer included."""
        layer_l = self.bed_l if self._settings.system.layered else 0.0
        return self._reservoir.litres + self._unmixed.litres + layer_l

    @property
    def bed_l(self) -> float:
        """Litres in the bed now (a still reservoir's root layer); 0 where there is none."""
        return 0.0 if self._bed is None else self._bed.litres

    @property
    def source_charge_error_percent(self) -> float | None:
        """Electroneutrality error of the source water's analysis; None where there is none."""
        analysis = self._settings.source_analysis()
        return None if analysis is None else analysis.charge_error_percent()

    def fresh_g_per_plant(self) -> float | None:
        """What a head weighs now; None without a growing crop."""
        return None if self._crop is None else self._crop.fresh_g_per_plant()

    def look(self) -> Look:
        """The water where the probes are, at most 10 s old (1 s while a dose is mixing in)."""
        return self._look

    def bulk(self) -> Look:
        """All the water, bed included, as if fully mixed, now."""
        self._catch_up()
        whole = self._whole()
        return self._seen(equilibrate(whole.totals(), self._temperature_c, self._reservoir.water))

    def ph_with(self, role: ReagentRole, ml: float) -> float:
        """pH of all the water if `ml` of this bottle were in it and fully mixed, now."""
        self._catch_up()
        whole = self._whole()
        litres = _amount(f"{role}: ml", ml) / 1000.0
        whole.add(litres, [litres * per_l for per_l in self._brings_per_l[role]])
        return equilibrate(whole.totals(), self._temperature_c, self._reservoir.water).ph

    def dissolved_mol(self) -> dict[str, float]:
        """Moles of each of the Totals in all the water, bed included, now."""
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
        """Pours ml of the bottle of this role (or, for "top_up", of source water) where it is not yet mixed."""
        litres = _amount(f"{role}: ml", ml) / 1000.0
        if role == TOP_UP:
            self.add_water(litres)
            return
        if role not in self._settings.reagent:
            raise ValueError(f"role = {role!r}: must be one of {', '.join((*self._settings.reagent, TOP_UP))}")
        brings_per_l = self._brings_per_l[role]
        if self._owed_s >= _MIXING_S:
            self._catch_up()
        self._unmixed.add(litres, [litres * per_l for per_l in brings_per_l])

    def add_water(self, litres: float) -> None:
        """Pours in source water, at the tank's temperature."""
        _amount("litres", litres)
        self._catch_up()
        self._unmixed.add(litres, [litres * amount for amount in self._tap_mol_per_l])

    def drain(self, litres: float) -> None:
        """Lets water out of the reservoir, mixed and unmixed alike; the last 0.1 L stays, and the bed's."""
        _amount("litres", litres)
        self._catch_up()
        share = max(0.0, min(litres, self.volume_l - LEFT_BEHIND_L)) / self.volume_l
        for water in {self._unmixed, self._reservoir, self._surface}:
            water.take(share)
        self._look = self._seen(self._probed.water)

    # --- time ---

    def _patience_s(self) -> float:
        mixing = self._unmixed.litres > _NOTHING_LEFT * self._reservoir.litres
        return _MIXING_S if mixing else _QUIET_S

    def _catch_up(self) -> None:
        if self._day_s is not None and self._owed_s > 0.0:
            self._work_out(self._day_s)

    def _work_out(self, day_s: float) -> None:
        """Lets all time that is owed, up to day_s, do its work, in steps short enough for each process."""
        owed_s, self._owed_s = self._owed_s, 0.0
        to_air_h = _CO2_SHARE_PER_STEP / max(1e-9, self._settings.co2_exchange_per_h)
        steps = int(owed_s / min(_LONGEST_STEP_S, to_air_h * S_PER_H)) + 1
        for step in range(steps):
            self._step(owed_s / steps, day_s - owed_s * (1.0 - (step + 0.5) / steps))
        while self._to_pour and self._to_pour[0].day * S_PER_DAY <= self._lived_s:
            self.add_water(self._to_pour.popleft().litres)
        self._look = self._seen(self._probed.water)

    def _step(self, seconds: float, day_s: float) -> None:
        """day_s: of the middle of the step."""
        day_s %= S_PER_DAY
        self._temperature_c = _temperature_c(self._settings, day_s, self._lived_s + 0.5 * seconds)
        self._mix(seconds, day_s)
        self._breathe(seconds)
        self._drink(seconds, day_s)
        self._surface.lose_water(seconds * self._settings.evaporation_l_per_day / S_PER_DAY)
        for zone in self._zones:
            zone.settle(self._temperature_c)
        self._lived_s += seconds

    def _mix(self, seconds: float, day_s: float) -> None:
        """What was poured in reaches the reservoir, and the system moves water between it and the bed."""
        mixing_time_s = self._settings.mixing_time_s
        if self._bed is not None:
            flow = self._settings.system.flow(day_s, self._reservoir.litres + self._bed.litres)
            mixing_time_s = flow.mixing_time_s or mixing_time_s
            rise_l = flow.bed_l - self._bed.litres
            if rise_l < 0.0:
                self._bed.pour_into(self._reservoir, -rise_l)
            elif flow.lifts:
                self._reservoir.pour_into(self._bed, rise_l)
            go_round(self._reservoir, self._bed, flow.round_l_per_s * seconds)
        self._reservoir.add(*self._unmixed.take(1.0 - exp(-log(20.0) * seconds / mixing_time_s)))

    def _breathe(self, seconds: float) -> None:
        """Dissolved CO2 relaxes towards what the air holds in it; bicarbonate follows through the pH."""
        in_air = co2_in_air_equilibrium(self._temperature_c, self._settings.air_co2_ppm)
        share = self._settings.co2_exchange_per_h * seconds / S_PER_H
        for zone in self._aired:
            gained = (in_air - zone.water.co2) * share * zone.litres * WATER_KG_PER_L
            zone.mol[_CARBONATE] = max(0.0, zone.mol[_CARBONATE] + gained)

    def _drink(self, seconds: float, day_s: float) -> None:
        """Uptake and transpiration of all plants, from the zone that the roots are in."""
        demand = self._demand(seconds, day_s)
        if demand is None:
            return
        half = _HALF_UPTAKE_MOL_PER_KG * self._roots.litres * WATER_KG_PER_L
        mol = self._roots.mol
        as_ammonium = self._share_as_ammonium(mol)
        _take_up(mol, _AMMONIUM, demand.nitrogen_mol * as_ammonium, half)
        _take_up(mol, _NITRATE, demand.nitrogen_mol * (1.0 - as_ammonium), half)
        for place, per_nitrogen in _TAKEN_UP:
            _take_up(mol, place, demand.nitrogen_mol * per_nitrogen, half)
        self._roots.lose_water(demand.water_l)

    def _share_as_ammonium(self, mol: list[float]) -> float:
        """Of the nitrogen that roots take up: by what there is, ammonium preferred."""
        preferred = self._settings.ammonium_preference * mol[_AMMONIUM]
        return preferred / (preferred + mol[_NITRATE]) if preferred > 0.0 else 0.0

    def _demand(self, seconds: float, day_s: float) -> Demand | None:
        settings = self._settings
        if not settings.plants or self._lived_s >= settings.harvest_s():
            return None
        light = daylight(settings.light_on_h, settings.light_off_h, day_s)
        if self._crop is not None:
            return self._crop.grow(seconds, _weather(settings, self._temperature_c, light))
        days = seconds * light / S_PER_DAY
        wanted = settings.plants * settings.nitrate_uptake_mmol_per_plant_day / 1000.0 * days
        return Demand(wanted, settings.transpiration_l_per_day * days) if days > 0.0 else None

    # --- looking ---

    def _whole(self) -> Batch:
        whole = Batch(self._unmixed.litres, self._unmixed.mol)
        for zone in self._zones:
            whole.add(zone.litres, zone.mol)
        return whole

    def _seen(self, water: Equilibrium) -> Look:
        return Look(water, self._temperature_c, self.volume_l / self._settings.volume_l)


_CARBONATE = Totals._fields.index("carbonate")
_AMMONIUM = Totals._fields.index("ammonium")
_NITRATE = Totals._fields.index("nitrate")
_TAKEN_UP = [(place, share) for place, share in enumerate(_UPTAKE_PER_NITROGEN) if share > 0.0]


def _take_up(mol: list[float], place: int, wanted_mol: float, half_mol: float) -> None:
    """Roots take what they want of one ion, less where little is left."""
    have = mol[place]
    mol[place] = have - have * min(0.5, wanted_mol / (have + half_mol))


def _first_fill(settings: TankSettings, tap_mol_per_l: Totals) -> Batch:
    """A litre of the tank at the start: source water and nutrients, its CO2 such that start_ph holds."""
    full = recipe_mol_per_l(settings.recipe)
    per_l = [tap + settings.nutrient_strength * salt for tap, salt in zip(tap_mol_per_l, full, strict=True)]
    per_kg = Totals._make([amount / WATER_KG_PER_L for amount in per_l])
    try:
        carbonate = carbonate_for_ph(per_kg, settings.start_ph, settings.temperature_c)
    except ChemistryError as error:
        raise ChemistryError(
            f"start_ph with {settings.source()} and nutrient_strength = {settings.nutrient_strength:g}: {error}"
        ) from error
    per_l[_CARBONATE] = carbonate * WATER_KG_PER_L
    return Batch(1.0, per_l)


def _zone(fill: Batch, litres: float, temperature_c: float) -> Zone:
    return Zone(litres, [litres * per_l for per_l in fill.mol], temperature_c)


def _temperature_c(settings: TankSettings, day_s: float, since_start_s: float) -> float:
    usual_c = temperature_c(settings.temperature_c, settings.temperature_swing_c, day_s)
    return usual_c + spells_c(settings.spell, since_start_s) if settings.spell else usual_c


def _weather(settings: TankSettings, water_c: float, light: float) -> Weather:
    """The air is taken to be as warm as the water. light: over its mean of the day."""
    lit_share = (settings.light_off_h - settings.light_on_h) / 24.0
    par = settings.crop.par_w_per_m2 if settings.crop is not None else 0.0
    return Weather(water_c, par * light * lit_share, settings.air_co2_ppm)


def _crop(settings: TankSettings) -> Crop | None:
    """The crop, grown to its age in ordinary weather."""
    if settings.crop is None or not settings.plants:
        return None
    moments_s = [(part + 0.5) / _PARTS_OF_A_DAY * S_PER_DAY for part in range(_PARTS_OF_A_DAY)]
    return Crop(settings.crop, settings.plants, [_ordinary_weather(settings, day_s) for day_s in moments_s])


def _ordinary_weather(settings: TankSettings, day_s: float) -> Weather:
    usual_c = temperature_c(settings.temperature_c, settings.temperature_swing_c, day_s)
    return _weather(settings, usual_c, daylight(settings.light_on_h, settings.light_off_h, day_s))


def _amount(what: str, value: float) -> float:
    if not (0.0 <= value < inf):
        raise ValueError(f"{what} = {value!r}: must be 0 or more, and finite")
    return value
