"""The bench's clock."""

from __future__ import annotations

import time
from datetime import UTC, datetime, timedelta

import pytest

from sim_hw.clock import BenchClock

START = datetime(2026, 5, 2, 3, 4, tzinfo=UTC)


def test_a_stepped_clock_moves_by_sleep_alone() -> None:
    """A fortnight's sleep returns at once and both clocks have moved by it."""
    clock = BenchClock(0.0, START)
    began = time.monotonic()
    clock.sleep(14 * 86400.0)
    assert time.monotonic() - began < 1.0
    assert clock.monotonic_s() == 14 * 86400.0
    assert clock.utc() == START + timedelta(days=14)


def test_spending_moves_a_stepped_clock_only() -> None:
    """A bus transaction takes bench time when stepped; a running clock runs by itself."""
    stepped, running = BenchClock(0.0), BenchClock(1.0)
    stepped.spend(0.5)
    running.spend(1000.0)
    assert stepped.monotonic_s() == 0.5
    assert abs(running.monotonic_s() - time.monotonic()) < 1.0


def test_a_running_clock_is_faster_by_its_factor() -> None:
    """At factor 500, five bench seconds of sleep take ten real milliseconds and show as five seconds."""
    clock = BenchClock(500.0)
    before_s, before_utc, began = clock.monotonic_s(), clock.utc(), time.monotonic()
    clock.sleep(5.0)
    took_s = time.monotonic() - began
    assert took_s < 1.0
    assert 5.0 <= clock.monotonic_s() - before_s <= 500.0 * (took_s + 0.01)
    assert clock.utc() - before_utc >= timedelta(seconds=5)


def test_a_running_clock_starts_at_the_real_now() -> None:
    """Its records carry the day that a person at the bench has."""
    assert abs(BenchClock(60.0, START).utc() - datetime.now(UTC)) < timedelta(minutes=5)


def test_at_factor_one_it_is_the_machines_own_clock() -> None:
    """Another process that writes CLOCK_MONOTONIC is understood, and the boot is the machine's."""
    clock = BenchClock(1.0)
    assert abs(clock.monotonic_s() - time.monotonic()) < 0.5
    assert clock.boot_id() == BenchClock(1.0).boot_id()


def test_a_stepped_clock_is_a_boot_of_its_own() -> None:
    """Two benches that both count from zero must not pass for one boot."""
    assert BenchClock(0.0).boot_id() != BenchClock(0.0).boot_id()


def test_sleeping_backwards_does_nothing() -> None:
    """A pass that took too long asks for a negative sleep."""
    clock = BenchClock(0.0)
    clock.sleep(-5.0)
    assert clock.monotonic_s() == 0.0


def test_after_each_sleep_somebody_is_told() -> None:
    """What a person would see is brought up to date."""
    clock, told = BenchClock(0.0), []
    clock.after_sleep = lambda: told.append(clock.monotonic_s())
    clock.sleep(3.0)
    clock.sleep(4.0)
    assert told == [3.0, 7.0]


@pytest.mark.parametrize("factor", [-1.0, float("nan"), float("inf")])
def test_a_factor_that_is_none_is_refused(factor: float) -> None:
    """Time neither stands on its head nor runs without end."""
    with pytest.raises(ValueError, match="time_factor"):
        BenchClock(factor)
