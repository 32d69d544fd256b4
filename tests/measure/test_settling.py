"""Whether a probe in a standard has come to rest."""

from __future__ import annotations

from math import inf, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.measure.settling import WINDOW, Settling, allowed_spread, settle
from daemon.values import Quantity

BOTH_SIDES = [  # quantity, mean of the window, the spread allowed around it
    (Quantity.PH, 177.0, 3.0),  # 3 mV are 0.05 pH
    (Quantity.EC, 1.4, 0.028),  # 2 %
    (Quantity.EC, 0.05, 0.005),  # weak standards: 5 µS
    (Quantity.TEMPERATURE, 20.0, 0.3),
]


def window(mean: float, spread: float) -> list[float]:
    """A full window of that mean, its lowest and highest that far apart."""
    return [mean - spread / 2, mean + spread / 2, *[mean] * (WINDOW - 2)]


def test_nothing_seen_is_not_settled() -> None:
    """And there is no mean to show."""
    assert settle(Quantity.PH, []) == Settling(False, 0, None, None, None)


def test_a_full_window_is_needed() -> None:
    """One sample less is not settled, however still."""
    assert not settle(Quantity.PH, [5.0] * (WINDOW - 1)).settled
    assert settle(Quantity.PH, [5.0] * WINDOW) == Settling(True, WINDOW, 5.0, 0.0, 3.0)


@pytest.mark.parametrize(("quantity", "mean", "allowed"), BOTH_SIDES)
def test_a_spread_just_within_settles_and_just_beyond_does_not(
    quantity: Quantity, mean: float, allowed: float
) -> None:
    """By quantity, for either sign of the signal."""
    for sign in (1.0, -1.0):
        assert allowed_spread(quantity, sign * mean) == pytest.approx(allowed)
        assert settle(quantity, window(sign * mean, 0.99 * allowed)).settled
        assert not settle(quantity, window(sign * mean, 1.01 * allowed)).settled


def test_only_the_newest_samples_count() -> None:
    """What the probe said on its way is forgotten."""
    on_its_way = [100.0, 50.0, 20.0]
    assert settle(Quantity.PH, on_its_way + [5.0] * WINDOW).settled
    assert not settle(Quantity.PH, [5.0] * WINDOW + on_its_way).settled


@pytest.mark.parametrize("place", range(WINDOW))
@pytest.mark.parametrize("wrong", [nan, inf, -inf])
@pytest.mark.parametrize("quantity", [Quantity.PH, Quantity.EC])
def test_no_number_never_settles(quantity: Quantity, wrong: float, place: int) -> None:
    """Wherever in the window it stands."""
    signals = [1.4] * WINDOW
    signals[place] = wrong
    assert not settle(quantity, signals).settled


@given(st.lists(st.floats(-500.0, 500.0), min_size=WINDOW, max_size=3 * WINDOW))
def test_settled_means_that_no_two_of_the_window_are_far_apart(signals: list[float]) -> None:
    """For any signals, and the mean lies between them."""
    rest = settle(Quantity.PH, signals)
    newest = signals[-WINDOW:]
    assert rest.settled is all(abs(a - b) <= 3.0 for a in newest for b in newest)
    assert rest.mean is not None
    assert min(newest) - 1e-9 <= rest.mean <= max(newest) + 1e-9
