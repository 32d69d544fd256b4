"""The claims on the grid of faults, each lived through."""

from __future__ import annotations

import pytest

from tests.faulty.grid import CASES, Case, befallen

SLOW_DRIFT = "drifting"
AT_MOST_S = 2400.0  # a cracked bulb that happens to read what the water is


@pytest.mark.parametrize("needed", [True, False], ids=["acid needed", "pH right"])
@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_a_fault_is_found_before_a_second_wrong_dose(case: Case, needed: bool) -> None:
    """One dose on a grossly wrong reading at most; a slow drift is beyond one probe."""
    outcome = befallen(case, needed=needed)
    if SLOW_DRIFT in case.name:
        return
    assert outcome.wrong <= 1
    if case.found:
        assert outcome.delay_s is not None
        assert outcome.delay_s <= AT_MOST_S
        assert outcome.alarm
