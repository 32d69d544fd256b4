"""The one function that decides whether a dose may run, and how much of it.

Every cap is checked here, in this order; the first that says no names itself:

    REQUEST    a finite amount above zero was asked
    NOT_SET    all three amount caps are set (a cap left out is zero)
    CONDITION  the reservoir is `keeping` (into a cup, by a person at the tank: `held` or `watching`)
    LEDGER     the ledger can be relied on
    VERDICT    the reading behind the dose is usable (what goes into a cup rests on none)
    RATE       what the pump delivers in a second is known well enough (into a cup: whatever it is)
    LEVEL      there is water enough; where a level probe exists, not knowing counts as low
    CIRCULATION  where a contact should prove that the water is stirred, it does
    GAP        minimum time since this pump's last run
    MIXING     three mixing times since any dose into this reservoir (so stock A and B never meet undiluted)
    OPPOSITE   acid and base keep the set hours apart
    REFILL     three mixing times since water was added
    HANDS_OFF  three mixing times since pH moved with no dose
    of the waits from GAP on a timed run into a cylinder keeps only OPPOSITE (see _too_soon);
    USUAL      acid and base: pH came back no further than it usually does (daemon.dose.usual)
    then the amounts PER_DOSE, PER_HOUR, PER_DAY, SHARE, BOTTLE, RUN_TIME: the smallest binds;
    and where the level is measured, LEVEL takes off what the missing water would have taken up; water
    itself is bound by the room that is left, and by none where no probe measures a share

What is left below the pump's smallest true dose is refused in the name of the cap that made it small.
Each comparison is written so that NaN says no. Nothing here can be raised by a setting above the
HARD_ limits of config.pump.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

from config.pump import HARD_MAX_RUN_S, HARD_MIN_GAP_S, MIXING_TIMES, REAGENT_LIMITS, HardLimits, hard_limits
from config.settings import Reservoir
from daemon.dose.usual import Usual
from daemon.dose.windows import HOUR_S, Totals
from daemon.values import (
    INTO_A_CUP,
    Cap,
    CapUse,
    Condition,
    DoseReason,
    DoseRequest,
    Numbers,
    Permit,
    Refusal,
    Role,
    Verdict,
)

BOTTLE_STOP_SHARE = 0.05  # below this a pump may draw air
LEVEL_HALF_SHARE, LEVEL_STOP_SHARE = 0.5, 0.3  # of the nominal volume
ML_PER_L = 1000.0


@dataclass(frozen=True, slots=True)
class PumpLimits:
    """What the settings allow one pump. None is a cap left out, and counts as zero."""

    ml_per_s: float
    bottle_ml: float
    max_per_dose_ml: float | None
    max_per_hour_ml: float | None
    max_per_day_ml: float | None
    min_gap_s: float
    smallest_dose_ml: float
    opposite_gap_s: float
    hard: HardLimits = REAGENT_LIMITS


@dataclass(frozen=True, slots=True)
class Facts:
    """What is known of the reservoir at the moment of asking.

    verdict: on the quantity the dose is to move; spent: the ledger's totals for the pump asked.
    volume_l: measured, or nominal where no probe measures it.
    level_enough: None where unknown, which counts as low if has_level_probe.
    level_share: measured share of the nominal volume, None where no probe measures one.
    circulation_on: whether the water is known to be stirred; asked only if has_circulation.
    rate_usable: whether the pump's mL per second may be dosed by.
    since_refill_s, since_moved_s: seconds since water was added, since pH moved by itself; None: never.
    usual: how far pH came back against this pump, and the most that is believed; None: nothing can be told.
    """

    condition: Condition
    verdict: Verdict | None
    spent: Totals
    volume_l: float
    mixing_time_s: float
    level_enough: bool | None
    has_level_probe: bool
    level_share: float | None = None
    circulation_on: bool = False
    has_circulation: bool = False
    rate_usable: bool = True
    since_refill_s: float | None = None
    since_moved_s: float | None = None
    usual: Usual | None = None


def limits_of(role: Role, reservoir: Reservoir) -> PumpLimits:
    """The limits that the settings give the pump of this role. Raises KeyError where there is none."""
    pump = reservoir.pump[role.value]
    return PumpLimits(
        ml_per_s=pump.ml_per_s,
        bottle_ml=pump.bottle_ml,
        max_per_dose_ml=pump.max_per_dose_ml,
        max_per_hour_ml=pump.max_per_hour_ml,
        max_per_day_ml=pump.max_per_day_ml,
        min_gap_s=pump.min_gap_s,
        smallest_dose_ml=pump.smallest_dose_ml,
        opposite_gap_s=reservoir.opposite_gap_h * HOUR_S,
        hard=hard_limits(role.value),
    )


def permit(request: DoseRequest, limits: PumpLimits, facts: Facts) -> Permit | Refusal:
    """What of `request` may run now: a Permit of at most what was asked, or the Refusal that says why not."""
    refusal = _not_now(request, limits, facts) or _unusual(request, facts)
    return refusal if refusal is not None else _how_much(request, limits, facts)


def cap_use(limits: PumpLimits, spent: Totals, volume_l: float) -> CapUse:
    """What the caps of one pump have left, in so much water. An unreliable ledger shows them as spent."""
    hour_ml = _bounded(limits.max_per_hour_ml, limits.hard.per_day_ml)
    day_ml = _day_cap(limits, volume_l)
    return CapUse(
        last_hour_ml=spent.hour_ml if spent.ok else hour_ml,
        max_per_hour_ml=hour_ml,
        last_day_ml=spent.day_ml if spent.ok else day_ml,
        max_per_day_ml=day_ml,
        bottle_left_ml=_room(limits.bottle_ml, spent.since_refill_ml),
    )


def _not_now(request: DoseRequest, limits: PumpLimits, facts: Facts) -> Refusal | None:
    """The first check, in the order of the module's table, that the moment fails."""
    missing = [name for name, cap_ml in _configured(limits) if cap_ml is None]
    checks: tuple[tuple[Cap, bool, Numbers], ...] = (
        (Cap.REQUEST, 0.0 < request.ml < inf, {"asked_ml": request.ml}),
        (Cap.NOT_SET, not missing, dict.fromkeys(missing, 0.0)),
        (Cap.CONDITION, _condition_allows(request, facts), {}),
        (Cap.LEDGER, facts.spent.ok is True, {}),
        (Cap.VERDICT, _verdict_allows(request, facts.verdict), {}),
        (Cap.RATE, facts.rate_usable is True or request.reason in INTO_A_CUP, {}),
        (Cap.LEVEL, _level_allows(facts), {}),
        (Cap.CIRCULATION, facts.circulation_on is True or not facts.has_circulation, {}),
    )
    for cap, passed, numbers in checks:
        if not passed:
            return Refusal(request, cap, numbers)
    return _too_soon(request, limits, facts)


def _configured(limits: PumpLimits) -> tuple[tuple[str, float | None], ...]:
    return (
        ("max_per_dose_ml", limits.max_per_dose_ml),
        ("max_per_hour_ml", limits.max_per_hour_ml),
        ("max_per_day_ml", limits.max_per_day_ml),
    )


def _condition_allows(request: DoseRequest, facts: Facts) -> bool:
    if request.reason in INTO_A_CUP:
        return facts.condition in (Condition.WATCHING, Condition.HELD)
    return facts.condition is Condition.KEEPING


def _verdict_allows(request: DoseRequest, verdict: Verdict | None) -> bool:
    if request.reason in INTO_A_CUP:
        return True
    if verdict is None or verdict.reading is None or not verdict.usable:
        return False
    return -inf < verdict.reading.value < inf


def _level_allows(facts: Facts) -> bool:
    if facts.level_enough is None:
        return not facts.has_level_probe
    return facts.level_enough is True and level_factor(facts.level_share) > 0.0


def level_factor(share: float | None) -> float:
    """What is left of a dose at this share of the nominal volume: as much per litre, below half only half of it.

    1 where no probe measures a share; 0 below LEVEL_STOP_SHARE, or where the share is no number.
    """
    if share is None:
        return 1.0
    if not share >= LEVEL_STOP_SHARE:
        return 0.0
    return min(share, 1.0) if share >= LEVEL_HALF_SHARE else share / 2.0


def _too_soon(request: DoseRequest, limits: PumpLimits, facts: Facts) -> Refusal | None:
    """The first wait that is not over.

    All but one are about doses that mix in the reservoir. A timed run goes into a cylinder that a person holds,
    and a few of them, one after the other, make one measurement: it does not wait for mixing. Were the tube in
    the water after all, the amounts per dose, hour, day and share still bind, and every later dose waits as long
    as after any other. Acid and base keep their hours all the same: they would meet in the same cylinder.
    """
    spent = facts.spent
    # max() keeps its first argument when that is NaN, and NaN then refuses below.
    waits = (
        (Cap.GAP, spent.since_pump_s, max(limits.min_gap_s, HARD_MIN_GAP_S)),
        (Cap.MIXING, spent.since_any_s, MIXING_TIMES * facts.mixing_time_s),
        (Cap.OPPOSITE, spent.since_opposite_s, limits.opposite_gap_s),
        (Cap.REFILL, facts.since_refill_s, MIXING_TIMES * facts.mixing_time_s),
        (Cap.HANDS_OFF, facts.since_moved_s, MIXING_TIMES * facts.mixing_time_s),
    )
    for cap, since_s, wait_s in waits:
        if request.reason is DoseReason.MEASURE and cap is not Cap.OPPOSITE:
            continue
        if not wait_s >= 0.0:
            return Refusal(request, cap, {"wait_s": wait_s})
        if since_s is not None and not since_s >= wait_s:
            return Refusal(request, cap, {"since_s": since_s, "wait_s": wait_s})
    return None


def _unusual(request: DoseRequest, facts: Facts) -> Refusal | None:
    """Asked last of all that says no: by then the newest dose has mixed, and its effect is in the reading."""
    usual = facts.usual
    if usual is None or usual.back_ph <= usual.most_ph:
        return None
    return Refusal(request, Cap.USUAL, {"back_ph": usual.back_ph, "most_ph": usual.most_ph, "hours": usual.hours})


def _how_much(request: DoseRequest, limits: PumpLimits, facts: Facts) -> Permit | Refusal:
    """The smallest room that any amount cap leaves, if the pump can deliver that little truly."""
    rooms = _rooms(limits, facts)
    if request.pump is Role.TOP_UP:
        rooms = (*rooms, (Cap.LEVEL, _empty_ml(facts)))
    cap, room_ml = min(rooms, key=lambda room: room[1])
    factor = 1.0 if request.pump is Role.TOP_UP else level_factor(facts.level_share)
    ml = min(request.ml, room_ml) * factor
    numbers: Numbers = {
        "asked_ml": request.ml,
        "smallest_dose_ml": limits.smallest_dose_ml,
        **{f"{name}_room_ml": left_ml for name, left_ml in rooms},
    }
    if facts.level_share is not None:
        numbers = {**numbers, "level_share": facts.level_share}
    bound_by = Cap.LEVEL if factor < 1.0 else cap if room_ml < request.ml else None
    if not (ml > 0.0 and ml >= limits.smallest_dose_ml):
        return Refusal(request, bound_by or Cap.TOO_SMALL, numbers)
    run_s = min(ml / limits.ml_per_s, HARD_MAX_RUN_S)
    return Permit(request, ml, run_s, bound_by, numbers)


def _rooms(limits: PumpLimits, facts: Facts) -> tuple[tuple[Cap, float], ...]:
    """mL that each amount cap leaves; 0 for whatever is spent, missing or not a sound number."""
    hard = limits.hard
    spent, volume_ml = facts.spent, facts.volume_l * ML_PER_L
    hour_cap_ml = _bounded(limits.max_per_hour_ml, hard.per_day_ml)
    day_cap_ml = _bounded(limits.max_per_day_ml, hard.per_day_ml)
    share_ml = min(
        _room(volume_ml * hard.share_per_dose, 0.0),
        _room(volume_ml * hard.share_per_day, spent.day_ml),
    )
    return (
        (Cap.PER_DOSE, _bounded(limits.max_per_dose_ml, hard.per_day_ml)),
        (Cap.PER_HOUR, _room(hour_cap_ml, spent.hour_ml)),
        (Cap.PER_DAY, _room(day_cap_ml, spent.day_ml)),
        (Cap.SHARE, share_ml),
        (Cap.BOTTLE, _room(limits.bottle_ml * (1.0 - BOTTLE_STOP_SHARE), spent.since_refill_ml)),
        (Cap.RUN_TIME, _room(limits.ml_per_s * HARD_MAX_RUN_S, 0.0)),
    )


def _empty_ml(facts: Facts) -> float:
    """mL of water that the reservoir has room for; 0 where that is not measured."""
    share = facts.level_share
    if share is None or not 0.0 < share < 1.0:
        return 0.0
    return facts.volume_l * ML_PER_L * (1.0 / share - 1.0)


def _day_cap(limits: PumpLimits, volume_l: float) -> float:
    share_ml = _room(volume_l * ML_PER_L * limits.hard.share_per_day, 0.0)
    return min(_bounded(limits.max_per_day_ml, limits.hard.per_day_ml), share_ml)


def _bounded(cap_ml: float | None, hard_ml: float) -> float:
    """The configured cap, never above the hard one; 0 for None, NaN or less than nothing."""
    if cap_ml is None or not cap_ml >= 0.0:
        return 0.0
    return min(cap_ml, hard_ml)


def _room(cap_ml: float, spent_ml: float) -> float:
    """What `spent_ml` leaves of `cap_ml`; 0 unless both are sound and something is left."""
    if not (0.0 < cap_ml < inf and 0.0 <= spent_ml < cap_ml):
        return 0.0
    return cap_ml - spent_ml
