"""When was water last added?"""

from __future__ import annotations

from math import inf, nan
from random import Random

import pytest

from daemon.dose.inflow import RISE_SHARE, Inflow, follow, since_rise_s


def seen(*shares: float, every_s: float = 10.0) -> Inflow:
    """The state after these looks, the last at (count - 1) * every_s."""
    inflow = Inflow()
    for count, share in enumerate(shares):
        inflow = follow(inflow, share, count * every_s)
    return inflow


def test_the_first_look_is_no_rise() -> None:
    """Whatever the level is at a start."""
    assert since_rise_s(seen(0.9), 100.0) is None


@pytest.mark.parametrize(
    ("to", "rises"), [(0.5 + RISE_SHARE - 0.001, False), (0.5 + RISE_SHARE, True), (1.0, True)]
)
def test_a_rise_is_noticed_at_once(to: float, rises: bool) -> None:
    """From three hundredths of the volume up."""
    assert since_rise_s(seen(0.5, to), 15.0) == (5.0 if rises else None)


def test_a_slow_refill_counts_until_its_end() -> None:
    """A thin hose, a tenth of a percent a pass: the last rise noticed lies less than three hundredths back."""
    inflow = seen(*(0.5 + 0.001 * step for step in range(301)))
    assert since_rise_s(inflow, 3000.0) is not None
    assert 3000.0 - inflow.rose_s <= 10.0 * RISE_SHARE / 0.001


def test_waves_and_a_sinking_level_are_no_rise() -> None:
    """A day of noise of half a percent while plants drink."""
    random = Random(1)
    levels = (1.0 - 0.02 * step / 8640 + random.uniform(-0.01, 0.01) for step in range(8640))
    assert since_rise_s(seen(*levels), 86400.0) is None


def test_a_float_switch_that_comes_up_is_a_rise() -> None:
    """From low to enough; going down is none."""
    assert since_rise_s(seen(1.0, 0.0), 20.0) is None
    assert since_rise_s(seen(1.0, 0.0, 1.0), 20.0) == 0.0


@pytest.mark.parametrize("share", [nan, inf, -inf])
def test_what_is_no_number_changes_nothing(share: float) -> None:
    """The state stays as it is."""
    inflow = seen(0.5, 0.9)
    assert follow(inflow, share, 99.0) == inflow


def test_rises_add_up() -> None:
    """Filled from 0.5 to 0.9, drunk to 0.8, filled to 1.0: 0.6 of the reservoir is fresh."""
    assert seen(0.5, 0.51, 0.5, 0.9, 0.8, 1.0).risen == pytest.approx(0.6)
    assert seen(1.0, 0.9, 0.8).risen == 0.0
