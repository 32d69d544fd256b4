"""Growth, harvest and risks in words: from enums and numbers to what a grower reads."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from daemon.crop.risk import Height, Reason, Risk, Sign, Threat
from daemon.crop.still import Litres
from daemon.growing import Lived, Source

THREAT: Mapping[Threat, str] = {
    Threat.TIP_BURN: "tip-burn",
    Threat.BOLTING: "bolting",
    Threat.ROOT_ROT: "root rot",
}
HEIGHT: Mapping[Height, str] = {Height.RAISED: "raised", Height.HIGH: "high"}
SIGN: Mapping[Sign, str] = {
    Sign.LIGHT: "light of the day {:.1f} mol/m²",
    Sign.AIR: "air {:.1f} °C in the mean",
    Sign.NIGHT_AIR: "coolest air of the day {:.1f} °C",
    Sign.EC: "EC {:.2f} mS/cm",
    Sign.DEFICIT: "vapour pressure deficit {:.2f} kPa",
    Sign.HOURS_LIT: "{:.0f} lit hours a day",
    Sign.WATER: "water {:.1f} °C in the mean",
    Sign.OXYGEN: "water that warm holds at most {:.1f} mg/L of oxygen",
    Sign.OVER_WEIGHT: "heads at {:.1f} times the weight you wanted",
}
MISSING: Mapping[Sign, str] = {
    Sign.LIGHT: "light",
    Sign.AIR: "air temperature",
    Sign.NIGHT_AIR: "air temperature",
    Sign.EC: "EC",
    Sign.DEFICIT: "humidity",
    Sign.HOURS_LIT: "light",
    Sign.WATER: "water temperature",
    Sign.OXYGEN: "water temperature",
    Sign.OVER_WEIGHT: "weight",
}
DO: Mapping[Threat, str] = {
    Threat.TIP_BURN: "look at the innermost leaves; move the air over the hearts, shorten the light, keep EC low "
    "in its band, cut early what is ready",
    Threat.BOLTING: "look whether the heart stretches; cool and darken the nights, cut early what is ready",
    Threat.ROOT_ROT: "lift a head: healthy roots are pale and smell of nothing; cool and shade the reservoir, "
    "see that water or air moves",
}
AIR: Mapping[Source, str] = {
    Source.MEASURED: "air measured",
    Source.WATER: "air not measured: taken to be as warm as the water",
    Source.ASSUMED: "air not measured: taken to be {:g} °C",
}
LIGHT: Mapping[Source, str] = {
    Source.MEASURED: "light measured",
    Source.LAMP: "light not measured: by the lamp's timetable",
}


def risk(of: Risk) -> str:
    """`tip-burn high: light of the day 18.2 mol/m² (limit 17); EC 1.95 mS/cm (limit 1.8)`."""
    return f"{THREAT[of.threat]} {HEIGHT[of.height]}: {'; '.join(reason(one) for one in of.reasons)}"


def reason(of: Reason) -> str:
    """A figure and the limit that it is past."""
    return f"{SIGN[of.sign].format(of.value)} (limit {of.limit:g})"


def not_known(signs: Iterable[Sign]) -> str:
    """`humidity, light`; each once."""
    return ", ".join(dict.fromkeys(MISSING[sign] for sign in signs))


def lived(of: Lived, assumed_air_c: float) -> str:
    """Where air and light of its hours are from, and how much of them was measured."""
    air, light = AIR[of.air].format(assumed_air_c), LIGHT[of.light]
    if of.air is Source.MEASURED:
        air += f" in {of.air_share:.0%} of the hours"
    if of.light is Source.MEASURED:
        light += f" in {of.light_share:.0%} of the hours"
    return f"{air}; {light}"


def litres(of: Litres) -> str:
    """`18 L (9 to 36)`."""
    return f"{of.likely:.3g} L ({of.low:.3g} to {of.high:.3g})"
