"""Does pH move on steadily although nothing was dosed: a siphon, a pump that runs on, a flood? Pure.

A step is none of these: each third of the time must bring its share, and no two looks the most of it.
"""

from __future__ import annotations

from functools import partial
from itertools import pairwise

from daemon.dose.control import PhAim
from daemon.dose.finding import Finding, Surprise
from daemon.dose.points import Point, median, ph_at, since
from daemon.values import Role

# Movement with no dose. A siphon of 1 mL/min moves a 60 L tank by 0.015 to 0.03 pH a minute; water taking up
# or losing CO2 falls by less than 0.005, but may rise faster when hard fresh water is aerated.
LONG_S, SLOW_S, FAST_S = 1200.0, 450.0, 90.0
LONG_FALL_PH, LONG_RISE_PH = 0.12, 0.5
SLOW_FALL_PH, SLOW_RISE_PH = 0.08, 0.2
FAST_PH = 0.4
FAR_PH, AT_ONCE_SHARE = 1.5, 0.6  # a flood takes longer than one look; a probe in another cup does not
STEADY_SHARE = 0.25  # each third of the time must bring this share of the movement, or it is a step
MIXING_SEEN = 1.0  # mixing times: in less, a step that mixes in looks steady


def slow_s_of(aim: PhAim) -> float:
    """The time over which a movement is looked for, in s: in less than a mixing time a step looks steady."""
    return max(SLOW_S, MIXING_SEEN * aim.mixing_time_s)


def moved_alone(points: tuple[Point, ...], aim: PhAim, slow_s: float) -> Finding | None:
    """A steady movement, or a very far one, in the direction of a pump that is there."""
    long_s, fast_s = max(LONG_S, slow_s), max(FAST_S, MIXING_SEEN * aim.mixing_time_s)
    steady_move_ph = partial(_steady_move_ph, ph_at(points, points[-1].at_s))
    for move, over_s, fall_ph, rise_ph in (
        (steady_move_ph, long_s, LONG_FALL_PH, LONG_RISE_PH),
        (steady_move_ph, slow_s, SLOW_FALL_PH, SLOW_RISE_PH),
        (steady_move_ph, fast_s, FAST_PH, FAST_PH),
        (_gradual_move_ph, slow_s, FAR_PH, FAR_PH),
    ):
        moved_ph = move(points, over_s, min(fall_ph, rise_ph))
        falls = aim.has_down and moved_ph <= -fall_ph
        if falls or (aim.has_up and moved_ph >= rise_ph):
            numbers = {"moved_ph": moved_ph, "over_s": over_s}
            return Finding(Surprise.MOVED_ALONE, Role.PH_DOWN if falls else Role.PH_UP, numbers)
    return None


def _steady_move_ph(end_ph: float | None, points: tuple[Point, ...], over_s: float, least_ph: float) -> float:
    """Movement over the last `over_s` seconds; 0 if below least_ph, or if not each third brought its share."""
    newest_s = points[-1].at_s
    begin_ph = ph_at(points, newest_s - over_s)
    if begin_ph is None or end_ph is None or not abs(end_ph - begin_ph) >= least_ph:
        return 0.0
    one, two = ph_at(points, newest_s - over_s * 2.0 / 3.0), ph_at(points, newest_s - over_s / 3.0)
    if one is None or two is None:
        return 0.0
    moved_ph = end_ph - begin_ph
    shares = [(later - earlier) / moved_ph for earlier, later in pairwise((begin_ph, one, two, end_ph))]
    return moved_ph if min(shares) >= STEADY_SHARE else 0.0


def _gradual_move_ph(points: tuple[Point, ...], over_s: float, least_ph: float) -> float:
    """Movement over the last `over_s` seconds or less, unless most of it came between two looks; else 0."""
    recent = since(points, points[-1].at_s - over_s)
    if len(recent) < 2 * 3 or not abs(moved_ph := median(recent[-3:]) - median(recent[:3])) >= least_ph:
        return 0.0
    most_at_once = max(abs(later.ph - earlier.ph) for earlier, later in pairwise(recent))
    return moved_ph if most_at_once <= AT_ONCE_SHARE * abs(moved_ph) else 0.0
