"""Which faults hold when."""

from __future__ import annotations

from math import inf

import pytest

from sim_hw.faults import Fault, FaultName, holding, next_change_s

DRY = Fault(FaultName.PROBE_DRY, "bed1/ph", 10.0, 20.0)
FAST = Fault(FaultName.PUMP_FAST, "bed1/ph_down", 15.0, size=3.0)


@pytest.mark.parametrize(("at_s", "holds"), [(9.999, False), (10.0, True), (19.999, True), (20.0, False)])
def test_a_fault_holds_from_its_start_until_before_its_end(at_s: float, holds: bool) -> None:
    """The start belongs to it, the end does not."""
    assert DRY.holds_at(at_s) is holds


def test_faults_are_found_by_target_and_name() -> None:
    """Each target has its own."""
    assert holding([DRY, FAST], 16.0) == {
        "bed1/ph": {FaultName.PROBE_DRY: DRY},
        "bed1/ph_down": {FaultName.PUMP_FAST: FAST},
    }
    assert holding([DRY, FAST], 5.0) == {}


def test_the_next_change_is_the_nearest_start_or_end() -> None:
    """After the last there is none."""
    moments = [next_change_s([DRY, FAST], at_s) for at_s in (0.0, 10.0, 15.0, 20.0)]
    assert moments == [10.0, 15.0, 20.0, inf]


def test_a_size_that_was_not_given_is_the_usual_one() -> None:
    """Zero is a size."""
    assert FAST.sized(2.0) == 3.0
    assert DRY.sized(2.0) == 2.0
    assert Fault(FaultName.PUMP_FAST, "a/b", 0.0, size=0.0).sized(2.0) == 0.0
