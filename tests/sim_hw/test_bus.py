"""The simulated bus, as busio's callers see it."""

from __future__ import annotations

import errno

import pytest
from adafruit_ads1x15.ads1115 import ADS1115

from sim_hw.ads1115_chip import Ads1115Chip
from sim_hw.bus import Bus
from sim_hw.clock import BenchClock


@pytest.fixture
def clock() -> BenchClock:
    """A stepped clock."""
    return BenchClock(0.0)


@pytest.fixture
def bus(clock: BenchClock) -> Bus:
    """One chip at 0x48 with 1 V at every input."""
    return Bus(clock, {0x48: Ads1115Chip(clock, [lambda now_s, lasting_s: 1.0] * 4)})


def test_a_missing_chip_is_found_at_opening(bus: Bus) -> None:
    """The library raises ValueError when it opens an address that nobody answers at."""
    with pytest.raises(ValueError, match="0x49"):
        ADS1115(bus, address=0x49)


def test_a_chip_that_falls_silent_raises_as_linux_does(bus: Bus) -> None:
    """Later on the same chip gives OSError EREMOTEIO, and after coming back it reads again."""
    ads = ADS1115(bus)
    bus.chips[0x48].silent = True
    with pytest.raises(OSError, match="0x48") as caught:
        ads.read(4)
    assert caught.value.errno == errno.EREMOTEIO
    bus.chips[0x48].silent = False
    assert ads.read(4) == 8000


def test_scan_lists_who_answers(bus: Bus) -> None:
    """A silent chip is not in the list."""
    assert bus.scan() == [0x48]
    bus.chips[0x48].silent = True
    assert bus.scan() == []


def test_the_lock_is_given_once(bus: Bus) -> None:
    """A second taker waits until the first gives it back."""
    assert bus.try_lock()
    assert not bus.try_lock()
    bus.unlock()
    assert bus.try_lock()


def test_a_held_bus_refuses_and_time_passes(bus: Bus, clock: BenchClock) -> None:
    """Waiting for the lock moves a stepped clock, so that a deadline is met."""
    bus.held = True
    before_s = clock.monotonic_s()
    assert not bus.try_lock()
    assert clock.monotonic_s() > before_s


def test_a_data_line_held_high_reads_minus_one(bus: Bus) -> None:
    """Nothing raises: the code is -1, as if 0 V."""
    ads = ADS1115(bus)
    bus.line_high = True
    assert ads.read(4) == -1


def test_slices_of_buffers_are_honoured(bus: Bus) -> None:
    """start and end choose the bytes that go out and the place where bytes come in."""
    out, into = bytearray([9, 9, 1, 9]), bytearray(b"\xaa" * 5)
    bus.writeto(0x48, out, start=2, end=3)
    bus.readfrom_into(0x48, into, start=1, end=3)
    assert into == bytearray([0xAA, 0x85, 0x83, 0xAA, 0xAA])
    bus.writeto_then_readfrom(0x48, out, into, out_start=2, out_end=3, in_start=3, in_end=5)
    assert into[3:] == bytearray([0x85, 0x83])


def test_bytes_cost_their_bits_at_400_khz(bus: Bus, clock: BenchClock) -> None:
    """Nine bits for each byte and for the address."""
    bus.writeto(0x48, bytes([1, 0x85, 0x83]))
    assert clock.monotonic_s() == pytest.approx(4 * 9 / 400_000)
