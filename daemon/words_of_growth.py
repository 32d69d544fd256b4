"""Growth, harvest and risks in words: from enums and numbers to what a grower reads."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from datetime import date, timedelta
from math import floor

from daemon.crop.harvest import Window
from daemon.crop.risk import Height, Reason, Risk, Sign, Threat
from daemon.crop.still import Litres
from daemon.growing import AHEAD_DAYS, Lived, Prospect, Room, Source

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


def prospect(of: Prospect) -> str:
    """Which heads it is of, since when."""
    batch, where = of.batch, ", ".join(name for name, _ in of.batch.reservoirs)
    return f"{batch.name}: {batch.heads} {batch.variety} heads in {where}, set out {of.begun}, day {of.day:.0f}"


def facts(room: Room, of: Prospect) -> Iterator[tuple[str, str]]:
    """What is believed of it, and by what: what each is of, and what it is."""
    now = of.now
    yield "a head weighs", f"{now.likely:.0f} g, eight times in ten {now.low:.0f} to {now.high:.0f} g"
    yield f"{room.wanted_g:.0f} g", _ready(of.ready, of.begun, of.day)
    yield "your scale", _scale(of)
    yield "reckoned with", lived(of.lived, room.air_c)
    bed = f"{room.plants_per_m2:.0f} plants on a m², CO2 of outside air ({room.co2_ppm:g} ppm)"
    yield "", f"{bed}, days to come as the last seven"
    if any(picked.way == "leaves" for _, picked in of.batch.pickings):
        yield "leaves picked", "are not taken off: the grams are of a head that kept them"


def _ready(ready: Window, begun: date, day: float) -> str:
    if ready.likely is not None and ready.likely <= day:
        return f"likely since {begun + timedelta(days=ready.likely)}: weigh one, and cut"
    days = [
        f"not within {AHEAD_DAYS} days" if each is None else f"{begun + timedelta(days=max(each, floor(day)))}"
        for each in ready
    ]
    if ready.earliest is None:
        return f"{days[0]}: more light, more warmth, or fewer grams"
    return f"likely {days[1]}; at best {days[0]}, at worst {days[2]}"


def _scale(of: Prospect) -> str:
    if not (of.weighings or of.earlier):
        return "nothing was weighed yet: the model alone may be off by half; evenwater crop did weighed --help"
    told = f"{of.weighings} of this batch, {of.earlier} earlier batches"
    return f"{of.scale.factor:.2f} of the model, by weighings: {told}"


def limits(of: Risk) -> str:
    """By whose figures it is a risk."""
    sources = [source for one in of.reasons for source in one.source.split("; ")]
    return f"limits: {'; '.join(dict.fromkeys(sources))}"


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
