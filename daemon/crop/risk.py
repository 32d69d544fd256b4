"""What threatens a crop by its climate: tip-burn, bolting, root rot. Kinds and numbers; words come later. Pure.

Each figure has two limits: past the first the risk is raised, past the second it is high. They are published
where the source says so; "common practice" has no single source. None of it is a forecast: varieties differ, and
these are reasons to look at the plants, not to throw them away.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from math import isfinite
from statistics import fmean
from typing import NamedTuple

from daemon.crop.climate import WATER_C, day_deficit_kpa, oxygen_mg_per_l
from daemon.measure.daily_light import DAY_S, mol_per_m2
from daemon.values import Quantity


class Threat(StrEnum):
    """What may go wrong."""

    TIP_BURN = "tip-burn"
    BOLTING = "bolting"
    ROOT_ROT = "root-rot"


class Height(StrEnum):
    """How near it is."""

    RAISED = "raised"
    HIGH = "high"


class Sign(StrEnum):
    """What tells of it."""

    LIGHT = "light"  # of a day, mol/m²
    AIR = "air"  # mean of a day, °C
    NIGHT_AIR = "night-air"  # coolest of a day, °C
    EC = "ec"  # mS/cm at 25 °C
    DEFICIT = "deficit"  # of the air, kPa, mean of a day; little is bad
    HOURS_LIT = "hours-lit"  # of a day
    WATER = "water"  # mean of a day, °C
    OXYGEN = "oxygen"  # that the water can hold at that, mg/L; little is bad
    OVER_WEIGHT = "over-weight"  # what a head weighs for each g that was wanted


class Limit(NamedTuple):
    """One figure that tells of one threat. Where raised lies above high, little is bad. source: of both."""

    threat: Threat
    sign: Sign
    raised: float
    high: float
    source: str


LIMITS = (
    Limit(
        *(Threat.TIP_BURN, Sign.LIGHT, 15.0, 17.0),
        "Cornell CEA Hydroponic Lettuce Handbook (Brechner & Both): 17 mol/m², some varieties at most 15",
    ),
    Limit(Threat.TIP_BURN, Sign.AIR, 25.0, 28.0, "above 25: HortScience 59(2):255 (2024); 28: common practice"),
    Limit(
        *(Threat.TIP_BURN, Sign.EC, 1.8, 2.2),
        "1.8: upper end for production, UF/IFAS EDIS AE610; 2.2: common practice",
    ),
    Limit(Threat.TIP_BURN, Sign.DEFICIT, 0.4, 0.2, "damp air: common practice"),
    Limit(Threat.BOLTING, Sign.AIR, 25.0, 28.0, "above 25: HortScience 59(2):255 (2024); 28: common practice"),
    Limit(Threat.BOLTING, Sign.NIGHT_AIR, 20.0, 23.0, "warm nights: common practice"),
    Limit(Threat.BOLTING, Sign.HOURS_LIT, 16.5, 18.5, "long days: common practice"),
    Limit(Threat.BOLTING, Sign.OVER_WEIGHT, 1.25, 1.6, "heads left to stand: common practice"),
    Limit(
        *(Threat.ROOT_ROT, Sign.WATER, 23.0, 26.0),
        "23: Bates & Stanghellini 1984, Plant Dis. 68:989 (spinach); 26: roots of vegetables 1992-94 (abstract)",
    ),
    Limit(
        *(Threat.ROOT_ROT, Sign.OXYGEN, 8.5, 8.1),
        "own choice: 2.5 and 2 above the 6 mg/L for lettuce of Foods 2022, 11:1327, as room for what roots use",
    ),
)
"""Each limit of each threat. A threat is as high as its highest sign."""


class Spread(NamedTuple):
    """A quantity over a day: lowest, mean and highest, in its own unit."""

    low: float
    mean: float
    high: float


Day = Mapping[Quantity, Spread]
"""What was measured on one day; what was not is left out."""


@dataclass(frozen=True, slots=True)
class Reason:
    """A figure past its limit. limit: the one that was passed."""

    sign: Sign
    height: Height
    value: float
    limit: float
    source: str


@dataclass(frozen=True, slots=True)
class Risk:
    """A threat that is raised or high, and why, gravest first; never without a reason."""

    threat: Threat
    height: Height
    reasons: tuple[Reason, ...]


def signs_of(day: Day) -> Mapping[Sign, float]:
    """The figures of a day that are known. HOURS_LIT and OVER_WEIGHT are not among them."""
    means = {
        Sign.LIGHT: mol_per_m2(day[Quantity.LIGHT].mean, DAY_S) if Quantity.LIGHT in day else None,
        Sign.AIR: _mean(day, Quantity.AIR_TEMPERATURE),
        Sign.NIGHT_AIR: day[Quantity.AIR_TEMPERATURE].low if Quantity.AIR_TEMPERATURE in day else None,
        Sign.EC: _mean(day, Quantity.EC),
        Sign.DEFICIT: _deficit(day),
        Sign.WATER: _mean(day, Quantity.TEMPERATURE),
        Sign.OXYGEN: _oxygen(_mean(day, Quantity.TEMPERATURE)),
    }
    return {sign: value for sign, value in means.items() if value is not None}


def together(days: Iterable[Mapping[Sign, float]]) -> Mapping[Sign, float]:
    """The mean of each figure over the days on which it is known."""
    every = tuple(days)
    known = {sign: [day[sign] for day in every if sign in day] for sign in Sign}
    return {sign: fmean(values) for sign, values in known.items() if values}


def _mean(day: Day, quantity: Quantity) -> float | None:
    return day[quantity].mean if quantity in day else None


def _oxygen(water_c: float | None) -> float | None:
    return None if water_c is None or not WATER_C[0] <= water_c <= WATER_C[1] else oxygen_mg_per_l(water_c)


def _deficit(day: Day) -> float | None:
    air, damp = day.get(Quantity.AIR_TEMPERATURE), day.get(Quantity.HUMIDITY)
    if air is None or damp is None:
        return None
    return day_deficit_kpa(
        coolest_c=air.low, warmest_c=air.high, dampest_percent=damp.high, driest_percent=damp.low
    )


def risks(signs: Mapping[Sign, float]) -> tuple[Risk, ...]:
    """What threatens, of the figures that are known. One that is not a number tells nothing."""
    return tuple(risk for threat in Threat if (risk := _of(threat, signs)) is not None)


def unknown(signs: Mapping[Sign, float]) -> Mapping[Threat, tuple[Sign, ...]]:
    """Which figures of each threat are not known, so that no risk is not taken for none seen."""
    return {
        threat: tuple(one.sign for one in LIMITS if one.threat is threat and one.sign not in signs)
        for threat in Threat
    }


def _of(threat: Threat, signs: Mapping[Sign, float]) -> Risk | None:
    reasons = sorted(_reasons(threat, signs), key=lambda one: one.height is Height.RAISED)
    return Risk(threat, reasons[0].height, tuple(reasons)) if reasons else None


def _reasons(threat: Threat, signs: Mapping[Sign, float]) -> Iterator[Reason]:
    for one in LIMITS:
        value = signs.get(one.sign)
        if one.threat is not threat or value is None or not isfinite(value):
            continue
        if _past(value, one.high, one):
            yield Reason(one.sign, Height.HIGH, value, one.high, one.source)
        elif _past(value, one.raised, one):
            yield Reason(one.sign, Height.RAISED, value, one.raised, one.source)


def _past(value: float, limit: float, of: Limit) -> bool:
    return value > limit if of.raised < of.high else value < limit
