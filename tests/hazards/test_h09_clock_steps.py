"""H9: the wall clock steps by years or an hour, or the box restarts a hundred times a day without a network.

The whole program, kept honest by the edges of its pump line on the bench's own time: no hour and no 24 h of real
time hold more than their caps, and an allowance does come back once it is proven that its time has passed.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from itertools import cycle
from random import Random

import pytest

from tests.hazards.ground import (
    DAY_CAP_ML,
    HOUR_CAP_ML,
    PASS_S,
    PASSES_TO_A_DOSE,
    Ground,
    given_ml,
    says_too_little,
)

ALL = os.environ.get("EVENWATER_ALL") == "1"
HOUR_S, DAY_S = 3600.0, 86400.0
TEN_YEARS_S = 3652 * DAY_S
STEPS_S = (TEN_YEARS_S, -TEN_YEARS_S, HOUR_S, -HOUR_S)
A_DAY_PASSES = round(DAY_S / PASS_S)
RESTARTS_A_DAY = 100


@pytest.fixture
def ground() -> Iterator[Ground]:
    """One reservoir that always asks for acid."""
    ground = Ground()
    yield ground
    ground.close()


def allowance_comes_back(ground: Ground) -> bool:
    """Whether a day of uptime brings a new day's allowance; the last of it within that day and a little more."""
    before_ml = given_ml(ground.runs(), 0.0)
    ground.passes(A_DAY_PASSES + 200)
    return given_ml(ground.runs(), 0.0) - before_ml >= DAY_CAP_ML - 0.1


def must_hold(ground: Ground) -> None:
    """Real windows within their caps, and a ledger that says at least what is true."""
    assert ground.violations() == []
    assert says_too_little(ground.spent(), ground.runs(), ground.real_s) == []


@pytest.mark.parametrize("trusted", [False, True])
@pytest.mark.parametrize("step_s", STEPS_S)
def test_a_step_of_the_wall_clock_in_a_boot_frees_nothing(ground: Ground, step_s: float, trusted: bool) -> None:
    """There and back, at once after the day's cap is spent and again every hour, believed or not."""
    ground.start(trusted=trusted)
    ground.passes(200)
    assert given_ml(ground.runs(), 0.0) == pytest.approx(DAY_CAP_ML, abs=0.1)
    for hour in range(8):
        ground.clock.error_s = 0.0 if hour % 2 else step_s
        ground.passes(PASSES_TO_A_DOSE)
        must_hold(ground)
        ground.clock.sleep(HOUR_S - PASSES_TO_A_DOSE * PASS_S)
    assert given_ml(ground.runs(), 0.0) == pytest.approx(DAY_CAP_ML, abs=0.1)


@pytest.mark.parametrize("seed", range(1, 11 if ALL else 2))
def test_a_hundred_restarts_a_day_without_a_network(ground: Ground, seed: int) -> None:
    """Any wall time at each start, kills among the ends; then a day of uptime brings a new allowance."""
    chance = Random(seed)
    ends, began_s = (ground.stop, ground.die), ground.real_s
    for _ in range(RESTARTS_A_DAY):
        ground.start(error_s=chance.choice((0.0, *STEPS_S)))
        must_hold(ground)
        ground.passes(chance.choice((1, 9, 20)))
        must_hold(ground)
        chance.choice(ends)()
        ground.off(chance.choice((0.0, 10.0, 600.0)))
    assert ground.real_s - began_s < 1.2 * DAY_S
    assert given_ml(ground.runs(), 0.0) > HOUR_CAP_ML
    ground.start()
    assert allowance_comes_back(ground)
    must_hold(ground)


def test_nights_off_without_a_network_prove_nothing(ground: Ground) -> None:
    """Four days of which the box is on for an hour and a half each: what is not proven is not given."""
    errors_s = cycle(STEPS_S)
    for _ in range(4):
        ground.start(error_s=next(errors_s))
        ground.passes(90)
        must_hold(ground)
        ground.die()
        ground.off(DAY_S - 90 * PASS_S)
    assert given_ml(ground.runs(), 0.0) <= DAY_CAP_ML + 0.1


def test_nights_off_with_a_network_bring_the_allowance_back(ground: Ground) -> None:
    """The same four days with a wall clock that is synchronised on both sides of each night."""
    for day in range(4):
        ground.start(trusted=True, error_s=5.0 * (-1) ** day)
        ground.passes(90)
        must_hold(ground)
        ground.die()
        ground.off(DAY_S - 90 * PASS_S)
    assert given_ml(ground.runs(), 0.0) > 2 * DAY_CAP_ML


def test_a_network_that_comes_and_goes(ground: Ground) -> None:
    """Sixty restarts: synchronised or anything at all, also within a boot, with hours off in between."""
    chance = Random(3)
    for _ in range(60):
        trusted = chance.random() < 0.5
        ground.start(trusted=trusted, error_s=chance.uniform(-20.0, 20.0) if trusted else chance.choice(STEPS_S))
        ground.passes(PASSES_TO_A_DOSE)
        if chance.random() < 0.5:
            ground.clock.trusted, ground.clock.error_s = True, chance.uniform(-20.0, 20.0)
            ground.passes(PASSES_TO_A_DOSE)
            ground.clock.error_s = chance.choice((ground.clock.error_s, *STEPS_S))
            ground.passes(5)
        must_hold(ground)
        ground.die()
        ground.off(chance.choice((0.0, 600.0, 5 * HOUR_S, 20 * HOUR_S)))
    assert given_ml(ground.runs(), 0.0) > 2 * DAY_CAP_ML
