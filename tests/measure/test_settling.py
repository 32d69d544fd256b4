"""Whether a probe in a standard has come to rest."""

from __future__ import annotations

from collections.abc import Sequence
from math import inf, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.measure.settling import WINDOW, WINDOW_S, Seen, Settling, allowed, newest, settle
from daemon.values import Quantity

EVERY_S = 10.0
BOTH_SIDES = [  # quantity, mean of the window, the spread and the drift per minute allowed around it
    (Quantity.PH, 177.0, 3.0, 1.5),  # 3 mV are 0.05 pH
    (Quantity.EC, 1.4, 0.028, 0.014),  # 2 %
    (Quantity.EC, 0.05, 0.005, 0.0025),  # weak standards: 5 µS
    (Quantity.TEMPERATURE, 20.0, 0.3, 0.2),
    (Quantity.LEVEL, 0.5, 0.02, 0.01),
]


def seen(signals: Sequence[float], every_s: float = EVERY_S) -> list[Seen]:
    """One sample after the other."""
    return [Seen(1000.0 + every_s * place, signal) for place, signal in enumerate(signals)]


def window(mean: float, spread: float) -> list[Seen]:
    """A full window of that mean, its lowest and highest that far apart in its middle, so that nothing drifts."""
    signals = [mean] * WINDOW
    signals[1], signals[2], signals[3], signals[4] = (mean + s * spread / 2 for s in (1, -1, -1, 1))
    return seen(signals)


def drifting(mean: float, per_min: float) -> list[Seen]:
    """A full window that moves steadily."""
    return seen([mean + per_min * (EVERY_S * place / 60.0) for place in range(WINDOW)])


def test_nothing_seen_is_not_settled() -> None:
    """And there is no mean to show."""
    assert settle(Quantity.PH, []) == Settling(False, 0)


def test_a_full_window_is_needed() -> None:
    """One sample less is not settled, however still."""
    assert not settle(Quantity.PH, seen([5.0] * (WINDOW - 1))).settled
    assert settle(Quantity.PH, seen([5.0] * WINDOW)) == Settling(True, WINDOW, 5.0, 0.0, 3.0, 0.0, 1.5, 50.0)


@pytest.mark.parametrize(("every_s", "samples"), [(1.0, 46), (5.0, 10), (10.0, WINDOW), (60.0, WINDOW)])
def test_a_window_spans_three_quarters_of_a_minute_at_any_pace(every_s: float, samples: int) -> None:
    """As many samples as that needs, and never fewer than six; a sample less is not settled."""
    rest = settle(Quantity.PH, seen([5.0] * 60, every_s))
    assert (rest.settled, rest.samples) == (True, samples)
    assert rest.span_s >= WINDOW_S
    assert not settle(Quantity.PH, seen([5.0] * (samples - 1), every_s)).settled


@pytest.mark.parametrize(("quantity", "mean", "spread", "_per_min"), BOTH_SIDES)
def test_a_spread_just_within_settles_and_just_beyond_does_not(
    quantity: Quantity, mean: float, spread: float, _per_min: float
) -> None:
    """By quantity, for either sign of the signal."""
    for sign in (1.0, -1.0):
        assert allowed(quantity, sign * mean).spread == pytest.approx(spread)
        assert settle(quantity, window(sign * mean, 0.99 * spread)).settled
        assert not settle(quantity, window(sign * mean, 1.01 * spread)).settled


@pytest.mark.parametrize(("quantity", "mean", "_spread", "per_min"), BOTH_SIDES)
def test_a_drift_just_within_settles_and_just_beyond_does_not(
    quantity: Quantity, mean: float, _spread: float, per_min: float
) -> None:
    """Though what it moves within the window is allowed: an electrode that creeps has not come to rest."""
    for sign in (1.0, -1.0):
        inside = settle(quantity, drifting(mean, 0.98 * sign * per_min))
        beyond = settle(quantity, drifting(mean, 1.03 * sign * per_min))
        assert (inside.settled, beyond.settled) == (True, False)
        assert beyond.drift_per_min == pytest.approx(1.03 * sign * per_min)
        assert beyond.spread is not None
        assert beyond.spread < allowed(quantity, mean).spread


def test_only_the_newest_samples_count() -> None:
    """What the probe said on its way is forgotten."""
    on_its_way = [100.0, 50.0, 20.0]
    assert settle(Quantity.PH, seen(on_its_way + [5.0] * WINDOW)).settled
    assert not settle(Quantity.PH, seen([5.0] * WINDOW + on_its_way)).settled


@pytest.mark.parametrize("place", range(WINDOW))
@pytest.mark.parametrize("wrong", [nan, inf, -inf])
@pytest.mark.parametrize("quantity", [Quantity.PH, Quantity.EC])
def test_no_number_never_settles(quantity: Quantity, wrong: float, place: int) -> None:
    """Wherever in the window it stands."""
    signals = [1.4] * WINDOW
    signals[place] = wrong
    assert not settle(quantity, seen(signals)).settled


def test_samples_of_one_moment_never_settle() -> None:
    """A clock that stands tells no drift."""
    assert not settle(Quantity.PH, [Seen(7.0, 5.0)] * WINDOW).settled


@given(
    st.lists(st.floats(-500.0, 500.0), min_size=WINDOW, max_size=3 * WINDOW), st.sampled_from([1.0, 10.0, 60.0])
)
def test_settled_means_that_no_two_of_the_window_are_far_apart(signals: list[float], every_s: float) -> None:
    """For any signals, and the mean lies between them."""
    rest = settle(Quantity.PH, seen(signals, every_s))
    inside = [one.signal for one in newest(seen(signals, every_s))]
    assert not rest.settled or all(abs(a - b) <= 3.0 for a in inside for b in inside)
    assert rest.mean is not None
    assert min(inside) - 1e-9 <= rest.mean <= max(inside) + 1e-9
