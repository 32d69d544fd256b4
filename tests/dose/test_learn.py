"""What a tank answers, learned from its doses."""

from __future__ import annotations

from math import inf, nan
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daemon.dose.learn import (
    CONFIRMED,
    FARTHEST,
    FORGET_SHARE,
    FULL_SHARE,
    LARGER,
    LEAST_DOUBT,
    PRIOR_DOUBT,
    SMALLER,
    Answer,
    Lesson,
    buffering_mmol_per_l,
    diluted,
    doubtful,
    learned,
    prior,
    share_of_need,
)
from tests.reference.published import rows

PRIOR = prior(60.0)


def dosed(answer: Answer, true_ml_per_ph: float, *, noise: float = 0.0, times: int = 1) -> Answer:
    """The answer after so many doses of 10 mL into a tank that truly answers like that."""
    chance = Random(2)
    for _ in range(times):
        seen_ph = 10.0 / true_ml_per_ph + chance.gauss(0.0, noise)
        answer = learned(answer, Lesson(10.0 / answer.ml_per_ph, seen_ph, noise, 6.0))
    return answer


@pytest.mark.parametrize("times", [1 / 6, 1 / 2, 1.0, 2.0, 6.0])
def test_finds_the_answer_of_the_tank(times: float) -> None:
    """A guess six times off either way is within 10 % after ten doses, and is then hardly in doubt."""
    answer = dosed(PRIOR, 60.0 * times, times=10)
    assert answer.ml_per_ph == pytest.approx(60.0 * times, rel=0.1)
    assert answer.doubt < 0.15


def test_never_farther_from_the_guess_than_water_can_be() -> None:
    """Doses that seem to do two hundred times as much are a wrong pump or probe, not the water."""
    assert dosed(PRIOR, 0.3, times=40).ml_per_ph == 60.0 / FARTHEST


def test_finds_it_in_noise() -> None:
    """Doses of a third of a pH seen with 0.1 pH of noise: within a fifth after thirty."""
    assert dosed(PRIOR, 30.0, noise=0.1, times=30).ml_per_ph == pytest.approx(30.0, rel=0.2)


@pytest.mark.parametrize("seen_ph", [-5.0, 0.0, 0.001, 0.1, 5.0])
def test_one_lesson_is_never_trusted(seen_ph: float) -> None:
    """Whatever one dose shows, mL per pH changes by no more than its limits, and no full share follows."""
    answer = learned(PRIOR, Lesson(0.02, seen_ph, 0.0, 6.0))
    assert SMALLER * 60.0 <= answer.ml_per_ph <= LARGER * 60.0
    assert share_of_need(answer, 1 / 3, 0.05) == 1 / 3


def test_one_odd_dose_is_set_aside_and_a_second_believed() -> None:
    """Known for twenty doses, then twice as strong: the first changes nothing, the second does."""
    known = dosed(PRIOR, 30.0, times=20)
    odd = dosed(known, 15.0)
    assert (odd.ml_per_ph, odd.odd) == (known.ml_per_ph, True)
    assert dosed(odd, 30.0).ml_per_ph == pytest.approx(known.ml_per_ph, rel=0.05)
    assert dosed(odd, 15.0).ml_per_ph < 0.9 * known.ml_per_ph
    assert dosed(odd, 15.0, times=8).ml_per_ph == pytest.approx(15.0, rel=0.15)


@pytest.mark.parametrize("seen_ph", [-0.3, -0.01, 0.0, 0.009])
def test_a_dose_that_shows_nothing_makes_the_next_no_larger(seen_ph: float) -> None:
    """An empty bottle or a dead pump teaches nothing; strong buffering, which shows a little, does."""
    assert learned(PRIOR, Lesson(0.1, seen_ph, 0.003, 6.0)) == PRIOR
    assert learned(PRIOR, Lesson(0.1, 0.02, 0.003, 6.0)).ml_per_ph > PRIOR.ml_per_ph


def test_follows_water_that_loses_its_buffering() -> None:
    """Buffering that falls by a tenth with each dose is followed within a third."""
    answer, true_ml_per_ph = PRIOR, 60.0
    for _ in range(15):
        answer, true_ml_per_ph = dosed(answer, true_ml_per_ph), true_ml_per_ph * 0.9
    assert answer.ml_per_ph == pytest.approx(true_ml_per_ph, rel=1 / 3)


def test_noise_hides_a_lesson() -> None:
    """A shift far below the probe's noise moves the answer by less than a twentieth."""
    assert learned(PRIOR, Lesson(0.001, 0.002, 0.05, 6.0)).ml_per_ph == pytest.approx(60.0, rel=0.05)


@pytest.mark.parametrize(
    "lesson",
    [
        Lesson(nan, 0.1, 0.0, 6.0),
        Lesson(0.1, nan, 0.0, 6.0),
        Lesson(0.1, inf, 0.0, 6.0),
        Lesson(0.1, 0.1, nan, 6.0),
        Lesson(0.1, 0.1, -0.1, 6.0),
        Lesson(0.1, 0.1, 0.0, nan),
        Lesson(0.1, 0.1, 0.0, 6.0, nan),
        Lesson(0.0, 0.1, 0.0, 6.0),
        Lesson(-0.1, 0.1, 0.0, 6.0),
    ],
)
def test_a_lesson_that_makes_no_sense_teaches_nothing(lesson: Lesson) -> None:
    """No number, or nothing expected: the answer is as before."""
    assert learned(PRIOR, lesson) == PRIOR


def test_doubt_grows_with_time_and_with_distance() -> None:
    """A day later, or half a pH away, the answer holds less; never less than a guess does."""
    known = dosed(PRIOR, 30.0, times=20)
    day, far = doubtful(known, 6.0, 86400.0), doubtful(known, 6.5, 0.0)
    assert known.doubt < day.doubt < PRIOR_DOUBT
    assert known.doubt < far.doubt < PRIOR_DOUBT
    assert doubtful(known, 9.0, 1e9).doubt == doubtful(known, 6.0, inf).doubt == PRIOR_DOUBT
    assert doubtful(known, nan, 0.0).doubt == PRIOR_DOUBT


@pytest.mark.parametrize("share", [FORGET_SHARE, 1.0, nan])
def test_a_change_out_is_another_water(share: float) -> None:
    """From a third of fresh water on, or where nobody knows how much it was, the guess holds again."""
    assert diluted(dosed(PRIOR, 30.0, times=20), share) == PRIOR


def test_a_top_up_keeps_what_was_learned_and_adds_doubt() -> None:
    """A tenth of fresh water: the same mL per pH, held with more doubt."""
    known = dosed(PRIOR, 30.0, times=20)
    topped_up = diluted(known, 0.1)
    assert topped_up.ml_per_ph == known.ml_per_ph
    assert topped_up.lessons == known.lessons
    assert known.doubt < topped_up.doubt < PRIOR_DOUBT
    assert diluted(known, -1.0) == known
    bit_by_bit = known
    for _ in range(10):
        bit_by_bit = diluted(bit_by_bit, 0.01)
    assert bit_by_bit.doubt == pytest.approx(topped_up.doubt)


def titrated_ph(reagent: str, dose: str) -> float:
    """pH of half Hoagland with 1 mmol/kg alkalinity after so many mmol/kg, closed. Source: the row (PHREEQC)."""
    salts = "half Hoagland-1 salts + 1 mmol/kg KHCO3, 22 C, no precipitation"
    (row,) = rows("titrations.csv", water=salts, reagent=reagent, dose_mmol_per_kg=dose, gas_exchange="closed")
    return float(row["value"])


def test_the_guess_of_buffering_is_that_of_a_computed_titration() -> None:
    """From pH 7.6 to 6.0 within a tenth; the first acid moves the water as guessed, within a third."""
    per_ph = (0.4 + 0.6) / (titrated_ph("KOH", "0.4") - titrated_ph("HNO3", "0.6"))
    assert buffering_mmol_per_l(1.0) == pytest.approx(per_ph, rel=0.1)
    first = 0.2 / (titrated_ph("HNO3", "0") - titrated_ph("HNO3", "0.2"))
    assert buffering_mmol_per_l(1.0) == pytest.approx(first, rel=1 / 3)


def test_the_share_grows_with_lessons_and_shrinks_with_doubt_and_distance() -> None:
    """A third until CONFIRMED doses agree; then most of a small need, less of a large one, more of a sure one."""
    assert share_of_need(dosed(PRIOR, 60.0, times=CONFIRMED - 1), 1 / 3, 0.05) == 1 / 3
    known = dosed(PRIOR, 60.0, times=20)
    assert 0.7 < share_of_need(known, 1 / 3, 0.05) <= FULL_SHARE
    assert 1 / 3 <= share_of_need(known, 1 / 3, 1.5) < 0.5
    assert share_of_need(doubtful(known, 6.0, 2 * 86400.0), 1 / 3, 0.05) < share_of_need(known, 1 / 3, 0.05)


@settings(max_examples=200)
@given(
    st.lists(
        st.tuples(
            st.floats(1e-6, 10.0),
            st.floats(-20.0, 20.0),
            st.floats(0.0, 1.0),
            st.floats(0.0, 14.0),
            st.floats(0.0, 1e7),
            st.floats(0.0, 0.5),
        ),
        max_size=30,
    ),
    st.floats(0.0, 10.0),
)
def test_whatever_it_is_taught_it_stays_bounded(
    lessons: list[tuple[float, float, float, float, float, float]], need_ph: float
) -> None:
    """mL per pH within FARTHEST of the guess, doubt and share within their limits."""
    answer = PRIOR
    for *lesson, fresh in lessons:
        answer = diluted(learned(answer, Lesson(*lesson)), fresh)
        assert 60.0 / FARTHEST <= answer.ml_per_ph <= 60.0 * FARTHEST
        assert LEAST_DOUBT <= answer.doubt <= PRIOR_DOUBT
        assert 0.0 < share_of_need(answer, 1 / 3, need_ph) <= FULL_SHARE
