"""The peristaltic pump: mL to seconds to a run."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.keeper import MAX_RUN_S
from drivers.keeping import KeeperHere
from drivers.pump import PeristalticPump
from drivers.pump_run import Ended
from tests.drivers.parts import StepRig


def pump_on(rig: StepRig, ml_per_s: float) -> PeristalticPump:
    return PeristalticPump(keeper=KeeperHere(rig.pins, rig.clock, [17]), line=17, ml_per_s=ml_per_s)


def test_delivers_ml_by_its_rate() -> None:
    """6 mL at 1.5 mL/s is 4 s on the line."""
    rig = StepRig()
    pump = pump_on(rig, 1.5)
    assert pump.run_s_for(6.0) == pytest.approx(4.0)
    report = pump.deliver(6.0)
    assert report.outcome is Ended.DONE
    assert report.ran_s == pytest.approx(4.0)
    assert [state.state for state in rig.pins.pin(17).states] == [False, True, False]


def test_the_longest_run_is_not_lost_to_a_binary_fraction() -> None:
    """What thirty seconds deliver takes thirty seconds, not a hair more, at any rate."""
    rates = [hundredths / 100.0 for hundredths in range(1, 2001)]
    assert all(pump_on(StepRig(), rate).run_s_for(rate * MAX_RUN_S) <= MAX_RUN_S for rate in rates)


@pytest.mark.parametrize("ml", [0.0, -1.0, math.nan, math.inf])
def test_refuses_a_volume_that_is_none(ml: float) -> None:
    """Zero, negative and not finite volumes never become seconds."""
    rig = StepRig()
    with pytest.raises(ValueError, match="above 0 mL"):
        pump_on(rig, 1.0).deliver(ml)
    assert not rig.pins.pin(17).state


@pytest.mark.parametrize("ml_per_s", [0.0, -1.0, math.nan, math.inf])
def test_refuses_a_rate_that_is_none(ml_per_s: float) -> None:
    """A pump without a measured rate cannot be made."""
    with pytest.raises(ValueError, match="above 0 mL/s"):
        pump_on(StepRig(), ml_per_s)


def test_a_rate_measured_anew_holds_at_once() -> None:
    """The next dose is as long as the new rate makes it; one that is none is refused, and the old one stays."""
    pump = pump_on(StepRig(), 1.0)
    pump.ml_per_s = 2.0
    assert pump.run_s_for(6.0) == pytest.approx(3.0)
    with pytest.raises(ValueError, match="above 0 mL/s"):
        pump.ml_per_s = math.nan
    assert pump.ml_per_s == 2.0


@given(st.floats(1e-6, 1e6), st.floats(1e-3, 20.0))
def test_no_volume_runs_longer_than_the_keeper_allows(ml: float, ml_per_s: float) -> None:
    """H4, H27: mL for L, or a rate off by a thousand, ends as a refused run and not as a long one."""
    rig = StepRig()
    report = pump_on(rig, ml_per_s).deliver(ml)
    if ml / ml_per_s <= MAX_RUN_S:
        assert report.outcome is Ended.DONE
    else:
        assert (report.outcome, report.ran_s) == (Ended.FAILED, 0.0)
    assert rig.time.now_s - 100.0 <= MAX_RUN_S + 1e-6
    assert not rig.pins.pin(17).state
