"""What this tank's water answers to a dose: mL per pH where it stands now, learned from its own doses. Pure.

    prior (settings)  ->  a dose  ->  expected and seen shift  ->  Answer, a little nearer to what was seen

Buffering changes along the way: carbonate holds most near pH 6.3, little is left of it once its CO2 has gone,
and fresh water brings more. So an answer is never sure for long: each dose, each day and each step away from the
pH it was learned at adds doubt, and doubt makes both the next lesson count for more and the next dose smaller.
One lesson is never trusted: it is held to LARGER or SMALLER, and one that does not fit what is known is set aside
until a second one in a row does not fit either. One that shows nothing at all teaches nothing: a dead pump or an
empty bottle must not make the next dose larger (daemon.dose.response finds it).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import isfinite, sqrt
from types import MappingProxyType

from daemon.dose.windows import DAY_S
from daemon.values import Role

PRIOR_DOUBT = 0.8  # relative standard deviation of a guess from the settings: two- or threefold off is usual
LEAST_DOUBT = 0.05
DOUBT_PER_DOSE, DOUBT_PER_DAY, DOUBT_PER_PH = 0.07, 0.2, 1.0
LESSON_DOUBT = 0.05  # of what one dose shows, beside the probe's noise: the pump's own spread, CO2 that leaves
CLIP = 2.5  # times what doubt and noise explain: more does not fit
NOTHING_SHARE, NOTHING_PH, NOTHING_SDS = 0.25, 0.01, 3.0  # of the shift expected; in pH; in noise
LARGER, SMALLER = 1.5, 0.5  # the most by which one lesson changes mL per pH upwards (larger doses), downwards
FARTHEST = 20.0  # times, from the prior: beyond that a pump or a probe is wrong, not the water
CONFIRMED = 3  # lessons after which doses may exceed the share that the settings give
FULL_SHARE = 0.95
CARBONATE_SHARE = (0.93 - 0.31) / 0.93 / 1.5  # of the alkalinity, per pH
PHOSPHATE_MMOL_PER_L = 0.2  # per pH: 0.5 mmol/L with pK2 near 7, of which 80 % and 11 % is HPO4 there
FORGET_SHARE = 1 / 3  # fresh water, of the full reservoir, that makes what was learned another water's
FAR_PH = 0.5  # a need this large is met by half of what a small one is: buffering changes along the way

DIRECTION = MappingProxyType({Role.PH_DOWN: -1.0, Role.PH_UP: 1.0})
"""Which way acid and base move pH."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What one pump does to the full reservoir.

    ml_per_ph: mL that move it by 1 pH; doubt: relative standard deviation of that; prior_ml_per_ph: as the
    settings have it; lessons: doses it was learned from, since it was last forgotten; near_ph: where; odd: the
    newest lesson was set aside as one that does not fit.
    """

    ml_per_ph: float
    prior_ml_per_ph: float
    doubt: float = PRIOR_DOUBT
    lessons: int = 0
    near_ph: float = 7.0
    odd: bool = False


@dataclass(frozen=True, slots=True)
class Lesson:
    """What one dose showed. Shifts are above zero in the dose's own direction, in pH of the full reservoir.

    seen_sd: standard deviation of seen_ph; at_ph: where it was, after_s: since the lesson before.
    """

    expected_ph: float
    seen_ph: float
    seen_sd: float
    at_ph: float
    after_s: float = 0.0


def buffering_mmol_per_l(alkalinity_mmol_per_l: float) -> float:
    """Acid or base that moves nutrient solution by 1 pH, mmol/L, mean over its usual way from pH 7.5 to 6.

    Carbonate, none of it lost as CO2 yet: of C mmol/L, C K / (K + [H+]) is bicarbonate, K = 10^-6.35 (Plummer &
    Busenberg 1982, 25 °C), which is 93 % at pH 7.5 and 31 % at pH 6. The phosphate of a half-strength solution
    adds PHOSPHATE_MMOL_PER_L.
    """
    return CARBONATE_SHARE * max(0.0, alkalinity_mmol_per_l) + PHOSPHATE_MMOL_PER_L


def shift_of_dose(pump: Role, ml: float, ml_per_ph: float, share_of_water: float) -> float:
    """What `ml` should do to pH, below zero for acid. ml_per_ph: of the full reservoir."""
    return DIRECTION[pump] * ml / (ml_per_ph * share_of_water)


def prior(ml_per_ph: float) -> Answer:
    """What is taken for true before this tank has shown anything."""
    return Answer(ml_per_ph, ml_per_ph)


def learned(answer: Answer, lesson: Lesson) -> Answer:
    """The answer after one lesson. One that makes no sense, or shows nothing, changes nothing."""
    if not _shows(lesson):
        return answer
    before = doubtful(answer, lesson.at_ph, lesson.after_s)
    noise2 = (lesson.seen_sd / lesson.expected_ph) ** 2 + LESSON_DOUBT**2
    spread = sqrt(before.doubt**2 + noise2)
    off = lesson.seen_ph / lesson.expected_ph - 1.0
    if abs(off) > CLIP * spread and before.lessons >= CONFIRMED and not before.odd:
        return replace(before, odd=True)
    off = max(-CLIP * spread, min(CLIP * spread, off))
    weight = before.doubt**2 / spread**2
    stronger = 1.0 + weight * off
    held = max(1.0 / LARGER, min(1.0 / SMALLER, stronger))
    doubt2 = before.doubt**2 if held != stronger else (1.0 - weight) * before.doubt**2
    return replace(
        before,
        ml_per_ph=_near_prior(answer, answer.ml_per_ph / held),
        doubt=max(LEAST_DOUBT, min(PRIOR_DOUBT, sqrt(doubt2 + DOUBT_PER_DOSE**2))),
        lessons=before.lessons + 1,
        near_ph=lesson.at_ph,
        odd=False,
    )


def weaker(answer: Answer, ml_per_ph: float) -> Answer:
    """The answer after a rest showed that a dose did little: unsure, and changed as by one lesson."""
    most = answer.ml_per_ph * LARGER
    held = min(most, max(answer.ml_per_ph, ml_per_ph)) if isfinite(ml_per_ph) else answer.ml_per_ph
    return replace(answer, ml_per_ph=_near_prior(answer, held), doubt=PRIOR_DOUBT)


def _shows(lesson: Lesson) -> bool:
    """Whether the lesson is made of numbers, and shows more than a pump that gave nothing."""
    numbers = (lesson.expected_ph, lesson.seen_ph, lesson.seen_sd, lesson.at_ph, lesson.after_s)
    if not (all(isfinite(number) for number in numbers) and lesson.expected_ph > 0.0 and lesson.seen_sd >= 0.0):
        return False
    if lesson.seen_ph >= NOTHING_SHARE * lesson.expected_ph:
        return True
    return lesson.seen_ph > max(NOTHING_PH, NOTHING_SDS * lesson.seen_sd)


def doubtful(answer: Answer, at_ph: float, after_s: float) -> Answer:
    """The answer as far as it holds at another pH, and so long after it was learned."""
    far_ph = abs(at_ph - answer.near_ph) if answer.lessons else 0.0
    days = max(0.0, after_s) / DAY_S
    doubt = sqrt(answer.doubt**2 + DOUBT_PER_DAY**2 * days + (DOUBT_PER_PH * far_ph) ** 2)
    return (
        replace(answer, doubt=min(PRIOR_DOUBT, doubt)) if isfinite(doubt) else replace(answer, doubt=PRIOR_DOUBT)
    )


def diluted(answer: Answer, share: float) -> Answer:
    """The answer after fresh water came in, as a share of the reservoir; bit by bit it comes to the same.

    From FORGET_SHARE on, or where the share is no number, it is a guess again.
    """
    if share <= 0.0:
        return answer
    doubt = answer.doubt + share / FORGET_SHARE * PRIOR_DOUBT
    return replace(answer, doubt=doubt) if doubt < PRIOR_DOUBT else prior(answer.prior_ml_per_ph)


def share_of_need(answer: Answer, least_share: float, need_ph: float) -> float:
    """The part of the need to ask for: `least_share` until CONFIRMED lessons agree, then nearly the whole.

    Less for a large need, which leads through water that nobody has tried yet, and less with doubt.
    """
    if answer.lessons < CONFIRMED:
        return least_share
    share = FULL_SHARE * (1.0 - answer.doubt) / (1.0 + (need_ph / FAR_PH) ** 2)
    return max(least_share, min(FULL_SHARE, share))


def _near_prior(answer: Answer, ml_per_ph: float) -> float:
    least, most = answer.prior_ml_per_ph / FARTHEST, answer.prior_ml_per_ph * FARTHEST
    return max(least, min(most, ml_per_ph))
