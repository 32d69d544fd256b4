"""Sentences made at the edge: from enums and numbers to what a grower reads.

Every room passes reasons as enum members and numbers; only here do they become words.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache

from config.settings import Reservoir
from daemon.altered import Altered
from daemon.dose.draw_down import Stands
from daemon.dose.finding import Finding, Surprise
from daemon.dose.learn import shift_of_dose
from daemon.dose.level import Drowned, Fall
from daemon.dose.strength import stock_a_of_a_fill_ml
from daemon.dose.usual import Usual
from daemon.measure.rate import RateFit, RateReason
from daemon.runs import Watch
from daemon.values import (
    BY_A_PERSON,
    Alarm,
    Cap,
    Condition,
    DoseReason,
    DoseRequest,
    Entry,
    Numbers,
    Outcome,
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

QUANTITY = {
    Quantity.PH: "pH",
    Quantity.EC: "EC",
    Quantity.TEMPERATURE: "temperature",
    Quantity.LEVEL: "level",
    Quantity.AIR_TEMPERATURE: "air",
    Quantity.HUMIDITY: "humidity",
    Quantity.LIGHT: "light",
    Quantity.PH_2: "second pH",
    Quantity.EC_2: "second EC",
    Quantity.TEMPERATURE_2: "second temp.",
}
UNIT = {
    Quantity.PH: "",
    Quantity.EC: " mS/cm",
    Quantity.TEMPERATURE: " °C",
    Quantity.LEVEL: "",
    Quantity.AIR_TEMPERATURE: " °C",
    Quantity.HUMIDITY: " %",
    Quantity.LIGHT: " µmol/(m² s)",
}
DECIMALS = {
    Quantity.PH: 2,
    Quantity.EC: 2,
    Quantity.TEMPERATURE: 1,
    Quantity.LEVEL: 2,
    Quantity.AIR_TEMPERATURE: 1,
    Quantity.HUMIDITY: 0,
    Quantity.LIGHT: 0,
}
ROLE = {
    Role.PH_DOWN: "pH down",
    Role.PH_UP: "pH up",
    Role.STOCK_A: "stock A",
    Role.STOCK_B: "stock B",
    Role.TOP_UP: "top-up water",
}

_VERDICT: Mapping[VerdictReason, str] = {
    VerdictReason.FINE: "fine",
    VerdictReason.WARMING_UP: "too few readings yet",
    VerdictReason.NO_ANSWER: "the probe's converter does not answer",
    VerdictReason.REFERENCE: "its converter cannot be trusted",
    VerdictReason.CLIPPED: "the voltage is at the end of the converter's range: unplugged, dry or miswired",
    VerdictReason.OUT_OF_SPAN: "outside what the probe can tell",
    VerdictReason.STUCK: "has not moved at all for too long",
    VerdictReason.JUMPED: "moved faster than water can",
    VerdictReason.UNUSUAL: "moved further than this water ever does; believed if it holds for half an hour",
    VerdictReason.ONE_LEFT: "one of the two probes is out, the other goes on alone",
    VerdictReason.DISAGREE: "the two probes disagree, so one of them is wrong",
    VerdictReason.STALE: "the newest reading is too old",
    VerdictReason.NOISY: "the readings of one moment disagree: loose plug, dry probe or hum",
    VerdictReason.NO_TEMPERATURE: "no temperature to compensate with",
    VerdictReason.NOT_CALIBRATED: "not calibrated",
    VerdictReason.CALIBRATION_OLD: "the calibration is too old",
    VerdictReason.OUT_OF_SERVICE: "taken out of service",
    VerdictReason.CALIBRATING: "being calibrated",
    VerdictReason.STOP_GAP: "calibrated in one buffer only, which shows but does not dose; calibrate in two",
    VerdictReason.PROBE_WORN: "the probe is worn: its slope is too low to dose by",
}


def value(quantity: Quantity, amount: float | None) -> str:
    """An amount with its unit and a sensible number of digits; a dash where there is none."""
    if amount is None:
        return "–"
    if quantity is Quantity.LEVEL:
        return {0.0: "low", 1.0: "enough"}.get(amount, f"{amount:.0%}")  # a float switch says no more than these
    return f"{amount:.{DECIMALS[quantity.kind]}f}{UNIT[quantity.kind]}"


def option(reservoir: str, among: int) -> str:
    """How a command is told which reservoir; nothing where there is only one. among: how many there are."""
    return f" --reservoir {reservoir}" if among > 1 else ""


def lasting(seconds: float) -> str:
    """`12 s`, `3 min`, `2 h`: whole ones, never more than it is."""
    if seconds < 120.0:
        return f"{int(seconds)} s"
    return f"{int(seconds / 60.0)} min" if seconds < 7200.0 else f"{int(seconds / 3600.0)} h"


def days(count: int) -> str:
    """`1 day`, `14 days`."""
    return "1 day" if count == 1 else f"{count} days"


def ago(seconds: float) -> str:
    """`12 s ago`, `3 min ago`, `2 h ago`."""
    return f"{lasting(seconds)} ago"


def believed(of: Verdict) -> float | None:
    """The value to show as the quantity's: none where the verdict is bad."""
    return of.reading.value if of.reading is not None and of.quality is not Quality.BAD else None


def verdict(of: Verdict) -> str:
    """`pH 6.02, good` or `pH –, bad: being calibrated`."""
    amount = believed(of)
    text = f"{QUANTITY[of.quantity]} {value(of.quantity, amount)}, {of.quality.value}"
    if of.reason is VerdictReason.FINE:
        return text
    return f"{text}: {why(of)}"


def why(of: Verdict) -> str:
    """The reason of a verdict in words, with the driver's own message where there is one."""
    text = _VERDICT[of.reason]
    return f"{text} ({of.note})" if of.note else text


def rewired(changed: Sequence[str], now: str) -> str:
    """What a probe's calibration no longer fits, part by part as `gain=5.0`, and what to do."""
    is_now = dict(part.split("=", 1) for part in now.split())
    was = dict(part.split("=", 1) for part in changed)
    each = ", ".join(f"{key} was {old}, is {is_now.get(key, 'gone')}" for key, old in was.items())
    return (
        f"its wiring in the settings changed since: {each}; a slip: put it back and restart; else calibrate again"
    )


def permit(of: Permit) -> str:
    """What may run, and which cap made it less than asked."""
    text = f"{of.ml:.1f} mL {ROLE[of.request.pump]} over {of.run_s:.1f} s: {_because(of.request)}"
    if of.bound_by is None:
        return text
    return f"{text}; asked {of.request.ml:.1f} mL, less by {CAP[of.bound_by]}"


def refusal(of: Refusal) -> str:
    """Why a dose was not allowed."""
    return f"no {ROLE[of.request.pump]}: {CAP[of.cap]}{_measure(of.cap, of.numbers)}"


def decision(of: Permit | Refusal) -> str:
    """Either of the two, as a sentence."""
    return permit(of) if isinstance(of, Permit) else refusal(of)


def entry(of: Entry) -> str:
    """One line of the ledger."""
    text = f"{of.ml:.1f} mL {ROLE[of.pump]}, {_reason_of(of)}"
    if of.outcome is Outcome.DONE:
        return f"{text} ({of.note})" if of.note and of.reason in BY_A_PERSON else text
    return f"{text} [{OUTCOME[of.outcome]}{': ' + of.note if of.note else ''}]"


def water(of: WaterUse) -> str:
    """How old the water is."""
    return f"in for {of.days:.0f} days, fed {of.fills:.1f} fillings' worth of stock"


@lru_cache(maxsize=256)  # asked for at each pass, another once a day
def rate(of: PumpState) -> str:
    """What a pump is taken to deliver, since when, and what is wrong with that."""
    day = f", measured {of.measured_on}" if of.measured_on else ""
    age = "" if of.age_days is None else f" ({of.age_days} days ago)"
    return f"{of.ml_per_s:.3g} mL/s{day}{age}{RATE[of.standing]}"


def tube(of: PumpState) -> str:
    """How long the tube that is in has run; "" where that is not known."""
    if of.tube_h is None:
        return ""
    lasts = "" if of.tube_lasts_h is None else f" of {of.tube_lasts_h:g}"
    return f"tube run {of.tube_h:.1f}{lasts} h"


def rate_fit(of: RateFit) -> str:
    """What timed runs showed, and why it is kept or not."""
    n = of.numbers
    shown = ""
    if "ml_per_s" in n:
        shown = f"{n['ml_per_s']:.3g} mL/s, the runs differ by {n['spread_share']:.0%}: "
    return shown + RATE_FIT[of.reason].format(**n)


def condition(name: Condition, reason: str = "") -> str:
    """The condition with what it means."""
    text = f"{name.value} ({CONDITION[name]})"
    return f"{text}: {reason}" if reason else text


def unheard(alarm: Alarm) -> str:
    """Why dosing stopped beside an alarm, and what to do."""
    return (
        f"the alarm {alarm.key} has stood for 24 h and nobody acknowledged it: see `evenwater alarms`, then "
        "`evenwater ack` and `evenwater clear`"
    )


def watching(watch: Watch, altered: Sequence[Altered]) -> str:
    """Why the program only watches, with each number of the settings that is far from what it was."""
    if watch is not Watch.SETTINGS:
        return WATCH[watch]
    each = ", ".join(f"{one.key} was {one.was:g}, is {one.now:g}" for one in altered)
    return f"{each}: {WATCH[watch]}"


def finding(of: Finding) -> str:
    """What water and doses did against expectation, with its numbers, and what to look at."""
    pump = "" if of.pump is None else ROLE[of.pump]
    return FINDING[of.surprise].format(pump=pump, **of.numbers)


CHANGING = "the water is being changed"
"""Why a reservoir is held meanwhile."""


def change_out_steps(table: Reservoir) -> Iterator[str]:
    """What a person does to give this reservoir new water, in order."""
    yield "Switch off what stands in the water, mains first: circulation pump, heater. Pause the flood timer."
    yield "Drain the old water (onto a garden bed, not into a stream); keep roots moist. Wipe off slime."
    yield f"Fill in {table.volume_l:g} L of fresh water, near the old one's temperature."
    if {"stock_a", "stock_b"} <= table.pump.keys():
        a_ml = stock_a_of_a_fill_ml(table)
        b_ml = a_ml * table.ec.stock_b_ml_per_a_ml
        yield f"Stock A first: about {0.8 * a_ml:.0f} mL, stirred in for {table.mixing_time_s / 60.0:.0f} min."
        yield f"Then stock B: about {0.8 * b_ml:.0f} mL. They must never meet undiluted. Pumps do the rest."
    else:
        yield f"Mix in nutrient to EC {table.ec.target_ms_per_cm:g} mS/cm, part A before part B, each stirred in."
    yield "Circulation on again; look for drips."
    minutes = 3.0 * table.mixing_time_s / 60.0
    yield f"Wait {minutes:.0f} min, then look (`evenwater status`, or the page); measure pH and EC by hand too."


def leak(of: Fall, volume_l: float) -> str:
    """What the level did, and what plants take at most in that time."""
    return (
        f"the level fell by {of.share * volume_l:.1f} L within {of.over_s / 60.0:.0f} min, plants take at most "
        f"{of.most_share * volume_l:.2f} L: look for a leak, a tube that came off, an open drain"
    )


def drowned(of: Drowned, title: str) -> str:
    """How far a still reservoir was filled up, and how far it may be."""
    return (
        f"The level of {title} rose from {of.lowest:.0%} to {of.share:.0%}: roots that had grown into the air "
        f"are under water. It may stand at {of.most_share:.0%} at most."
    )


def falls_fast(of: Fall, title: str, volume_l: float) -> str:
    """What a still reservoir lost, and what plants take at most."""
    return (
        f"The level of {title} fell by {of.share * volume_l:.1f} L within {of.over_s / 3600.0:.0f} h, plants "
        f"take at most about {of.most_share * volume_l:.1f} L."
    )


def stands(of: Stands, title: str, volume_l: float) -> str:
    """That a still reservoir hardly fell."""
    return (
        f"The level of {title} fell by {max(0.0, of.share) * volume_l:.1f} L within {of.over_s / 86400.0:.0f} "
        f"days; even seedlings drink {of.least_share * volume_l:.1f} L in that time."
    )


MAY_DRIFT = "the pH probe may drift"
MAY_LIE = "the pH probe may lie"
MEASURE = "measure pH with a hand meter or a test strip, then `evenwater clear --measured-ph N`"


def unusual(pump: Role, usual: Usual) -> str:
    """Why dosing stopped: pH comes back further than it usually does, and what to compare."""
    way, known = "rose" if pump is Role.PH_DOWN else "fell", usual.usual_ph
    like = f"is at most {usual.most_ph:.1f}" if known is None else f"are {known:.2f}"
    return (
        f"pH {way} again by {usual.back_ph:.2f} within {usual.hours:.0f} h, usual here {like}: {MAY_DRIFT}, "
        f"or the water is new; {MEASURE}"
    )


def doubts_ph(reason: str) -> bool:
    """Whether a lock with this reason rests on doubt of the pH probe: then only a measurement opens it."""
    return MAY_DRIFT in reason or MAY_LIE in reason


RATE: Mapping[RateStanding, str] = {
    RateStanding.DATED: "",
    RateStanding.UNDATED: ", taken from the settings, which do not say when it was measured",
    RateStanding.OLD: ": due to be measured again",
    RateStanding.EXPIRED: ": too long ago to dose by, or the clock is wrong",
    RateStanding.OTHER_TUBE: ": of the tube that was in before",
    RateStanding.UNLIKE: ", taken from the settings, which are no longer near what was measured at the tank",
}
RATE_FIT: Mapping[RateReason, str] = {
    RateReason.FINE: "fine",
    RateReason.RUN_COUNT: "{runs:.0f} timed runs, needed are {fewest:.0f} to {most:.0f}; run it again",
    RateReason.NOT_A_NUMBER: "an amount is not a number above 0 mL; tell what was read of each run",
    RateReason.SPREAD: "at most 10 %; fill the tube first (evenwater prime), keep its end at one height, empty "
    "the cylinder before each run",
    RateReason.FAR_FROM_GUESS: "less than half or more than twice the {guess_ml_per_s:g} mL/s of the settings; "
    "was it mL that were read, of one run each? Look for air, a kink, a tube of another size; if it is true, "
    "correct ml_per_s in the settings, restart, measure again",
}
FINDING: Mapping[Surprise, str] = {
    Surprise.NO_EFFECT: "{doses:.0f} doses of {pump}, {ml:.1f} mL, should have moved pH by {expected_ph:.2f} and "
    "moved it by {seen_ph:.2f}: bottle empty, air or kink in the tube, pump dead, or pH probe stuck",
    Surprise.UNPROVEN: "pH jumped, then {ml:.1f} mL {pump} moved it by {seen_ph:.2f}, not {expected_ph:.2f}: "
    f"{MAY_LIE} (cracked? plugs exchanged?); {MEASURE}",
    Surprise.WRONG_SIGN: "{ml:.1f} mL {pump} moved pH by {seen_ph:+.2f}, the wrong way: wrong bottle or "
    "crossed tubes; check labels and tubes before anything else",
    Surprise.RUNAWAY: "after {ml:.1f} mL {pump} pH has moved by {moved_ph:+.2f}, far beyond what that can do: "
    "the pump may not have stopped; take its tube out of the water, cut its supply",
    Surprise.STILL: "{ml:.1f} mL {pump} should have moved pH by {expected_ph:.2f}, and the probe's voltage stood "
    "still: stuck probe, wet plug? compare with a hand meter; then look at bottle and tube",
    Surprise.LITTLE_EFFECT: "{ml:.1f} mL {pump} should have moved pH by {expected_ph:.2f} and moved it by "
    "{seen_ph:.3f}: your water is buffered about {times:.1f} times as well as the settings say",
    Surprise.TOO_STRONG: "{ml:.1f} mL {pump} moved pH by {seen_ph:.2f}, usual here is {usual_ph:.2f}",
    Surprise.MOVED_ALONE: "pH moved by {moved_ph:+.2f} within {over_s:.0f} s with no dose, as if {pump} ran by "
    "itself: look for a siphon, worn rollers or a stuck relay; close the bottle",
    Surprise.STEPPED: "pH went from {from_ph:.2f} to {to_ph:.2f} with no dose",
    Surprise.EC_NO_EFFECT: "{doses:.0f} doses of {pump}, {ml:.1f} mL, should have raised EC by "
    "{expected_ms_per_cm:.2f} mS/cm and raised it by {seen_ms_per_cm:.2f}: bottle empty, air in the tube, pump "
    "dead, or EC probe stuck",
    Surprise.EC_RUNAWAY: "after {ml:.1f} mL {pump} EC rose by {seen_ms_per_cm:.2f} mS/cm, far beyond what that "
    "can do: did the pump not stop? Take its tube out of the water, cut its supply",
    Surprise.EC_MOVED_ALONE: "EC rose by {moved_ms_per_cm:.2f} mS/cm within {over_s:.0f} s with no dose, as if a "
    "stock ran in by itself: look for a siphon, worn rollers or a stuck relay; close the bottles",
    Surprise.REVERSALS: "acid and base in turns, {reversals:.0f} times within {hours:.0f} h: pH probe, target, "
    "mL per pH or another hand at the tank",
}
WATCH: Mapping[Watch, str] = {
    Watch.BAD_ENDS: "the program ended abnormally three times within 10 minutes: it only watches; look at its "
    "log, power and card, then: evenwater clear",
    Watch.UPDATED: "the program is a new version: it only watches for its first hour, or until: evenwater clear",
    Watch.SETTINGS: "far from what it was at the last run, so it only watches; a slip: correct the settings and "
    "restart; if it is meant: evenwater clear",
    Watch.FILE: "the record of restarts cannot be read or written: it only watches; look at the card and its "
    "free space, then: evenwater clear",
}
CAP: Mapping[Cap, str] = {
    Cap.CONDITION: "the reservoir is not keeping itself",
    Cap.VERDICT: "the reading cannot be trusted",
    Cap.RATE: "what this pump delivers in a second has to be measured anew (evenwater calibrate pump)",
    Cap.REQUEST: "the amount asked for is not a number above zero",
    Cap.NOT_SET: "a cap of this pump is not set, which counts as zero",
    Cap.LEDGER: "the ledger cannot be written",
    Cap.PER_DOSE: "the cap per dose",
    Cap.PER_HOUR: "the cap per rolling hour",
    Cap.PER_DAY: "the cap per rolling 24 h",
    Cap.GAP: "too soon after this pump's last dose",
    Cap.MIXING: "the last dose is still mixing",
    Cap.OPPOSITE: "acid and base are kept hours apart",
    Cap.BOTTLE: "the bottle is nearly empty",
    Cap.LEVEL: "the level is low or unknown",
    Cap.CIRCULATION: "the water is not known to be stirred",
    Cap.REFILL: "water was added and is still mixing",
    Cap.HANDS_OFF: "pH moved by itself, somebody may be at work",
    Cap.SHARE: "the largest share of the reservoir's volume",
    Cap.RUN_TIME: "the longest run of a pump",
    Cap.USUAL: "pH comes back further than it usually does",
    Cap.TOO_SMALL: "less than the pump delivers truly",
}
OUTCOME: Mapping[Outcome, str] = {
    Outcome.OPEN: "no outcome known, counted in full",
    Outcome.DONE: "done",
    Outcome.CUT_SHORT: "cut short, counted in full",
    Outcome.FAILED: "did not run, counted in full",
}
RESTING = "the last doses showed next to nothing: looking a quarter of an hour longer whether they did anything"

CONDITION: Mapping[Condition, str] = {
    Condition.KEEPING: "corrects by itself",
    Condition.WATCHING: "measures only",
    Condition.HELD: "dosing paused by a person",
    Condition.LOCKED: "a safety stop; clear it at the tank",
}


def _because(of: DoseRequest) -> str:
    n = of.numbers
    if of.reason in (DoseReason.PH_HIGH, DoseReason.PH_LOW):
        return f"pH {_n(n, 'ph', 2)}, aim {_n(n, 'target', 2)}{_learned(of)}"
    if of.reason in (DoseReason.EC_LOW, DoseReason.EC_HIGH):
        half = f", owed to its stock A: {_n(n, 'owed_ml', 1)} mL" if "owed_ml" in n else ""
        return f"EC {_n(n, 'ec', 2)}, aim {_n(n, 'target', 2)} mS/cm{half}"
    if of.reason is DoseReason.LEVEL_LOW:
        return f"level {n.get('level_share', 0.0):.0%}, filled to {n.get('fill_to_share', 0.0):.0%}"
    if of.reason is DoseReason.MEASURE:
        more = " (more than the rate of then said)" if "measured_ml" in n else ""
        return f"into a cylinder, to measure the pump{more}"
    if of.reason is DoseReason.BY_HAND:
        return "poured by hand"
    return of.reason.value.replace("_", " ")


def _learned(of: DoseRequest) -> str:
    """What the controller reckoned with: the drift, and where this amount should bring pH."""
    n = of.numbers
    if not {"ph", "drift_ph_per_day", "ml_per_ph"} <= n.keys():
        return ""
    after_ph = n["ph"] + shift_of_dose(of.pump, of.ml, n["ml_per_ph"], n.get("level_share", 1.0))
    return (
        f"; drifting {n['drift_ph_per_day']:+.2f}/day; {of.ml:.1f} mL should move {n['ph']:.2f} to {after_ph:.2f}"
    )


def _reason_of(of: Entry) -> str:
    return _because(DoseRequest(of.reservoir, of.pump, of.ml, of.reason, of.numbers))


def _measure(cap: Cap, numbers: Numbers) -> str:
    shown = ", ".join(f"{key.replace('_', ' ')} {amount:g}" for key, amount in numbers.items())
    return f" ({shown})" if shown and cap not in (Cap.CONDITION, Cap.VERDICT) else ""


def _n(numbers: Numbers, key: str, decimals: int) -> str:
    amount = numbers.get(key)
    return "?" if amount is None else f"{amount:.{decimals}f}"
