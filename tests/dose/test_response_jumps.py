"""After a jump of pH that nobody told of, the first dose must show."""

from __future__ import annotations

import pytest

from daemon.dose.finding import Surprise
from daemon.dose.response import JUMP_PH, dosed, forget, poured, resting
from daemon.values import Role
from tests.dose.waters import ML_PER_PH, Water, kinds


def jumped(by_ph: float, **water: float) -> Water:
    """Water after a jump that nobody told of, and that has come to rest."""
    here = Water(**water)  # type: ignore[arg-type]
    here.passes(1800.0)
    here.ph += by_ph
    assert kinds(here.passes(7200.0)) == {Surprise.STEPPED}
    return here


def test_after_a_jump_the_first_dose_must_show() -> None:
    """A cracked bulb reads like new water: one dose and a rest, nothing else meanwhile, then it locks."""
    water = jumped(JUMP_PH + 0.05, works=0.0)
    (found,) = water.dose()
    assert found.surprise is Surprise.UNPROVEN
    assert found.latches
    assert water.effects.unproven


def test_nothing_is_dosed_while_the_dose_that_has_to_prove_it_mixes() -> None:
    """A second one would be on the same doubt."""
    water = jumped(JUMP_PH + 0.05)
    assert not resting(water.effects)
    water.effects = dosed(water.effects, Role.PH_DOWN, 8.0, -8.0 / ML_PER_PH, water.at_s)
    assert resting(water.effects)


@pytest.mark.parametrize("works", [1.0, 0.4])
def test_a_dose_that_shows_proves_the_jump(works: float) -> None:
    """Nothing is found, and all is as before: three doses may again be lost."""
    water = jumped(JUMP_PH + 0.05, works=works)
    water.dose()
    assert not water.effects.unproven
    assert not resting(water.effects)
    assert kinds(water.findings) == {Surprise.STEPPED}


def test_little_that_a_rest_showed_proves_it_too() -> None:
    """Strongly buffered water is water."""
    water = jumped(JUMP_PH + 0.05, works=0.1)
    assert kinds(water.dose(16.0)) == {Surprise.LITTLE_EFFECT}
    assert not water.effects.unproven


@pytest.mark.parametrize(("by_ph", "unproven"), [(JUMP_PH - 0.05, False), (JUMP_PH + 0.05, True), (-0.6, True)])
def test_only_a_far_jump_has_to_be_proven(by_ph: float, unproven: bool) -> None:
    """By a smaller one no reading is wrong by much."""
    assert jumped(by_ph).effects.unproven is unproven


def test_a_jump_that_a_person_told_of_needs_no_proof() -> None:
    """While people are only at work it stays as it is."""
    water = jumped(JUMP_PH + 0.05)
    assert forget(water.effects).unproven
    assert not poured(water.effects, water.at_s).unproven
