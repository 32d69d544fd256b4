"""Acid-base chemistry and conductivity of a nutrient solution, by charge balance at the water's temperature.

What is dissolved is told by ten totals (`Totals`). Acids and bases need no entry of their own: phosphoric
acid adds phosphate, potassium hydroxide adds potassium, and the one pH at which all charges cancel follows.

    totals, temperature  ->  equilibrate  ->  Equilibrium (pH and species)  ->  conductivity_ms_per_cm

Sources. Carbonate: Plummer & Busenberg 1982, Geochim. Cosmochim. Acta 46:1011. Activities: Davies 1962, Ion
Association, with the Debye-Hueckel A computed from the IAPWS density and permittivity of water. Phosphoric acid
at 25 °C: the log K set of the public-domain PHREEQC database. Ion conductivities: McCleskey, Nordstrom, Ryan &
Ball 2012, Geochim. Cosmochim. Acta 77:369. Values marked "memory" were written down from memory and are held only
by the titrations and conductivities that the tests compare with.

Left out on purpose: precipitation (above about pH 7.5 a real solution would slowly lose calcium phosphate and
carbonate), trace elements and chelates, and ion pairs of potassium, sodium and ammonium (below 1 % of each).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import exp, log, log10, sqrt
from typing import NamedTuple

COLDEST_C = 0.0
WARMEST_C = 50.0

_KELVIN = 273.15
_LN10 = log(10.0)
_GAS_J_PER_MOL_K = 8.314462618
_JOULE_PER_CAL = 4.184

_MOST_ITERATIONS = 100  # warm 2 or 3, cold up to 14; much calcium with much phosphate at pH 11 takes 70
_SETTLED = 2e-5  # of ln(activity of H+) and, relative, of the ionic strength: 1e-5 pH
_LARGEST_STEP = 2.0  # in ln(a_H): half the width of an acid's step, so that it is never jumped for good


class ChemistryError(ValueError):
    """A solution that cannot be made or solved; the message says which values and what is allowed."""


class Totals(NamedTuple):
    """All that is dissolved, each in mol per kg of water, whatever form it takes. All are 0 or more.

    ammonium counts NH4+ and NH3, carbonate all dissolved CO2 and its ions, phosphate and sulfate likewise.
    A tuple, not a dataclass, because the tank makes one at every step.
    """

    calcium: float = 0.0
    magnesium: float = 0.0
    potassium: float = 0.0
    sodium: float = 0.0
    ammonium: float = 0.0
    nitrate: float = 0.0
    chloride: float = 0.0
    sulfate: float = 0.0
    phosphate: float = 0.0
    carbonate: float = 0.0


class Equilibrium(NamedTuple):
    """One solution at rest: pH (activity scale) and its free species and neutral CO2, in mol per kg of water."""

    ph: float
    ionic_strength: float
    hydrogen: float
    hydroxide: float
    calcium: float
    magnesium: float
    potassium: float
    sodium: float
    ammonium: float
    nitrate: float
    chloride: float
    sulfate: float
    hydrogensulfate: float
    bicarbonate: float
    carbonate: float
    dihydrogenphosphate: float
    hydrogenphosphate: float
    phosphate: float
    co2: float


# --- equilibrium constants at a temperature -----------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Constants:
    """Equilibrium constants at one temperature, in terms of activities (mol/kg), and the Debye-Hueckel A."""

    davies_a: float
    water: float
    carbonic_1: float
    carbonic_2: float
    co2_per_atm: float
    phosphoric_1: float
    phosphoric_2: float
    phosphoric_3: float
    ammonium: float
    hydrogensulfate: float
    ca_hco3: float
    ca_co3: float
    ca_h2po4: float
    ca_hpo4: float
    ca_po4: float
    ca_so4: float
    mg_hco3: float
    mg_co3: float
    mg_h2po4: float
    mg_hpo4: float
    mg_po4: float
    mg_so4: float


# log K = c0 + c1 T + c2 / T + c3 log10 T + c4 / T^2 (Plummer & Busenberg 1982)
_CARBONIC_1 = (-356.3094, -0.06091964, 21834.37, 126.8339, -1684915.0)
_CARBONIC_2 = (-107.8871, -0.03252849, 5151.79, 38.92561, -563713.9)
_CO2_PER_ATM = (108.3865, 0.01985076, -6919.53, -40.45154, 669365.0)

# log K at 25 °C and reaction enthalpy in kcal/mol, as in the public-domain PHREEQC database. The enthalpies and
# the ion pairs are from memory. Order: as the fields of Constants from phosphoric_1 on. Acids: loss of a proton.
_BY_ENTHALPY = (
    (-2.168, -2.11),  # H3PO4 = H2PO4- + H+
    (-7.207, 0.99),  # H2PO4- = HPO4-- + H+
    (-12.346, 3.53),  # HPO4-- = PO4--- + H+
    (-9.252, 12.48),  # NH4+ = NH3 + H+
    (-1.988, -3.85),  # HSO4- = SO4-- + H+
    (1.106, 2.69),  # Ca++ + HCO3- = CaHCO3+
    (3.224, 3.545),  # Ca++ + CO3-- = CaCO3
    (1.408, 3.40),  # Ca++ + H2PO4- = CaH2PO4+
    (2.739, 3.30),  # Ca++ + HPO4-- = CaHPO4
    (6.459, 3.10),  # Ca++ + PO4--- = CaPO4-
    (2.30, 1.325),  # Ca++ + SO4-- = CaSO4
    (1.07, 0.79),  # Mg++ + HCO3- = MgHCO3+
    (2.98, 2.713),  # Mg++ + CO3-- = MgCO3
    (1.513, 3.40),  # Mg++ + H2PO4- = MgH2PO4+
    (2.87, 3.30),  # Mg++ + HPO4-- = MgHPO4
    (6.589, 3.10),  # Mg++ + PO4--- = MgPO4-
    (2.37, 4.55),  # Mg++ + SO4-- = MgSO4
)


def constants_at(temperature_c: float) -> Constants:
    """Equilibrium constants at 0..50 °C, to the nearest 0.01 °C. Raises ChemistryError outside."""
    return _constants(_hundredths(temperature_c))


def _hundredths(temperature_c: float) -> int:
    if not (COLDEST_C <= temperature_c <= WARMEST_C):
        raise ChemistryError(
            f"temperature = {temperature_c:g} °C: the chemistry holds from {COLDEST_C:g} to {WARMEST_C:g} °C"
        )
    return round(temperature_c * 100.0)


@lru_cache(maxsize=1024)
def _constants(hundredths_c: int) -> Constants:
    celsius = hundredths_c / 100.0
    kelvin = celsius + _KELVIN
    return Constants(
        _davies_a(celsius),
        10.0 ** -_pk_water(kelvin),
        _five_terms(_CARBONIC_1, kelvin),
        _five_terms(_CARBONIC_2, kelvin),
        _five_terms(_CO2_PER_ATM, kelvin),
        *(_van_t_hoff(log_k, kcal, kelvin) for log_k, kcal in _BY_ENTHALPY),
    )


def _davies_a(celsius: float) -> float:
    """Debye-Hueckel A (log10, molal): parabola through the IAPWS values at 0, 25, 50 °C; within 5e-5 between."""
    return 0.49044 + celsius * (6.736e-4 + 4.0e-6 * celsius)


def _pk_water(kelvin: float) -> float:
    """Ionic product of water after Harned & Owen (memory); within 0.003 of IAPWS R11 at 0..50 °C."""
    return 4470.99 / kelvin - 6.0875 + 0.01706 * kelvin


def _five_terms(c: tuple[float, float, float, float, float], kelvin: float) -> float:
    log_k = c[0] + c[1] * kelvin + c[2] / kelvin + c[3] * log10(kelvin) + c[4] / (kelvin * kelvin)
    return float(10.0**log_k)


def _van_t_hoff(log_k_25: float, enthalpy_kcal: float, kelvin: float) -> float:
    joule = enthalpy_kcal * 1000.0 * _JOULE_PER_CAL
    return float(10.0 ** (log_k_25 + joule / (_GAS_J_PER_MOL_K * _LN10) * (1.0 / 298.15 - 1.0 / kelvin)))


def co2_in_air_equilibrium(temperature_c: float, co2_ppm: float) -> float:
    """Dissolved CO2 in mol/kg below air that holds co2_ppm (by volume, at 1 atm)."""
    return constants_at(temperature_c).co2_per_atm * co2_ppm * 1e-6


# --- the charge balance -------------------------------------------------------------------------------------


def strong_charge(totals: Totals) -> float:
    """Charge in mol/kg that the acid-base species must cancel: cations less nitrate, chloride and sulfate."""
    return (
        2.0 * (totals.calcium + totals.magnesium - totals.sulfate)
        + totals.potassium
        + totals.sodium
        + totals.ammonium
        - totals.nitrate
        - totals.chloride
    )


def equilibrate(
    totals: Totals,
    temperature_c: float,
    near: Equilibrium | None = None,
    held_co2: float | None = None,
) -> Equilibrium:
    """The pH and species at which all charges cancel.

    near: an earlier solution to start from; it changes the time taken, not the answer.
    held_co2: dissolved CO2 in mol/kg kept by the air above; totals.carbonate is then ignored. None: closed.
    Raises ChemistryError when nothing is found, which no plausible nutrient solution causes.

    An ion pair only changes how much its acid holds at each step of giving up protons, and counts there. So the
    balance is one rising function of ln(a_H) for Newton; free Ca, Mg and the ionic strength settle alongside.
    """
    constants = constants_at(temperature_c)
    strong = strong_charge(totals)
    guess = _start(totals, near)
    for _ in range(_MOST_ITERATIONS):
        found, excess, slope = _charges(totals, constants, strong, held_co2, guess)
        step = max(-_LARGEST_STEP, min(_LARGEST_STEP, -excess / slope))
        if abs(step) + abs(found.ionic_strength - guess.ionic) / guess.ionic < _SETTLED:
            return found
        guess = _Guess(guess.ln_h + step, found.ionic_strength, found.calcium, found.magnesium)
    raise ChemistryError(f"no pH found for {totals} at {temperature_c:g} °C: check the amounts, in mol/kg")


class _Guess(NamedTuple):
    """Where the balance is looked at: ln(a_H), and in mol/kg ionic strength, free calcium, free magnesium."""

    ln_h: float
    ionic: float
    calcium: float
    magnesium: float


def _start(totals: Totals, near: Equilibrium | None) -> _Guess:
    if near is not None:
        return _Guess(-_LN10 * near.ph, near.ionic_strength, near.calcium, near.magnesium)
    ionic = 1e-6 + 2.0 * (totals.calcium + totals.magnesium) + totals.potassium + totals.sodium + totals.ammonium
    return _Guess(-_LN10 * 7.0, ionic, totals.calcium, totals.magnesium)


def _charges(
    totals: Totals, k: Constants, strong: float, held_co2: float | None, guess: _Guess
) -> tuple[Equilibrium, float, float]:
    """Species at this guess, the charge in excess there, and its slope over ln(a_H).

    Long for speed: it runs two or three times in every step of the tank. g, g4, g8 and g12 are powers of the
    activity coefficient of a single charge (Davies: ln gamma goes with the charge squared); m and n are the steps
    of an acid's ladder, relative to its fully protonated form, ion pairs counted with the form they hold.
    """
    ln_h, ionic, calcium, magnesium = guess
    a_h = exp(ln_h)
    root = sqrt(ionic)
    g = exp(-_LN10 * k.davies_a * (root / (1.0 + root) - 0.3 * ionic))
    g4 = g * g * g * g
    g8 = g4 * g4
    g12 = g8 * g4

    bicarbonate = k.carbonic_1 / (g * a_h)
    carbonate = bicarbonate * k.carbonic_2 * g / (g4 * a_h)
    m1 = bicarbonate * (1.0 + g4 * (k.ca_hco3 * calcium + k.mg_hco3 * magnesium))
    m2 = carbonate * (1.0 + g8 * (k.ca_co3 * calcium + k.mg_co3 * magnesium))
    if held_co2 is None:
        co2, lost_c, slope_c = _ladder(totals.carbonate, m1, m2, 0.0)
    else:
        co2, lost_c, slope_c = held_co2, held_co2 * (m1 + 2.0 * m2), held_co2 * (m1 + 4.0 * m2)

    h2po4 = k.phosphoric_1 / (g * a_h)
    hpo4 = h2po4 * k.phosphoric_2 * g / (g4 * a_h)
    po4 = hpo4 * k.phosphoric_3 / (g4 * g * a_h)
    n1 = h2po4 * (1.0 + g4 * (k.ca_h2po4 * calcium + k.mg_h2po4 * magnesium))
    n2 = hpo4 * (1.0 + g8 * (k.ca_hpo4 * calcium + k.mg_hpo4 * magnesium))
    n3 = po4 * (1.0 + g12 * (k.ca_po4 * calcium + k.mg_po4 * magnesium))
    h3po4, lost_p, slope_p = _ladder(totals.phosphate, n1, n2, n3)

    nh3 = k.ammonium * g / a_h
    ammonium = totals.ammonium / (1.0 + nh3)
    hso4 = a_h * g4 / (k.hydrogensulfate * g)
    s1 = 1.0 + g8 * (k.ca_so4 * calcium + k.mg_so4 * magnesium)
    sulfate = totals.sulfate / (s1 + hso4)

    bicarbonate, carbonate = bicarbonate * co2, carbonate * co2
    h2po4, hpo4, po4, hso4 = h2po4 * h3po4, hpo4 * h3po4, po4 * h3po4, hso4 * sulfate
    calcium = totals.calcium / (
        1.0
        + g4 * (k.ca_hco3 * bicarbonate + k.ca_h2po4 * h2po4)
        + g8 * (k.ca_co3 * carbonate + k.ca_hpo4 * hpo4 + k.ca_so4 * sulfate)
        + g12 * k.ca_po4 * po4
    )
    magnesium = totals.magnesium / (
        1.0
        + g4 * (k.mg_hco3 * bicarbonate + k.mg_h2po4 * h2po4)
        + g8 * (k.mg_co3 * carbonate + k.mg_hpo4 * hpo4 + k.mg_so4 * sulfate)
        + g12 * k.mg_po4 * po4
    )
    hydrogen, hydroxide = a_h / g, k.water / (g * a_h)
    excess = strong + hydrogen - hydroxide - lost_c - lost_p - ammonium * nh3 + hso4
    slope = hydrogen + hydroxide + slope_c + slope_p + ammonium * nh3 / (1.0 + nh3) + hso4 * s1 / (s1 + hso4)
    strength = 0.5 * (
        hydrogen + hydroxide + ammonium + totals.potassium + totals.sodium + totals.nitrate + totals.chloride
        + bicarbonate + h2po4 + hso4
    ) + 2.0 * (calcium + magnesium + sulfate + carbonate + hpo4) + 4.5 * po4  # fmt: skip
    found = Equilibrium(
        -ln_h / _LN10, strength, hydrogen, hydroxide, calcium, magnesium, totals.potassium, totals.sodium,
        ammonium, totals.nitrate, totals.chloride, sulfate, hso4, bicarbonate, carbonate, h2po4, hpo4, po4, co2,
    )  # fmt: skip
    return found, excess, slope


def _ladder(total: float, m1: float, m2: float, m3: float) -> tuple[float, float, float]:
    """Fully protonated part of an acid (mol/kg), protons it has lost, minus the slope of those over ln(a_H)."""
    whole = 1.0 + m1 + m2 + m3
    lost = m1 + 2.0 * m2 + 3.0 * m3
    neutral = total / whole
    return neutral, neutral * lost, neutral * (m1 + 4.0 * m2 + 9.0 * m3 - lost * lost / whole)


def carbonate_for_ph(totals: Totals, ph: float, temperature_c: float) -> float:
    """Total carbonate in mol/kg that brings these totals (their own carbonate ignored) to this pH.

    Raises ChemistryError when no amount up to 0.1 mol/kg does; more carbonate can only lower the pH.
    """
    low, high = 0.0, 0.1
    bounds = [equilibrate(totals._replace(carbonate=end), temperature_c) for end in (low, high)]
    if not (bounds[1].ph <= ph <= bounds[0].ph):
        raise ChemistryError(
            f"pH = {ph:g}: this water reaches {bounds[1].ph:.2f} (full of CO2) to {bounds[0].ph:.2f} (free of "
            "it); change the pH, or the alkalinity that holds it up"
        )
    near = None
    while high - low > 1e-10:
        middle = 0.5 * (low + high)
        near = equilibrate(totals._replace(carbonate=middle), temperature_c, near)
        low, high = (middle, high) if near.ph > ph else (low, middle)
    return 0.5 * (low + high)


# --- conductivity -------------------------------------------------------------------------------------------


class _Ion(NamedTuple):
    """Molar conductivity in S cm2/mol at t °C, with the total ionic strength I (McCleskey 2012):

    l2 t^2 + l1 t + l0 - (a2 t^2 + a1 t + a0) sqrt(I) / (1 + b sqrt(I))
    """

    l2: float
    l1: float
    l0: float
    a2: float
    a1: float
    a0: float
    b: float


_HYDROGEN = _Ion(-0.01414, 5.355, 224.2, -0.00918, 1.842, 39.23, 0.3)  # the two minus signs: memory
_HYDROXIDE = _Ion(0.003396, 2.925, 121.3, 0.00933, 0.1086, 35.9, 0.01)
_CALCIUM = _Ion(0.009645, 1.984, 62.28, 0.03174, 2.334, 132.3, 2.8)
_MAGNESIUM = _Ion(0.01068, 1.695, 57.16, 0.02453, 1.915, 80.5, 2.1)
_POTASSIUM = _Ion(0.003046, 1.261, 40.7, 0.00535, 0.9316, 22.59, 1.5)
_SODIUM = _Ion(0.003763, 0.877, 26.23, 0.00027, 1.141, 32.07, 1.7)
_AMMONIUM = _Ion(0.003341, 1.285, 39.04, 0.00132, 0.607, 11.19, 0.3)
_NITRATE = _Ion(0.001925, 1.214, 39.9, 0.00118, 0.5045, 23.31, 0.1)
_CHLORIDE = _Ion(0.003817, 1.337, 40.99, 0.00613, 0.9469, 22.01, 1.5)
_SULFATE = _Ion(0.01037, 2.838, 82.37, 0.03324, 5.889, 193.5, 2.6)
_BICARBONATE = _Ion(0.000614, 0.9048, 21.14, -0.00503, 0.8957, 10.97, 0.1)


def _shaped_like(ion: _Ion, limiting_25: float) -> _Ion:
    """An ion not listed by McCleskey: its limiting conductivity at 25 °C, all else in proportion to `ion`."""
    share = limiting_25 / (ion.l2 * 625.0 + ion.l1 * 25.0 + ion.l0)
    return _Ion._make([*(share * value for value in ion[:6]), ion.b])


# In the order of Equilibrium from `hydrogen` on. Limiting conductivities: CRC Handbook (Vanysek), in S cm2/mol.
_IONS = (
    _HYDROGEN,
    _HYDROXIDE,
    _CALCIUM,
    _MAGNESIUM,
    _POTASSIUM,
    _SODIUM,
    _AMMONIUM,
    _NITRATE,
    _CHLORIDE,
    _SULFATE,
    _shaped_like(_BICARBONATE, 52.0),  # HSO4- (memory)
    _BICARBONATE,
    _shaped_like(_SULFATE, 138.6),  # CO3--
    _shaped_like(_BICARBONATE, 36.0),  # H2PO4-
    _shaped_like(_SULFATE, 114.0),  # HPO4--
    _shaped_like(_SULFATE, 207.0),  # PO4--- (memory)
)
_FIRST_ION = Equilibrium._fields.index("hydrogen")
_LAST_ION = Equilibrium._fields.index("phosphate")


def conductivity_ms_per_cm(water: Equilibrium, temperature_c: float) -> float:
    """Conductivity in mS/cm of these species at this temperature (not compensated), 0..50 °C.

    Sum over ions, each slowed by the total ionic strength; small charged ion pairs are left out.
    Raises ChemistryError outside 0..50 °C.
    """
    root = sqrt(water.ionic_strength)
    conductivity = 0.0
    for amount, (limiting, slowed, b) in zip(
        water[_FIRST_ION : _LAST_ION + 1], _mobilities(_hundredths(temperature_c)), strict=True
    ):
        conductivity += amount * (limiting - slowed * root / (1.0 + b * root))
    return conductivity


@lru_cache(maxsize=1024)
def _mobilities(hundredths_c: int) -> tuple[tuple[float, float, float], ...]:
    t = hundredths_c / 100.0
    return tuple(
        (ion.l2 * t * t + ion.l1 * t + ion.l0, ion.a2 * t * t + ion.a1 * t + ion.a0, ion.b) for ion in _IONS
    )
