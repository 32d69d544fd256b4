"""How much to ask for, from where pH stands, where it drifts, and what this tank answers to a dose. Pure.

    usable readings -> a line through them -> outside the dead band? -> mL for this tank -> DoseRequest
                                                    a dose, mixed in -> what it did      -> a lesson

A dose does not aim at the target but a little past it, by half of what the drift takes back until the next one:
so pH swings evenly about the target. Asking is not dosing: daemon.dose.permit has the last word.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import inf, isfinite, sqrt
from types import MappingProxyType
from typing import NamedTuple

from config.pump import HARD_MAX_SHARE_PER_DOSE
from config.settings import USUAL_ML_PER_PH_AND_L, Reservoir
from daemon.dose.learn import (
    CONFIRMED,
    DIRECTION,
    Answer,
    Lesson,
    buffering_mmol_per_l,
    diluted,
    doubtful,
    learned,
    prior,
    share_of_need,
    shift_of_dose,
    weaker,
)
from daemon.dose.mixing import mixing_after
from daemon.dose.newest import READINGS, Newest, gather, middle
from daemon.dose.permit import ML_PER_L
from daemon.dose.trend import Trend, follow, level_at, unsure
from daemon.dose.windows import DAY_S, HOUR_S
from daemon.values import DoseReason, DoseRequest, Quantity, Role, Verdict

AHEAD_H = 4.0  # how far the drift is trusted, and the longest that pH is to swing about the target
NOISE_SDS = 3.0  # the dead band is never narrower than this many standard deviations of the line
TURN_PH, TURN_H = 0.1, 4.0  # base follows acid, or acid base, where pH would still be so far off in so many hours
REBOUND_PER_H = 0.3  # of a dose's shift an hour: by so much CO2 that leaves may change the drift
LATEST_S = 1800.0  # a look this long after mixing says more of the hours between than of the dose


@dataclass(frozen=True, slots=True)
class PhAim:
    """Where pH should be and how to get it there.

    target ± dead_band: left alone. ph_low, ph_high: the crop's band. ml_per_ph: mL of each pump that move this
    water by 1 pH, as the settings have it. share_of_need: part of the need asked for at a time, until the tank is
    known. smallest_ml: what the pumps deliver truly; a role not in it has no pump. largest_ml: never more.
    """

    target: float
    dead_band: float
    ph_low: float
    ph_high: float
    ml_per_ph: Mapping[Role, float]
    share_of_need: float
    mixing_time_s: float
    largest_ml: float
    smallest_ml: Mapping[Role, float]

    @property
    def has_down(self) -> bool:
        """Whether there is a pump for acid."""
        return Role.PH_DOWN in self.smallest_ml

    @property
    def has_up(self) -> bool:
        """Whether there is a pump for base."""
        return Role.PH_UP in self.smallest_ml


class _Pending(NamedTuple):
    """A dose that is mixing. shift_ph: expected, with its sign; before: pH and its variance at end_s."""

    pump: Role
    shift_ph: float
    before_ph: float
    before_var: float
    end_s: float


class ControlState(NamedTuple):
    """What the controller of one reservoir remembers from pass to pass.

    newest: readings that belong together, with the line through them; answers: what was learned of each pump;
    learned_s: when, monotonic; last: the pump of the newest dose; shown: what the newest lesson saw, as a share
    of what the settings expect.
    """

    newest: Newest = ()
    trend: Trend = Trend()
    answers: Mapping[Role, Answer] = MappingProxyType({})
    learned_s: float = -inf
    pending: _Pending | None = None
    last: Role | None = None
    shown: float | None = None


def aim_of(reservoir: Reservoir) -> PhAim:
    """The aim that the settings give."""
    ph, pumps = reservoir.ph, reservoir.pump
    return PhAim(
        target=ph.target,
        dead_band=ph.dead_band,
        ph_low=reservoir.bands.ph_low,
        ph_high=reservoir.bands.ph_high,
        ml_per_ph={role: prior_ml_per_ph(reservoir, role) for role in DIRECTION},
        share_of_need=ph.share_of_need,
        mixing_time_s=reservoir.mixing_time_s,
        largest_ml=reservoir.volume_l * ML_PER_L * HARD_MAX_SHARE_PER_DOSE,
        smallest_ml={role: pumps[role.value].smallest_dose_ml for role in DIRECTION if role.value in pumps},
    )


def prior_ml_per_ph(reservoir: Reservoir, pump: Role) -> float:
    """mL of this pump that move the reservoir by 1 pH, before it has shown anything.

    As the settings have it; else from alkalinity and the strength of the bottle; else by volume alone.
    """
    table = reservoir.pump.get(pump.value)
    strength, alkalinity = None if table is None else table.reagent_mol_per_l, reservoir.alkalinity_mmol_per_l
    if reservoir.ph.ml_per_ph is not None:
        return reservoir.ph.ml_per_ph
    if strength is None or alkalinity is None:
        return USUAL_ML_PER_PH_AND_L * reservoir.volume_l
    return buffering_mmol_per_l(alkalinity) * reservoir.volume_l / strength


def answer_of(aim: PhAim, state: ControlState, pump: Role) -> Answer:
    """What is known of this pump's effect: learned, or as the settings have it."""
    return state.answers.get(pump) or prior(aim.ml_per_ph[pump])


def ask_ph(  # noqa: PLR0917 - six facts of one moment
    reservoir: str, ph: Verdict, aim: PhAim, state: ControlState, now_s: float, last_dose_s: float | None
) -> tuple[DoseRequest | None, ControlState]:
    """What to dose now for pH, if anything, and the state for the next pass.

    Nothing unless the verdict is usable; nothing until READINGS since the last dose into this reservoir shows
    (`last_dose_s`: monotonic, as now_s; None if there never was one), the newest from when it has mixed; nothing
    while pH is within the dead band.
    """
    shows_s, mixed_s = mixing_after(last_dose_s, aim.mixing_time_s)
    if not (ph.quantity is Quantity.PH and now_s >= shows_s):
        return None, _afresh(state)
    newest = gather(state.newest, ph, shows_s)
    if not newest:
        return None, _afresh(state)
    if newest == state.newest:
        return None, state
    trend = unsure(state.trend) if len(newest) == 1 else state.trend
    state = state._replace(newest=newest, trend=follow(trend, *newest[-1]))
    median_ph = middle(newest, mixed_s)
    if median_ph is None or state.trend.readings < READINGS:
        return None, state
    state = _taught(aim, state, mixed_s)
    return _ask(reservoir, aim, state, median_ph), state


def given(state: ControlState, pump: Role, shift_ph: float, end_s: float) -> ControlState:
    """The state after a dose of acid or base that ended at `end_s` and should move pH by `shift_ph`."""
    before_ph, before_var = level_at(state.trend, end_s)
    known = state.trend.readings >= READINGS and isfinite(shift_ph)
    pending = _Pending(pump, shift_ph, before_ph, before_var, end_s) if known else None
    trend = unsure(state.trend, REBOUND_PER_H * abs(shift_ph) if known else inf)
    return state._replace(newest=(), trend=trend, pending=pending, last=pump)


def expected_shift_ph(aim: PhAim, state: ControlState, pump: Role, ml: float, share_of_water: float) -> float:
    """What `ml` should do to pH, below zero for acid, in this share of the full reservoir."""
    return shift_of_dose(pump, ml, answer_of(aim, state, pump).ml_per_ph, share_of_water)


def taught_little(aim: PhAim, state: ControlState, pump: Role, ml_per_ph: float) -> ControlState:
    """The state after a rest showed what a dose in doubt did. ml_per_ph: of the full reservoir."""
    answer = weaker(answer_of(aim, state, pump), ml_per_ph)
    return state._replace(answers=MappingProxyType({**state.answers, pump: answer}))


def disturbed(state: ControlState) -> ControlState:
    """The state when something else moved pH: the dose that was mixing teaches nothing."""
    return _afresh(state)._replace(pending=None)


def watered(aim: PhAim, state: ControlState, share: float) -> ControlState:
    """The state after fresh water came in, as a share of the full reservoir: less sure, from a third on anew."""
    answers = {role: diluted(answer_of(aim, state, role), share) for role in aim.smallest_ml}
    return disturbed(state)._replace(answers=MappingProxyType(answers))


def _afresh(state: ControlState) -> ControlState:
    """The state when the level must be found anew; already so, it is the same."""
    if not state.newest and not state.trend.readings:
        return state
    return state._replace(newest=(), trend=unsure(state.trend))


# what a dose taught


def _taught(aim: PhAim, state: ControlState, mixed_s: float) -> ControlState:
    """The state after the newest dose is judged, once its mixing is over and the level is known again."""
    pending, trend = state.pending, state.trend
    if pending is None:
        return state
    state = state._replace(pending=None)
    if not trend.at_s <= mixed_s + LATEST_S:
        return state
    before, lesson = answer_of(aim, state, pending.pump), _lesson(pending, trend, state.learned_s)
    answers = MappingProxyType({**state.answers, pending.pump: learned(before, lesson)})
    shown = None
    if lesson.expected_ph > 0.0:  # by the prior, whatever was learned since: that follows a fading probe
        shown = lesson.seen_ph / lesson.expected_ph * before.prior_ml_per_ph / before.ml_per_ph
    return state._replace(answers=answers, learned_s=trend.at_s, shown=shown)


def _lesson(pending: _Pending, trend: Trend, learned_s: float) -> Lesson:
    hours = (trend.at_s - pending.end_s) / HOUR_S
    moved_ph = trend.ph - pending.before_ph - trend.drift * hours
    seen_ph = moved_ph if pending.shift_ph > 0.0 else -moved_ph
    sd = sqrt(pending.before_var + trend.ph_var + (trend.drift_sd * hours) ** 2)
    after_s = trend.at_s - learned_s if isfinite(learned_s) else 0.0
    return Lesson(abs(pending.shift_ph), seen_ph, sd, pending.before_ph, after_s)


# what to ask


def _ask(reservoir: str, aim: PhAim, state: ControlState, median_ph: float) -> DoseRequest | None:
    """The request that follows from where pH stands, by the line and by the median of the newest readings."""
    for pump, reason in ((Role.PH_DOWN, DoseReason.PH_HIGH), (Role.PH_UP, DoseReason.PH_LOW)):
        if pump in aim.smallest_ml and _is_called_for(aim, state, pump, median_ph):
            return _request(reservoir, aim, state, pump, reason)
    return None


def dead_band_ph(aim: PhAim, state: ControlState, pump: Role) -> float:
    """The distance from the target within which nothing is asked of this pump.

    Never narrower than noise, nor than half of what its smallest true dose moves.
    """
    smallest_ph = aim.smallest_ml.get(pump, 0.0) / answer_of(aim, state, pump).ml_per_ph
    return max(aim.dead_band, NOISE_SDS * state.trend.ph_sd, smallest_ph / 2.0)


def _is_called_for(aim: PhAim, state: ControlState, pump: Role, median_ph: float) -> bool:
    """Whether pH is off on this pump's side. Turning round takes more, as acid and base must not fight."""
    side = -DIRECTION[pump]
    off_ph = min(side * (state.trend.ph - aim.target), side * (median_ph - aim.target))
    if not off_ph > dead_band_ph(aim, state, pump):
        return False
    usual = Role.PH_DOWN if state.last is None else state.last
    left_the_band = not aim.ph_low <= state.trend.ph <= aim.ph_high
    later_ph = off_ph + (side * state.trend.drift - state.trend.drift_sd) * TURN_H
    return pump is usual or left_the_band or min(off_ph, later_ph) > TURN_PH


def _request(
    reservoir: str, aim: PhAim, state: ControlState, pump: Role, reason: DoseReason
) -> DoseRequest | None:
    """As many mL as bring pH to where it swings evenly about the target, of which a share."""
    trend, answer = state.trend, _answer_now(aim, state, pump)
    past_ph = _past_ph(aim, state, pump) if answer.lessons else 0.0
    need_ph = abs(trend.ph - aim.target) + past_ph
    need_ml = answer.ml_per_ph * need_ph
    share = share_of_need(answer, aim.share_of_need, need_ph)
    ml = need_ml * share
    if answer.lessons >= CONFIRMED:
        ml = max(ml, aim.smallest_ml[pump])  # which the dead band is wide enough for
    ml = min(ml, aim.largest_ml)
    if not 0.0 < ml < inf:
        return None
    numbers = {
        "ph": trend.ph,
        "target": aim.target,
        "dead_band": dead_band_ph(aim, state, pump),
        "drift_ph_per_day": trend.drift * DAY_S / HOUR_S,
        "past_ph": past_ph,
        "ml_per_ph": answer.ml_per_ph,
        "doubt": answer.doubt,
        "lessons": float(answer.lessons),
        "need_ml": need_ml,
        "share_of_need": share,
        "largest_ml": aim.largest_ml,
        "readings": float(trend.readings),
        "mixing_time_s": aim.mixing_time_s,
    }
    return DoseRequest(reservoir, pump, ml, reason, numbers)


def _past_ph(aim: PhAim, state: ControlState, pump: Role) -> float:
    """How far past the target to go: half of what the drift takes back, at most to the dead band's other side."""
    back_ph = -DIRECTION[pump] * state.trend.drift * AHEAD_H / 2.0
    return max(0.0, min(dead_band_ph(aim, state, pump), back_ph))


def _answer_now(aim: PhAim, state: ControlState, pump: Role) -> Answer:
    """The answer as far as it holds where pH stands now."""
    after_s = state.trend.at_s - state.learned_s if isfinite(state.learned_s) else 0.0
    return doubtful(answer_of(aim, state, pump), state.trend.ph, after_s)
