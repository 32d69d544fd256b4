"""Did a dose do what it should, and does pH move when nothing was dosed? Pure.

    before             the pump runs   three mixing times         after
    median of five  ->  end_s  . . . . . . . . . . . . .  ->  median of five newer readings
         seen = after - before - drift          drift: how fast pH moved by itself before the dose

Doses that come back to back leave no time to see the drift anew, and one seen just after a little water came in
is no drift at all. So one that is long past makes no dead pump look alive: what pH did with it and without it,
the less of the two, is what is seen for sure, and if that is nothing, a rest tells.

    NO_EFFECT    doses in a row that should have shown, and did not: empty bottle, air, blocked, dead pump
    UNPROVEN     the same of one dose, where pH had jumped before it: cracked bulb, plugs exchanged
    LITTLE_EFFECT  they did little, as a rest showed (daemon.dose.second_look): strongly buffered water
    STILL        the probe's voltage did not stir while a dose mixed in: stuck, or nothing came
    WRONG_SIGN   pH went the other way: wrong bottle, crossed tubes
    RUNAWAY      pH goes on far beyond what the dose can do: the pump did not stop
    TOO_STRONG   doses do much more than this tank showed before: pump or bottle changed
    MOVED_ALONE  pH moves on steadily with no dose: a siphon, a leaking pump
    STEPPED      pH made a step with no dose: a person's hand, a top-up

Only STEPPED (wait), TOO_STRONG (smaller steps) and LITTLE_EFFECT (a lesson) go on; the others latch. The
settings' mL per pH is a first guess that real water misses two- or threefold, and that changes along the way
(bicarbonate buffers most near pH 6.3). So NO_EFFECT asks for next to nothing seen, not for less than expected,
and what this tank showed before stands in for the guess once there is something.

The state (`Effects`) is frozen and goes in and out. After a restart it begins empty: a dose whose
mixing was cut off by it is not judged, and the count of doses without effect begins anew. What is in doubt,
a jump that is unproven and doses that seem to have done nothing, is kept (daemon.dose.doubt_file).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import inf, isfinite
from types import MappingProxyType
from typing import NamedTuple

from config.pump import MIXING_TIMES
from daemon.dose.control import PhAim
from daemon.dose.finding import DOUBTED, Finding, Surprise
from daemon.dose.mixing import mixing_after
from daemon.dose.moved_alone import LONG_S, moved_alone, slow_s_of
from daemon.dose.newest import READINGS
from daemon.dose.points import POINT_S, Point, following, median, since, thinned
from daemon.dose.second_look import Rest, is_effect, rest_after, rested, seen
from daemon.measure.judge import LIMITS
from daemon.values import Quantity, Role, Verdict, VerdictReason

# A dose without effect.
ENOUGH_PH = 0.3  # doses that should have moved pH by this much together must have shown
ENOUGH_DOSES, ENOUGH_OF_THEM_PH = 3, 0.1  # so must three, unless they are too small to be told from noise
LEAST_SHARE = 0.25  # of the shift expected
EACH_SHARE = 0.5  # and each of them less than this: one dose against which a person poured base is not enough
NOTHING_PH = 0.04  # and next to nothing: a weak pump in hard water is no dead pump
KEPT_DOSES = 8

# A voltage that stands still through a dose. A living electrode stirs by more than one code without any.
STILL_V = LIMITS[Quantity.PH].still_v
STILL_PH = 0.02  # in water buffered five times as well still several codes

# A dose that went the wrong way, or too far.
WRONG_WAY_PH, WRONG_WAY_SHARE = 0.1, 0.5
STRONG_TIMES = 1.5  # of what this tank showed before, at a like pH
STRONG_AT_ALL_TIMES, STRONG_AT_ALL_PH = 3.0, 0.1  # of the settings' guess, and by this much more
STRONG_MARGIN_PH = 0.015
STRONG_IN_A_ROW = 2
STILL_STRONG_TIMES = 1.25
RUNAWAY_PH = 0.5  # beyond three times the shift expected

# What the tank shows of its own.
LESSONS_NEEDED, LEARN_SHARE, LEARN_SHARE_STRONG = 5, 0.2, 0.05
LIKE_PH = 0.15  # nearer than this, two doses meet about the same buffering
DRIFT_LIMIT_PH_PER_S = 0.6 / 3600.0  # water by itself; faster is a finding, not a drift
DRIFT_MEMORY_S, DRIFT_DOUBT_S = 900.0, 200.0
DRIFT_HOLDS_S = 1800.0  # since it was seen: later it may be another
LATEST_S = 900.0  # a look this long after mixing says more of the hours between than of the dose
STEP_PH = 0.1  # with no dose
JUMP_PH = 0.3  # so far that the first dose after it must show: a bulb may have cracked, or plugs been exchanged


class _Pending(NamedTuple):
    """A dose that is mixing. shift_ph: expected, with its sign; before: at -inf where it is not known."""

    pump: Role
    ml: float
    shift_ph: float
    before: Point
    end_s: float
    volts: float | None = None  # at the first look after it
    stirred: bool = False


class _Judged(NamedTuple):
    """One dose that was judged: mL, expected and seen shift, both above zero in the dose's own direction.

    sure_ph: no more of what was seen than shows without a drift that is long past.
    """

    ml: float
    expected_ph: float
    seen_ph: float
    sure_ph: float


@dataclass(frozen=True, slots=True)
class _Lesson:
    """What the doses of one pump did. ratio: seen to expected, followed slowly; near_ph: where that was."""

    doses: tuple[_Judged, ...] = ()
    ratio: float = 1.0
    near_ph: float = 7.0
    learned: int = 0
    strong: int = 0


_NO_LESSON = _Lesson()


class _Doubt(NamedTuple):
    """Doses that seem to have done nothing, the newest of them, and the rest after it."""

    pump: Role
    finding: Finding
    ml: float
    rest: Rest


class Effects(NamedTuple):
    """What is remembered of one reservoir's pH between passes.

    newest: usable readings that belong together; points: thinned, also of readings that moved too fast to
    be used; base: where pH stood before it moved; moved_s: when it last moved by itself, -inf for never;
    unproven: it moved far, and no dose has shown since; doubt: whether doses did nothing is being looked at;
    drift_at_s: when its drift was last seen.
    """

    newest: tuple[Point, ...] = ()
    points: tuple[Point, ...] = ()
    base: Point | None = None
    moved_s: float = -inf
    unproven: bool = False
    pending: _Pending | None = None
    doubt: _Doubt | None = None
    drift_ph: float = 0.0
    drift_s: float = 0.0
    drift_at_s: float = -inf
    lessons: Mapping[Role, _Lesson] = MappingProxyType({})


def dosed(effects: Effects, pump: Role, ml: float, shift_ph: float, end_s: float) -> Effects:
    """The state after a dose that ended at `end_s`. shift_ph: what it should do, below zero for acid."""
    known = len(effects.newest) == READINGS
    middle_s = effects.newest[READINGS // 2].at_s if known else -inf
    before = Point(middle_s, median(effects.newest) if known else 0.0)
    pending = _Pending(pump, ml, shift_ph, before, end_s)
    return effects._replace(newest=(), points=(), base=None, pending=pending)


def watch(effects: Effects, aim: PhAim, ph: Verdict) -> tuple[Finding | None, Effects]:
    """What this pass's pH shows, and the state for the next. Nothing new, or nothing known: no finding."""
    reading = ph.reading
    if reading is None or not isfinite(reading.value):
        return None, effects
    if not (ph.shows_water or ph.reason is VerdictReason.JUMPED):
        return None, effects
    point = Point(reading.at_s, reading.value)
    if effects.newest and not point.at_s > effects.newest[-1].at_s:
        return None, effects
    if effects.doubt is not None:
        return _doubting(effects, effects.doubt, aim, point, usable=ph.usable)
    if effects.pending is None:
        return _at_rest(effects, aim, point, usable=ph.shows_water)
    pending = _stirred(effects.pending, reading.sample.volts)
    return _mixing(effects, pending, aim, point, usable=ph.shows_water)


def doubted(effects: Effects) -> Finding | None:
    """What is about to be found of doses that seem to have done nothing; None where nothing is in doubt."""
    return None if effects.doubt is None else effects.doubt.finding


def resting(effects: Effects) -> bool:
    """Whether nothing may be dosed: doses are in doubt, or the one that has to prove a jump is mixing."""
    return effects.doubt is not None or (effects.unproven and effects.pending is not None)


def forget(effects: Effects) -> Effects:
    """The state while people are at the tank: what was learned stays, what was being followed does not."""
    return Effects(moved_s=effects.moved_s, unproven=effects.unproven, lessons=effects.lessons)


def poured(effects: Effects, at_s: float) -> Effects:
    """The state once a person has told of a dose by hand: pH moves, and it is known why."""
    return forget(effects)._replace(moved_s=at_s, unproven=False)


def since_moved_s(effects: Effects, now_s: float) -> float | None:
    """Seconds since pH last moved by itself; None if it never did."""
    return None if effects.moved_s == -inf else max(0.0, now_s - effects.moved_s)


def step_share(effects: Effects, pump: Role) -> float:
    """1, or the half of a request that is left while doses of this pump do too much."""
    return 0.5 if effects.lessons.get(pump, _NO_LESSON).strong >= STRONG_IN_A_ROW else 1.0


# while a dose mixes


def _mixing(
    effects: Effects, pending: _Pending, aim: PhAim, point: Point, *, usable: bool
) -> tuple[Finding | None, Effects]:
    effects = effects._replace(pending=pending, points=thinned(effects.points, point, LATEST_S)[-3:])
    if (finding := _runaway(pending, effects.points)) is not None:
        return finding, effects._replace(pending=None, newest=(), points=())
    shows_s, mixed_s = mixing_after(pending.end_s, aim.mixing_time_s)
    if not (usable and point.at_s >= shows_s):
        return None, effects
    newest = following(effects.newest, point)
    if len(newest) < READINGS or not point.at_s >= mixed_s:
        return None, effects._replace(newest=newest)
    finding, lessons = None, effects.lessons
    if isfinite(pending.before.at_s) and point.at_s <= mixed_s + LATEST_S:
        finding, lesson = _judge(pending, effects, newest)
        finding = _stood_still(pending) or finding
        lessons = MappingProxyType({**lessons, pending.pump: lesson})
        effects = effects._replace(unproven=effects.unproven and not _proves(lesson))
    effects = effects._replace(newest=newest, points=(), pending=None, lessons=lessons)
    if finding is not None and finding.surprise in DOUBTED:
        before, mixing_s = pending.before, MIXING_TIMES * aim.mixing_time_s
        rest = rest_after(pending.shift_ph, before.at_s, before.ph, point.at_s, mixing_s)
        return None, effects._replace(doubt=_Doubt(pending.pump, finding, pending.ml, rest))
    return finding, effects


def _stirred(pending: _Pending, volts: float | None) -> _Pending:
    """The dose, with whether the voltage has moved since; a probe that gives none is taken for a living one."""
    if volts is None:
        return pending._replace(stirred=True)
    if pending.volts is None:
        return pending._replace(volts=volts)
    return pending if abs(volts - pending.volts) <= STILL_V else pending._replace(stirred=True)


def _stood_still(pending: _Pending) -> Finding | None:
    if pending.stirred or not abs(pending.shift_ph) >= STILL_PH:
        return None
    return Finding(Surprise.STILL, pending.pump, {"ml": pending.ml, "expected_ph": abs(pending.shift_ph)})


def _runaway(pending: _Pending, points: tuple[Point, ...]) -> Finding | None:
    """Three looks in a row far beyond what the dose can do."""
    if not (isfinite(pending.before.at_s) and len(points) >= 3):
        return None
    moved_ph = median(points[-3:]) - pending.before.ph
    towards = moved_ph if pending.shift_ph > 0.0 else -moved_ph
    if towards <= STRONG_AT_ALL_TIMES * abs(pending.shift_ph) + RUNAWAY_PH:
        return None
    numbers = {"expected_ph": pending.shift_ph, "moved_ph": moved_ph, "ml": pending.ml}
    return Finding(Surprise.RUNAWAY, pending.pump, numbers)


def _judge(pending: _Pending, effects: Effects, newest: tuple[Point, ...]) -> tuple[Finding | None, _Lesson]:
    """What one dose did, after what it and those before it should have done."""
    took_s = newest[READINGS // 2].at_s - pending.before.at_s
    towards = 1.0 if pending.shift_ph > 0.0 else -1.0
    moved_ph = towards * (median(newest) - pending.before.ph)
    seen_ph = moved_ph - towards * _drift_ph_per_s(effects) * took_s
    holds = pending.before.at_s - effects.drift_at_s <= DRIFT_HOLDS_S
    sure_ph = seen_ph if holds else min(seen_ph, moved_ph)
    judged = _Judged(pending.ml, abs(pending.shift_ph), seen_ph, sure_ph)
    lesson = effects.lessons.get(pending.pump, _NO_LESSON)
    strong = lesson.strong + 1 if _is_strong(judged, lesson, pending.before.ph) else 0
    lesson = replace(lesson, doses=(*lesson.doses, judged)[-KEPT_DOSES:], strong=strong)
    finding = _wrong_sign(pending, judged) or _no_effect(pending.pump, lesson, unproven=effects.unproven)
    if finding is not None:  # counting begins anew once a person has cleared it, or a rest has told
        return finding, lesson if finding.surprise in DOUBTED else replace(lesson, doses=())
    if strong >= STRONG_IN_A_ROW:
        finding = _too_strong(pending.pump, judged, lesson)
    return finding, _learned(lesson, judged, pending.before.ph)


def _wrong_sign(pending: _Pending, judged: _Judged) -> Finding | None:
    if not -judged.seen_ph > max(WRONG_WAY_PH, WRONG_WAY_SHARE * judged.expected_ph):
        return None
    numbers = {
        "ml": judged.ml,
        "expected_ph": pending.shift_ph,
        "seen_ph": judged.seen_ph if pending.shift_ph > 0.0 else -judged.seen_ph,
    }
    return Finding(Surprise.WRONG_SIGN, pending.pump, numbers)


def _proves(lesson: _Lesson) -> bool:
    """Whether the newest dose showed: then the probe lives, and stands in this water."""
    return any(dose.sure_ph >= LEAST_SHARE * _usual(lesson) * dose.expected_ph for dose in lesson.doses[-1:])


def _usual(lesson: _Lesson) -> float:
    """The share of what is expected that this tank is known to show; never more than all of it."""
    return min(1.0, lesson.ratio) if lesson.learned >= LESSONS_NEEDED else 1.0


def _no_effect(pump: Role, lesson: _Lesson, *, unproven: bool) -> Finding | None:
    """The shortest run of newest doses that together must have shown, and showed next to nothing.

    unproven: after a jump that nobody told of the first dose must.
    """
    usual = _usual(lesson)
    ml = expected_ph = seen_ph = 0.0
    for count, dose in enumerate(reversed(lesson.doses), start=1):
        if dose.sure_ph >= EACH_SHARE * usual * dose.expected_ph:
            return None
        ml, expected_ph, seen_ph = ml + dose.ml, expected_ph + dose.expected_ph, seen_ph + dose.sure_ph
        enough = expected_ph >= ENOUGH_PH or (count >= ENOUGH_DOSES and expected_ph >= ENOUGH_OF_THEM_PH)
        if enough or unproven:
            if seen_ph >= min(LEAST_SHARE * usual * expected_ph, NOTHING_PH):
                return None
            numbers = {"doses": count, "ml": ml, "expected_ph": expected_ph, "seen_ph": seen_ph}
            return Finding(Surprise.UNPROVEN if unproven else Surprise.NO_EFFECT, pump, numbers)
    return None


def _is_strong(judged: _Judged, lesson: _Lesson, at_ph: float) -> bool:
    if judged.seen_ph > STRONG_AT_ALL_TIMES * judged.expected_ph + STRONG_AT_ALL_PH:
        return True
    if lesson.learned < LESSONS_NEEDED or abs(at_ph - lesson.near_ph) > LIKE_PH:
        return False
    usual_ph = lesson.ratio * judged.expected_ph
    if lesson.strong >= STRONG_IN_A_ROW:
        return judged.seen_ph > STILL_STRONG_TIMES * usual_ph
    return judged.seen_ph > STRONG_TIMES * usual_ph + STRONG_MARGIN_PH


def _too_strong(pump: Role, judged: _Judged, lesson: _Lesson) -> Finding:
    usual_ph = lesson.ratio * judged.expected_ph
    return Finding(Surprise.TOO_STRONG, pump, {"ml": judged.ml, "usual_ph": usual_ph, "seen_ph": judged.seen_ph})


def _learned(lesson: _Lesson, judged: _Judged, at_ph: float) -> _Lesson:
    """What this dose teaches. One that did nothing teaches nothing, one too strong little."""
    if not judged.seen_ph > LEAST_SHARE * lesson.ratio * judged.expected_ph:
        return lesson
    share = max(LEARN_SHARE, 1.0 / (lesson.learned + 1)) if not lesson.strong else LEARN_SHARE_STRONG
    ratio = lesson.ratio + share * (judged.seen_ph / judged.expected_ph - lesson.ratio)
    near_ph = lesson.near_ph + share * (at_ph - lesson.near_ph)
    return replace(lesson, ratio=ratio, near_ph=near_ph, learned=lesson.learned + 1)


# while it rests


def _doubting(
    effects: Effects, doubt: _Doubt, aim: PhAim, point: Point, *, usable: bool
) -> tuple[Finding | None, Effects]:
    """What moves pH alone is found as ever; a step leaves it untold whether the doses did anything."""
    moved, effects = _at_rest(effects, aim, point, usable=usable)
    if moved is not None:
        finding = doubt.finding if moved.surprise is Surprise.STEPPED else moved
        return finding, _told(effects, doubt)
    rest = rested(doubt.rest, *point) if usable else doubt.rest
    if not point.at_s >= rest.until_s:
        return None, effects._replace(doubt=doubt._replace(rest=rest))
    told = _second_look(doubt, rest, _usual(effects.lessons[doubt.pump]))
    proven = told is None or told.surprise is Surprise.LITTLE_EFFECT
    return told, _told(effects._replace(unproven=effects.unproven and not proven), doubt)


def _told(effects: Effects, doubt: _Doubt) -> Effects:
    """The state once it is told what the doses in doubt did: counting begins anew."""
    pump = doubt.pump
    lesson = replace(effects.lessons[pump], doses=())
    return effects._replace(doubt=None, lessons=MappingProxyType({**effects.lessons, pump: lesson}))


def _second_look(doubt: _Doubt, rest: Rest, usual: float) -> Finding | None:
    """What the rest tells of the newest dose; None where it did as doses do here. usual: the share that shows."""
    by_rest = seen(rest)
    if not is_effect(rest, by_rest):
        return doubt.finding
    if by_rest.ph >= EACH_SHARE * usual * abs(rest.expected_ph):
        return None
    numbers = {"ml": doubt.ml, "expected_ph": abs(rest.expected_ph), "seen_ph": by_rest.ph}
    return Finding(Surprise.LITTLE_EFFECT, doubt.pump, numbers)


# while nothing mixes


def _at_rest(effects: Effects, aim: PhAim, point: Point, *, usable: bool) -> tuple[Finding | None, Effects]:
    if usable:
        effects = _following_drift(effects, point)
    if effects.points and point.at_s - effects.points[-1].at_s < POINT_S:
        return None, effects
    slow_s = slow_s_of(aim)
    points = thinned(effects.points, point, max(LONG_S, slow_s))
    finding = moved_alone(points, aim, slow_s)
    if finding is not None:
        return finding, effects._replace(points=(), base=None, moved_s=point.at_s)
    return _stepped(effects, points, point, slow_s)


def _following_drift(effects: Effects, point: Point) -> Effects:
    """Add what pH moved by itself since the last look; what is long past counts less and less."""
    newest = following(effects.newest, point)
    if len(newest) < 2:
        return effects._replace(newest=newest)
    drift_ph = effects.drift_ph + point.ph - newest[-2].ph
    drift_s = effects.drift_s + point.at_s - newest[-2].at_s
    kept = min(1.0, DRIFT_MEMORY_S / drift_s)
    return effects._replace(
        newest=newest, drift_ph=drift_ph * kept, drift_s=drift_s * kept, drift_at_s=point.at_s
    )


def _drift_ph_per_s(effects: Effects) -> float:
    """How fast pH moved by itself, held to what water does; a short look counts for less."""
    rate = effects.drift_ph * effects.drift_s / (effects.drift_s**2 + DRIFT_DOUBT_S**2)
    return max(-DRIFT_LIMIT_PH_PER_S, min(DRIFT_LIMIT_PH_PER_S, rate))


def _stepped(
    effects: Effects, points: tuple[Point, ...], point: Point, slow_s: float
) -> tuple[Finding | None, Effects]:
    """STEPPED where pH has left the place it stood at; that place follows what water does by itself.

    points: to be kept from now on, `point` the newest of them.
    """
    recent = since(points, point.at_s - slow_s)
    if len(recent) < 3:
        return None, effects._replace(points=points)
    base = effects.base
    if base is None or point.at_s - base.at_s > slow_s:
        base = Point(recent[0].at_s, median(recent[:3]))
    now_ph = median(points[-3:])
    if abs(now_ph - base.ph) < STEP_PH:
        return None, effects._replace(points=points, base=base)
    numbers = {"from_ph": base.ph, "to_ph": now_ph}
    here = Point(point.at_s, now_ph)
    unproven = effects.unproven or abs(now_ph - base.ph) >= JUMP_PH
    moved = effects._replace(
        points=points, base=here, moved_s=point.at_s, unproven=unproven, drift_ph=0.0, drift_s=0.0
    )
    return Finding(Surprise.STEPPED, None, numbers), moved
