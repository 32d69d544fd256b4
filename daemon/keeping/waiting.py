"""What a reservoir waits for while nothing is decided. Pure."""

from __future__ import annotations

from math import ceil

from config.pump import MIXING_TIMES
from daemon import words
from daemon.dose.control import ControlState, PhAim, dead_band_ph
from daemon.dose.newest import READINGS
from daemon.dose.windows import Totals
from daemon.values import Cap, Condition, Role, Verdict

MINUTE_S = 60.0


def waiting_for(condition: Condition, ph: Verdict | None, spent: Totals, aim: PhAim, state: ControlState) -> str:
    """One sentence for people: why nothing is dosed. ph: None without a probe; spent: of any pump."""
    if condition is not Condition.KEEPING:
        return words.CONDITION[condition]
    if ph is None:
        return "no pH probe in the settings: nothing to correct"
    if not ph.usable:
        return "waiting for a pH reading that can be believed"
    if not spent.ok:
        return words.CAP[Cap.LEDGER]
    mixing_s = MIXING_TIMES * aim.mixing_time_s
    if spent.since_any_s is not None and spent.since_any_s < mixing_s:
        return f"the last dose is mixing, about {ceil((mixing_s - spent.since_any_s) / MINUTE_S)} min more"
    return _aiming_words(aim, state, words.believed(ph) or aim.target)


def _aiming_words(aim: PhAim, state: ControlState, ph: float) -> str:
    """What is to be done about this pH while nothing is asked for."""
    pump = Role.PH_DOWN if ph > aim.target else Role.PH_UP
    if not abs(ph - aim.target) > dead_band_ph(aim, state, pump):
        return f"pH is near enough to {aim.target:g}: nothing to do"
    if pump not in aim.smallest_ml:
        return f"pH {ph:.2f} asks for {words.ROLE[pump]}, and there is no such pump"
    if state.trend.readings < READINGS:
        return f"pH {ph:.2f}: some more readings before a dose"
    return f"pH {ph:.2f}: likely to come back by itself before {words.ROLE[pump]} is worth while"
