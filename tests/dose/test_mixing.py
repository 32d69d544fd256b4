"""How long a dose mixes."""

from __future__ import annotations

from math import inf

from daemon.dose.mixing import mixing_after


def test_a_dose_shows_after_two_and_a_half_mixing_times_and_is_even_after_three() -> None:
    """Each takes 95 % of what is left: 0.05 to the power 2.5 is under 0.06 %."""
    assert mixing_after(1000.0, 120.0) == (1300.0, 1360.0)
    assert 0.0005 < 0.05**2.5 < 0.0006


def test_without_a_dose_there_is_nothing_to_wait_for() -> None:
    """Whatever the clock says: it may stand below zero."""
    assert mixing_after(None, 120.0) == (-inf, -inf)
