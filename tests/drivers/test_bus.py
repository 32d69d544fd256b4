"""The bus whose transactions run out."""

from __future__ import annotations

import math

import pytest

from drivers.bus import BusTimeout, DeadlineBus
from tests.drivers.parts import ScriptedBus, StepClock


@pytest.fixture
def clock() -> StepClock:
    return StepClock()


@pytest.fixture
def bus(clock: StepClock) -> DeadlineBus:
    return DeadlineBus(ScriptedBus(clock, [0]), clock)


def test_nothing_is_allowed_before_an_allowance(bus: DeadlineBus) -> None:
    """A bus that was not given an allowance refuses the first transaction."""
    with pytest.raises(BusTimeout):
        bus.try_lock()


def test_counts_transactions_where_time_stands_still(bus: DeadlineBus) -> None:
    """With a clock that does not move, the number of transactions is what ends a poll."""
    bus.allow(within_s=1.0, transactions=3)
    assert [bus.try_lock() for _ in range(3)] == [True, True, True]
    with pytest.raises(BusTimeout, match="number of transactions"):
        bus.try_lock()


@pytest.mark.parametrize(("later_s", "passes"), [(0.999, True), (1.0, True), (1.001, False), (math.nan, False)])
def test_ends_at_the_deadline(clock: StepClock, bus: DeadlineBus, later_s: float, passes: bool) -> None:
    """A transaction may begin up to the deadline and not after it, nor at a time that is no number."""
    bus.allow(within_s=1.0, transactions=3)
    clock.now_s += later_s
    if passes:
        assert bus.try_lock()
    else:
        with pytest.raises(BusTimeout, match="allowed time"):
            bus.try_lock()


def test_a_lock_that_never_comes_runs_out(clock: StepClock) -> None:
    """Waiting for a lock that another holds spends the allowance too."""
    inner = ScriptedBus(clock, [0])
    inner.lock_taken = True
    bus = DeadlineBus(inner, clock)
    bus.allow(within_s=1.0, transactions=50)
    assert [bus.try_lock() for _ in range(50)] == [False] * 50
    with pytest.raises(BusTimeout):
        bus.try_lock()


def test_is_no_oserror(bus: DeadlineBus) -> None:
    """The ADC library swallows an OSError while it looks for the chip; running out must pass through it."""
    assert not issubclass(BusTimeout, OSError)
