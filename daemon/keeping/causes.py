"""What of a reservoir calls for a person: from what is known at the end of a pass to causes of alarms. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from config.settings import Reservoir as Table
from daemon import words, words_of_calibration
from daemon.alarm.kinds import Kind
from daemon.alarm.life import Cause
from daemon.dose.draw_down import Stands
from daemon.dose.finding import Finding
from daemon.dose.level import Drowned, Fall
from daemon.dose.permit import BOTTLE_STOP_SHARE, PumpLimits
from daemon.dose.windows import Totals
from daemon.measure.ageing import ProbeNote
from daemon.measure.rate import EXPIRED
from daemon.values import (
    Cap,
    Condition,
    Permit,
    PumpState,
    Quality,
    Quantity,
    RateStanding,
    Refusal,
    Role,
    Verdict,
    VerdictReason,
    WaterUse,
)

FAR_OUT_PH = 1.0  # this far outside the band roots are harmed, not only slowed
FAR_OUT_EC_MS_PER_CM = 1.0
BOTTLE_WARN_SHARE = 0.2
LEVEL_ENOUGH = 0.5  # a float switch says 1 or 0
"""A level probe's share of the nominal volume above which dosing by the nominal volume is right."""

_OF_THE_ROOM = (Quantity.AIR_TEMPERATURE, Quantity.HUMIDITY, Quantity.LIGHT)  # nothing is dosed by them
_CORRECTED = (Quantity.PH, Quantity.EC)
DEAD_BAND = {
    Quantity.PH: 0.1,
    Quantity.TEMPERATURE: 0.5,
}  # a value at its limit does not chatter (usual, from memory)
DEAD_BAND_SHARE = {Quantity.EC: 0.05}  # of the band's upper end
LEVEL_DEAD_BAND = 0.03
_FAR_OUT = {Quantity.PH: FAR_OUT_PH, Quantity.EC: FAR_OUT_EC_MS_PER_CM}
_QUIET_REASONS = (
    VerdictReason.WARMING_UP,
    VerdictReason.CALIBRATING,
    VerdictReason.OUT_OF_SERVICE,
    VerdictReason.NO_TEMPERATURE,
    VerdictReason.REFERENCE,  # of the converter, which has one alarm for all its probes (service.py)
)
_CALIBRATION_REASONS = (VerdictReason.NOT_CALIBRATED, VerdictReason.CALIBRATION_OLD, VerdictReason.STOP_GAP)


@dataclass(frozen=True, slots=True)
class Known:
    """One reservoir at the end of a pass.

    stood: the condition and reason of a hold or lock in force, None without one.
    spent: the ledger's totals per pump. leak: a fall of the level that drinking cannot explain.
    drowned: it rose over roots that need air. falls_fast, stands: a still reservoir falls too fast, or hardly.
    moved, too_strong, little: findings on doses that still stand.
    water: None where nothing tells.
    unstirred: a circulation contact is fitted and does not say that the water moves. standing: keys of the alarms
    whose cause was there at the last pass: a value has to come back by a dead band before they end.
    """

    name: str
    table: Table
    bands: Mapping[Quantity, tuple[float, float]]
    verdicts: Mapping[Quantity, Verdict]
    decision: Permit | Refusal | None
    limits: Mapping[Role, PumpLimits]
    spent: Mapping[Role, Totals]
    stood: tuple[Condition, str] | None = None
    moved: Finding | None = None
    leak: Fall | None = None
    drowned: Drowned | None = None
    falls_fast: Fall | None = None
    stands: Stands | None = None
    water: WaterUse | None = None
    too_strong: Finding | None = None
    little: Finding | None = None
    pumps: Mapping[Role, PumpState] = field(default_factory=dict)
    ageing: Mapping[Quantity, tuple[ProbeNote, ...]] = field(default_factory=dict)
    unstirred: bool = False
    standing: frozenset[str] = frozenset()


def causes(known: Known) -> Iterator[Cause]:
    """Everything that is true now and may call for a person."""
    for verdict in known.verdicts.values():
        yield from _of_probe(known, verdict)
    for quantity, said in known.ageing.items():
        yield from _of_ageing(known, quantity, said)
    yield from _of_doses(known)
    yield from _of_level(known)
    yield from _of_effects(known)
    for role, pump in known.pumps.items():
        yield from _of_pump(known, role, pump)
    yield from _of_water(known)
    if known.stood is not None:
        condition, reason = known.stood
        kind = Kind.LOCKED if condition is Condition.LOCKED else Kind.HELD_LONG
        yield Cause(kind, known.name, "", f"{known.table.title} is {condition.value}: {reason}.")


def _of_probe(known: Known, verdict: Verdict) -> Iterator[Cause]:
    quantity, name = verdict.quantity, words.QUANTITY[verdict.quantity]
    if verdict.reason is VerdictReason.OUT_OF_SERVICE:
        yield Cause(Kind.OUT_OF_SERVICE, known.name, quantity.value, f"The {name} probe is out of service.")
    elif verdict.reason in _CALIBRATION_REASONS:
        yield Cause(Kind.CALIBRATION, known.name, quantity.value, f"{name} probe: {words.why(verdict)}.")
    elif verdict.reason is VerdictReason.ONE_LEFT:
        yield Cause(Kind.ONE_PROBE, known.name, quantity.value, f"{name}: {words.why(verdict)}.")
    elif verdict.reason is VerdictReason.DISAGREE:
        yield Cause(Kind.DISAGREE, known.name, quantity.value, f"{name}: {words.why(verdict)}.")
    elif quantity.kind is not quantity:
        return  # what it says shows in the verdict on its kind
    elif quantity in _OF_THE_ROOM:
        if verdict.quality is Quality.BAD:
            yield Cause(Kind.ROOM_SENSOR, known.name, quantity.value, f"{name}: {words.why(verdict)}.")
    elif verdict.quality is Quality.BAD and verdict.reason not in _QUIET_REASONS:
        text = f"{name} probe: {words.why(verdict)}.{_in_its_place(known, quantity)}"
        yield Cause(Kind.PROBE, known.name, quantity.value, text)
    if verdict.usable and verdict.reading is not None:
        yield from _of_value(known, quantity, verdict.reading.value)


_AGEING = (ProbeNote.FAILS_SOON, ProbeNote.SLOW, ProbeNote.FAR_OFFSET)
"""What has no alarm of its own: an old calibration, a stop-gap and a slope too low to dose by have one."""


def _of_ageing(known: Known, quantity: Quantity, said: tuple[ProbeNote, ...]) -> Iterator[Cause]:
    if told := [words_of_calibration.NOTE[note] for note in said if note in _AGEING]:
        text = f"{words.QUANTITY[quantity]} probe: {'; '.join(told)}."
        yield Cause(Kind.PROBE_AGEING, known.name, quantity.value, text)


def _in_its_place(known: Known, quantity: Quantity) -> str:
    """What pH is reckoned with while the thermometer fails."""
    assumed_c = known.table.assumed_temperature_c
    if quantity is not Quantity.TEMPERATURE or assumed_c is None:
        return ""
    return f" pH is reckoned with the assumed {assumed_c:g} °C, EC not at all."


def _of_value(known: Known, quantity: Quantity, amount: float) -> Iterator[Cause]:
    if quantity is Quantity.LEVEL:
        short = Cause(Kind.LEVEL_LOW, known.name, "level", f"The level of {known.table.title} is low.")
        if not amount > LEVEL_ENOUGH + (LEVEL_DEAD_BAND if short.key in known.standing else 0.0):
            yield short
        return
    if quantity not in known.bands:
        return
    low, high = known.bands[quantity]
    back = _dead_band(quantity, low, high)
    if low + back <= amount <= high - back:  # well inside, whatever stood before
        return
    text = f"{words.QUANTITY[quantity]} {words.value(quantity, amount)}, band {low:g} to {high:g}."
    own = quantity not in _CORRECTED  # nothing of the daemon's keeps it from being right
    out = Cause(Kind.OUT_OF_BAND, known.name, quantity.value, text, own)
    if not _is_within(known, out, amount, 0.0):
        yield out
    margin = _FAR_OUT.get(quantity)
    far = Cause(Kind.FAR_OUT, known.name, quantity.value, text)
    if margin is not None and not _is_within(known, far, amount, margin):
        yield far


def _is_within(known: Known, cause: Cause, amount: float, margin: float) -> bool:
    """Whether the value is so near the band that this cause is not, or no longer, there."""
    quantity = Quantity(cause.about)
    low, high = known.bands[quantity]
    back = _dead_band(quantity, low, high) if cause.key in known.standing else 0.0
    return low - margin + back <= amount <= high + margin - back


def _dead_band(quantity: Quantity, low: float, high: float) -> float:
    """How far inside its band a value has to come back before an alarm about it ends."""
    return min(DEAD_BAND.get(quantity, 0.0) + DEAD_BAND_SHARE.get(quantity, 0.0) * high, (high - low) / 4.0)


def _of_doses(known: Known) -> Iterator[Cause]:
    refused = known.decision
    if isinstance(refused, Refusal):
        about, text = refused.request.pump.value, f"{_capital(words.refusal(refused))}."
        if refused.cap in (Cap.PER_DAY, Cap.SHARE):
            yield Cause(Kind.DAY_CAP, known.name, about, text)
        if refused.cap is Cap.NOT_SET:
            yield Cause(Kind.CAPS_MISSING, known.name, about, text)
    for role, limits in known.limits.items():
        yield from _of_bottle(known, role, limits)


def _of_bottle(known: Known, role: Role, limits: PumpLimits) -> Iterator[Cause]:
    spent = known.spent[role]
    if not spent.ok:
        return
    left_ml = max(0.0, limits.bottle_ml - spent.since_refill_ml)
    if left_ml > BOTTLE_WARN_SHARE * limits.bottle_ml:
        return
    usable_ml = left_ml - BOTTLE_STOP_SHARE * limits.bottle_ml
    kind = Kind.BOTTLE_LOW if usable_ml >= limits.smallest_dose_ml else Kind.BOTTLE_EMPTY
    text = f"The {words.ROLE[role]} bottle holds about {left_ml:.0f} mL."
    yield Cause(kind, known.name, role.value, text)


def _of_pump(known: Known, role: Role, pump: PumpState) -> Iterator[Cause]:
    if pump.standing is not RateStanding.DATED:
        kind = Kind.RATE_EXPIRED if pump.standing in EXPIRED else Kind.RATE_OLD
        yield Cause(kind, known.name, role.value, f"{_capital(words.ROLE[role])} pump: {words.rate(pump)}.")
    if pump.tube_h is not None and pump.tube_lasts_h is not None and pump.tube_h >= pump.tube_lasts_h:
        text = (
            f"The {words.ROLE[role]} tube has run {pump.tube_h:.1f} h, its maker gives it {pump.tube_lasts_h:g}."
        )
        yield Cause(Kind.TUBE_WORN, known.name, role.value, text)


def _of_water(known: Known) -> Iterator[Cause]:
    limits, water = known.table.water, known.water
    if water is None or not (water.days >= limits.change_out_days or water.fills >= limits.change_out_fills):
        return
    text = (
        f"The water of {known.table.title} has been in for {water.days:.0f} days and was fed {water.fills:.1f} "
        f"fillings' worth of stock; usual are {limits.change_out_days:g} days or {limits.change_out_fills:g}."
    )
    yield Cause(Kind.CHANGE_OUT, known.name, "water", text)


def _of_level(known: Known) -> Iterator[Cause]:
    title, full_l = known.table.title, known.table.volume_l
    if known.leak is not None:
        yield Cause(Kind.LEAK, known.name, "level", f"{_capital(words.leak(known.leak, full_l))}.")
    if known.drowned is not None:
        yield Cause(Kind.AIR_ROOTS, known.name, "level", words.drowned(known.drowned, title))
    if known.falls_fast is not None:
        yield Cause(Kind.FALLS_FAST, known.name, "level", words.falls_fast(known.falls_fast, title, full_l))
    if known.stands is not None:
        yield Cause(Kind.HARDLY_FALLS, known.name, "level", words.stands(known.stands, title, full_l))


def _of_effects(known: Known) -> Iterator[Cause]:
    if known.moved is not None:
        yield Cause(Kind.MOVED, known.name, "ph", f"{_capital(words.finding(known.moved))}.")
    strong = known.too_strong
    if strong is not None and strong.pump is not None:
        yield Cause(Kind.TOO_STRONG, known.name, strong.pump.value, f"{_capital(words.finding(strong))}.")
    if known.little is not None and known.little.pump is not None:
        text = f"{_capital(words.finding(known.little))}."
        yield Cause(Kind.WELL_BUFFERED, known.name, known.little.pump.value, text)
    if known.unstirred:
        title = known.table.title
        yield Cause(Kind.CIRCULATION, known.name, "", f"{title}: the water is not known to be stirred.")


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
