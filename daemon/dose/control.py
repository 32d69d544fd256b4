"""How much to ask for: a small PID in mL, and the rules by which pH is corrected. Pure.

    usable readings -> median of five -> outside the dead band? -> PID -> DoseRequest

Asking is not dosing: daemon.dose.permit has the last word.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, isfinite

from config.settings import HARD_MAX_SHARE_PER_DOSE, Reservoir
from daemon.dose.permit import MIXING_TIMES, ML_PER_L
from daemon.dose.windows import HOUR_S
from daemon.values import DoseReason, DoseRequest, Quantity, Role, Verdict

READINGS = 5  # never on one sample: the median of this many, all newer than the mixing of the last dose
BREAK_S = 180.0  # readings further apart than this do not belong together (three of the slowest passes)


@dataclass(frozen=True, slots=True)
class PidTuning:
    """Gains of a PID whose output is mL: above zero raises what is measured, below zero lowers it.

    kp: mL per unit of error; ki: per unit and second; kd: per unit a second.
    low_ml, high_ml: the output, and the integral by itself, stay within these.
    dead_band: closer to the target than this the output is zero and the integral is forgotten; 0 for none.
    """

    kp: float
    ki: float = 0.0
    kd: float = 0.0
    low_ml: float = -inf
    high_ml: float = inf
    dead_band: float = 0.0


@dataclass(frozen=True, slots=True)
class PidState:
    """What one step leaves for the next. proportional_ml and derivative_ml are kept for people to read."""

    integral_ml: float = 0.0
    last_measured: float | None = None
    proportional_ml: float = 0.0
    derivative_ml: float = 0.0


def pid_step(
    tuning: PidTuning, state: PidState, target: float, measured: float, dt_s: float
) -> tuple[float | None, PidState]:
    """Output in mL and the state after one measurement, `dt_s` after the one before (0 for the first).

    Derivative on the measurement, so a moved target gives no kick; the integral is clamped to the output's
    limits, so it cannot wind up. Anything not finite, or a step back in time: no output, state unchanged.
    """
    if not (isfinite(measured) and isfinite(target) and 0.0 <= dt_s < inf):
        return None, state
    error = target - measured
    if abs(error) < tuning.dead_band:
        return 0.0, PidState(last_measured=measured)
    change = measured - state.last_measured if state.last_measured is not None else 0.0
    proportional_ml = tuning.kp * error
    integral_ml = _clamp(state.integral_ml + tuning.ki * error * dt_s, tuning)
    derivative_ml = -tuning.kd * change / dt_s if dt_s > 0.0 else 0.0
    after = PidState(integral_ml, measured, proportional_ml, derivative_ml)
    return _clamp(proportional_ml + integral_ml + derivative_ml, tuning), after


def _clamp(ml: float, tuning: PidTuning) -> float:
    return max(tuning.low_ml, min(tuning.high_ml, ml))


@dataclass(frozen=True, slots=True)
class PhAim:
    """Where pH should be and how to get it there.

    target ± tuning.dead_band: left alone. ph_low: lower end of the crop's band; base is asked for only
    below it, so that acid and base do not fight after a slight overshoot.
    ml_per_ph: mL that move this water by 1 pH; share_of_need: part of the need asked for at a time.
    has_down, has_up: whether there is such a pump.
    """

    tuning: PidTuning
    target: float
    ph_low: float
    ml_per_ph: float
    share_of_need: float
    mixing_time_s: float
    has_down: bool
    has_up: bool


@dataclass(frozen=True, slots=True)
class ControlState:
    """What the controller of one reservoir remembers: the newest readings as (time in s, pH), and its PID."""

    readings: tuple[tuple[float, float], ...] = ()
    pid: PidState = PidState()


def aim_of(reservoir: Reservoir) -> PhAim:
    """The aim that the settings give. integral_per_h and derivative_h scale the proportional gain."""
    ph = reservoir.ph
    kp = ph.ml_per_ph * ph.share_of_need
    largest_ml = reservoir.volume_l * ML_PER_L * HARD_MAX_SHARE_PER_DOSE
    tuning = PidTuning(
        kp=kp,
        ki=kp * ph.integral_per_h / HOUR_S,
        kd=kp * ph.derivative_h * HOUR_S,
        low_ml=-largest_ml,
        high_ml=largest_ml,
        dead_band=ph.dead_band,
    )
    return PhAim(
        tuning=tuning,
        target=ph.target,
        ph_low=reservoir.bands.ph_low,
        ml_per_ph=ph.ml_per_ph,
        share_of_need=ph.share_of_need,
        mixing_time_s=reservoir.mixing_time_s,
        has_down=Role.PH_DOWN in reservoir.pump,
        has_up=Role.PH_UP in reservoir.pump,
    )


def ask_ph(  # noqa: PLR0917 - six facts of one moment
    reservoir: str, ph: Verdict, aim: PhAim, state: ControlState, now_s: float, last_dose_s: float | None
) -> tuple[DoseRequest | None, ControlState]:
    """What to dose now for pH, if anything, and the state for the next pass.

    Nothing unless the verdict is usable; nothing until three mixing times after the last dose into this
    reservoir (`last_dose_s`: monotonic, as now_s; None if there never was one) and READINGS readings newer
    than that; nothing while their median is within the dead band, or below it but within the crop's band.
    """
    mixed_s = -inf if last_dose_s is None else last_dose_s + MIXING_TIMES * aim.mixing_time_s
    if not (ph.usable and ph.quantity is Quantity.PH and ph.reading is not None and now_s >= mixed_s):
        return None, _EMPTY
    newest = (ph.reading.at_s, ph.reading.value)
    if not (newest[0] >= mixed_s and isfinite(newest[1])):
        return None, _EMPTY
    if state.readings and newest[0] == state.readings[-1][0]:
        return None, state
    kept = _following(state, newest, mixed_s)
    readings = (*kept.readings, newest)[-READINGS:]
    if len(readings) < READINGS:
        return None, ControlState(readings, kept.pid)
    return _ask(reservoir, aim, readings, kept.pid)


_EMPTY = ControlState()


def _following(state: ControlState, newest: tuple[float, float], mixed_s: float) -> ControlState:
    """The state as far as `newest` follows on from it: nothing of it if a dose or a break lies between."""
    if not state.readings:
        return state
    follows = 0.0 < newest[0] - state.readings[-1][0] <= BREAK_S and state.readings[0][0] >= mixed_s
    return state if follows else _EMPTY


def _ask(
    reservoir: str, aim: PhAim, readings: tuple[tuple[float, float], ...], pid: PidState
) -> tuple[DoseRequest | None, ControlState]:
    """One PID step on the median of `readings`, and the request that follows from it."""
    ph = sorted(value for _, value in readings)[READINGS // 2]
    dt_s = readings[-1][0] - readings[-2][0] if pid.last_measured is not None else 0.0
    output_ml, after = pid_step(aim.tuning, pid, aim.target, ph, dt_s)
    state = ControlState(readings, after)
    needed = _needed(aim, ph)
    if needed is None or output_ml is None:
        return None, state
    pump, reason = needed
    need_ml = aim.ml_per_ph * abs(ph - aim.target)
    ml = min(output_ml if pump is Role.PH_UP else -output_ml, need_ml)
    if not ml > 0.0:
        return None, state
    return DoseRequest(reservoir, pump, ml, reason, _numbers(aim, ph, need_ml, after)), state


def _needed(aim: PhAim, ph: float) -> tuple[Role, DoseReason] | None:
    """Acid above the dead band, base below the crop's band, nothing in between or without the pump."""
    if aim.has_down and ph > aim.target + aim.tuning.dead_band:
        return Role.PH_DOWN, DoseReason.PH_HIGH
    if aim.has_up and ph < aim.ph_low and ph < aim.target - aim.tuning.dead_band:
        return Role.PH_UP, DoseReason.PH_LOW
    return None


def _numbers(aim: PhAim, ph: float, need_ml: float, pid: PidState) -> dict[str, float]:
    """What a grower needs to reckon the request by hand: need = |error| x mL per pH, of which a share."""
    return {
        "ph": ph,
        "target": aim.target,
        "dead_band": aim.tuning.dead_band,
        "ph_low": aim.ph_low,
        "error_ph": ph - aim.target,
        "ml_per_ph": aim.ml_per_ph,
        "need_ml": need_ml,
        "share_of_need": aim.share_of_need,
        "proportional_ml": abs(pid.proportional_ml),
        "integral_ml": pid.integral_ml,
        "derivative_ml": pid.derivative_ml,
        "largest_ml": aim.tuning.high_ml,
        "readings": float(READINGS),
        "mixing_time_s": aim.mixing_time_s,
    }
