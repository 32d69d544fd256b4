"""What to ask for so that strength (EC) stays where it should: A and B as a pair, or water. Pure.

    too weak:    A  . . mixing . .  B, as much as its A    the two never meet undiluted
    too strong:  water, as far as there is room for it

Half a pair is owed until it is given: what the ledger says of A and B decides, so a restart, a refused or a
shortened dose in between leaves neither half out. daemon.dose.permit has the last word.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import inf

from config.settings import USUAL_STOCK_ML_PER_L, Reservoir
from daemon.dose.mixing import mixing_after
from daemon.dose.newest import Newest, gather, middle
from daemon.dose.permit import ML_PER_L, level_factor
from daemon.values import DoseReason, DoseRequest, Entry, Quantity, Role, Verdict

OWED_LEAST_ML = 0.05  # what is left of a sum of rounded doses is no debt
LEAST_WATER_SHARE = 0.001  # of the reservoir: less is not worth a run of the pump


@dataclass(frozen=True, slots=True)
class EcAim:
    """Where strength should be, in mS/cm at 25 °C, and how to get it there.

    target ± dead_band: left alone. a_ml_per_ms_per_cm: mL of stock A, with its B, that raise the full reservoir
    by 1 mS/cm. b_per_a: mL of B that belong to 1 mL of A. share_of_need: part of the need asked for at a time.
    full_l: the full reservoir; fill_to: share of it to which water may be added to dilute.
    """

    target: float
    dead_band: float
    a_ml_per_ms_per_cm: float
    b_per_a: float
    share_of_need: float
    mixing_time_s: float
    full_l: float
    fill_to: float
    has_stocks: bool
    has_water: bool


@dataclass(frozen=True, slots=True)
class Strength:
    """What one look says of strength.

    rest_share: level at rest (daemon.dose.water), None where it is not known; level_share: measured now, as
    permit sees it; owed_b_ml: see `owed_ml`.
    """

    ec: Verdict
    now_s: float
    last_dose_s: float | None
    rest_share: float | None = None
    level_share: float | None = None
    owed_b_ml: float = 0.0


def ec_aim_of(reservoir: Reservoir) -> EcAim:
    """The aim that the settings give."""
    ec = reservoir.ec
    return EcAim(
        target=ec.target_ms_per_cm,
        dead_band=ec.dead_band_ms_per_cm,
        a_ml_per_ms_per_cm=_a_ml_per_ms_per_cm(reservoir),
        b_per_a=ec.stock_b_ml_per_a_ml,
        share_of_need=ec.share_of_need,
        mixing_time_s=reservoir.mixing_time_s,
        full_l=reservoir.volume_l,
        fill_to=reservoir.water.fill_to_share,
        has_stocks={"stock_a", "stock_b"} <= reservoir.pump.keys(),
        has_water="top_up" in reservoir.pump and reservoir.water.dilute,
    )


def _a_ml_per_ms_per_cm(reservoir: Reservoir) -> float:
    set_ml = reservoir.ec.stock_a_ml_per_ms_per_cm
    return USUAL_STOCK_ML_PER_L * reservoir.volume_l if set_ml is None else set_ml


def stock_a_of_a_fill_ml(reservoir: Reservoir) -> float:
    """About the mL of stock A, with its B, that bring a reservoir full of plain water to its target."""
    return _a_ml_per_ms_per_cm(reservoir) * reservoir.ec.target_ms_per_cm


def owed_ml(entries: Iterable[Entry], b_per_a: float) -> float:
    """mL of B that are owed to the A already given; below zero where B is ahead.

    entries: the newest doses of one reservoir, newest first. A B that the list begins with belongs to an A
    that is no longer in it.
    """
    owed = 0.0
    for entry in reversed([e for e in entries if e.reason is DoseReason.EC_LOW]):
        if entry.pump is Role.STOCK_A:
            owed += entry.ml * b_per_a
        elif entry.pump is Role.STOCK_B and owed > 0.0:
            owed -= entry.ml
    return owed


def ask_strength(reservoir: str, aim: EcAim, look: Strength, newest: Newest) -> tuple[DoseRequest | None, Newest]:
    """What to dose now for strength, if anything, and the readings for the next pass.

    Nothing until READINGS since the last dose into this reservoir shows (monotonic `look.last_dose_s`), the
    newest from when it has mixed: at the very pass at which pH has them too. Nothing while their median is within
    the dead band.
    """
    shows_s, mixed_s = mixing_after(look.last_dose_s, aim.mixing_time_s)
    if not (look.ec.quantity is Quantity.EC and look.now_s >= shows_s):
        return None, ()
    newest = gather(newest, look.ec, shows_s)
    ec = middle(newest, mixed_s)
    if ec is None:
        return None, newest
    request = _ask(reservoir, aim, look, ec)
    return (request if request is not None and 0.0 < request.ml < inf else None), newest


def _ask(reservoir: str, aim: EcAim, look: Strength, ec: float) -> DoseRequest | None:
    numbers = {"ec": ec, "target": aim.target, "dead_band": aim.dead_band}
    if aim.has_stocks and look.owed_b_ml > OWED_LEAST_ML:
        return _rest_of_pair(reservoir, look, numbers)
    if aim.has_stocks and ec < aim.target - aim.dead_band:
        return _feed(reservoir, aim, look, ec, numbers)
    if aim.has_water and ec > aim.target + aim.dead_band:
        return _dilute(reservoir, aim, look, ec, numbers)
    return None


def _rest_of_pair(reservoir: str, look: Strength, numbers: dict[str, float]) -> DoseRequest | None:
    """The B that is owed. Its A was made less for the water that was missing; permit must not do so again."""
    factor = level_factor(look.level_share)
    if not factor > 0.0:
        return None
    more = {"owed_ml": look.owed_b_ml}
    return DoseRequest(reservoir, Role.STOCK_B, look.owed_b_ml / factor, DoseReason.EC_LOW, numbers | more)


def _feed(reservoir: str, aim: EcAim, look: Strength, ec: float, numbers: dict[str, float]) -> DoseRequest:
    """As much stock A as the water that is there needs; permit takes off for the level."""
    need_ml = aim.a_ml_per_ms_per_cm * (aim.target - ec)
    ml = need_ml * aim.share_of_need + min(0.0, look.owed_b_ml) / aim.b_per_a
    more = {"need_ml": need_ml, "share_of_need": aim.share_of_need}
    return DoseRequest(reservoir, Role.STOCK_A, ml, DoseReason.EC_LOW, numbers | more)


def _dilute(
    reservoir: str, aim: EcAim, look: Strength, ec: float, numbers: dict[str, float]
) -> DoseRequest | None:
    """Water to bring strength down, as far as the reservoir has room; None where it has not, or is unknown."""
    share = look.rest_share
    if share is None or not aim.fill_to - share >= LEAST_WATER_SHARE:
        return None
    need_ml = aim.full_l * share * (ec / aim.target - 1.0) * ML_PER_L
    room_ml = aim.full_l * (aim.fill_to - share) * ML_PER_L
    ml = min(need_ml * aim.share_of_need, room_ml)
    more = {"need_ml": need_ml, "room_ml": room_ml, "rest_share": share}
    return DoseRequest(reservoir, Role.TOP_UP, ml, DoseReason.EC_HIGH, numbers | more)
