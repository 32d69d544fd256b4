"""How lettuce grows: the two-state model of Van Henten, in grams of dry matter per square metre of ground.

    light, temperature, CO2  ->  rates  ->  non-structural (sugars) and structural (everything else) dry matter

Source: Van Henten 1994, Validation of a dynamic lettuce growth model, Agric. Syst. 45:55; Van Henten & Van
Straten 1994, J. Agric. Eng. Res. 59:19. Copies of its parameters disagree (c_omega, c_gamma, c_tau, the
conductances), so the set below is the one that the check values of the tests were computed with.
"""

from __future__ import annotations

from math import exp
from typing import NamedTuple

DRY_SHARE = 0.05  # of a fresh head (memory: lettuce is about 95 % water)
SEEDLING_G = 0.108  # dry, when planted out: 2.7 g/m2 at 25 plants per m2 (memory, order of magnitude)
SEEDLING_SUGAR_SHARE = 0.25  # of that (own choice)


class Parameters(NamedTuple):
    """The model's constants, in the units of the paper (g, m2, s, °C, ppm, J). c_tau: hydroponic roots."""

    c_alpha: float = 0.68
    c_beta: float = 0.8
    c_gr_max: float = 5e-6
    c_gamma: float = 1.0
    c_q10_gr: float = 1.6
    c_resp_sht: float = 3.47e-7
    c_resp_rt: float = 1.16e-7
    c_q10_resp: float = 2.0
    c_tau: float = 0.07
    c_k: float = 0.9
    c_lar: float = 0.075
    c_omega: float = 1.83e-3
    c_Gamma: float = 40.0  # noqa: N815 - the paper has both c_gamma and c_Gamma
    c_q10_Gamma: float = 2.0  # noqa: N815
    c_eps: float = 1.7e-5
    g_bnd: float = 0.004
    g_stm: float = 0.02
    c_car1: float = -1.32e-5
    c_car2: float = 5.94e-4
    c_car3: float = -2.64e-3


class Stand(NamedTuple):
    """Dry matter of a stand of lettuce, or its change per second: g/m2, or g/(m2 s)."""

    non_structural: float
    structural: float

    def dry_g_per_m2(self) -> float:
        """All of it."""
        return self.non_structural + self.structural


class Weather(NamedTuple):
    """What the plants feel. par_w_per_m2: photosynthetically active radiation at this moment, 0 or more."""

    temperature_c: float
    par_w_per_m2: float
    co2_ppm: float


_SET_A = Parameters()


def planted(plants_per_m2: float) -> Stand:
    """A stand of seedlings on the day they are planted out, each of 2 g fresh weight, in g/m2."""
    dry_g_per_m2 = SEEDLING_G * plants_per_m2
    return Stand(SEEDLING_SUGAR_SHARE * dry_g_per_m2, (1.0 - SEEDLING_SUGAR_SHARE) * dry_g_per_m2)


def fresh_g_per_head(stand: Stand, plants_per_m2: float) -> float:
    """What a head of such a stand weighs, in g."""
    return stand.dry_g_per_m2() / DRY_SHARE / plants_per_m2


def rates(stand: Stand, weather: Weather, given: Parameters = _SET_A) -> Stand:
    """What the stand (g/m2, above 0) gains per second, in g/(m2 s); it loses sugars in the dark."""
    sugars, structure = stand
    warm = (weather.temperature_c - 20.0) / 10.0
    growth = given.c_gr_max * sugars / (given.c_gamma * structure + sugars) * given.c_q10_gr**warm * structure
    per_g = given.c_resp_sht * (1.0 - given.c_tau) + given.c_resp_rt * given.c_tau
    breathed = per_g * structure * given.c_q10_resp ** (warm - 0.5)
    made = given.c_alpha * photosynthesis(structure, weather, given)
    return Stand(made - growth / given.c_beta - breathed, growth)


def photosynthesis(structural_g_per_m2: float, weather: Weather, given: Parameters = _SET_A) -> float:
    """CO2 that the canopy fixes, in g/(m2 s); 0 in the dark, and below 5 °C and above 40 °C."""
    celsius, par_w_per_m2, co2_ppm = weather
    compensation: float = given.c_Gamma * given.c_q10_Gamma ** ((celsius - 20.0) / 10.0)
    carboxylation = (given.c_car1 * celsius + given.c_car2) * celsius + given.c_car3
    if not (par_w_per_m2 > 0.0 and carboxylation > 0.0 and co2_ppm > compensation):
        return 0.0
    by_light = par_w_per_m2 * given.c_eps * (co2_ppm - compensation) / (co2_ppm + 2.0 * compensation)
    conductance = 1.0 / (1.0 / given.g_bnd + 1.0 / given.g_stm + 1.0 / carboxylation)
    by_co2 = conductance * given.c_omega * (co2_ppm - compensation)
    covered = 1.0 - exp(-given.c_k * given.c_lar * (1.0 - given.c_tau) * structural_g_per_m2)
    return covered * by_light * by_co2 / (by_light + by_co2)


def grown(stand: Stand, seconds: float, weather: Weather, given: Parameters = _SET_A) -> Stand:
    """The stand after so many seconds of this weather, by the midpoint rule (steps to 15 minutes: within 1e-4).

    A stand that has used up its sugars keeps what structure it has: the model knows no death.
    """
    half = _after(stand, 0.5 * seconds, rates(stand, weather, given))
    return _after(stand, seconds, rates(half, weather, given))


def _after(stand: Stand, seconds: float, gain: Stand) -> Stand:
    return Stand(
        max(0.0, stand.non_structural + seconds * gain.non_structural),
        stand.structural + seconds * gain.structural,
    )
