"""The simulated converter, read by the unmodified adafruit_ads1x15.

Expected values follow from the ADS1115 data sheet (TI SBAS444): power-on registers, full scales, one count being
full scale / 32768, conversion time 1 / data rate.
"""

from __future__ import annotations

import time
from collections.abc import Sequence

import pytest
from adafruit_ads1x15.ads1115 import ADS1115
from adafruit_ads1x15.analog_in import AnalogIn
from hypothesis import given
from hypothesis import strategies as st

from sim_hw.ads1115_chip import Ads1115Chip, code_from_volts
from sim_hw.bus import Bus
from sim_hw.clock import BenchClock

FULL_SCALE_V = {2 / 3: 6.144, 1: 4.096, 2: 2.048, 4: 1.024, 8: 0.512, 16: 0.256}
PAIRS = [(0, 1), (0, 3), (1, 3), (2, 3)]
CONFIG = 1


def wired(*volts: float, clock: BenchClock | None = None) -> tuple[Ads1115Chip, Bus, BenchClock]:
    """A chip at 0x48 with these volts at its inputs."""
    clock = clock or BenchClock(0.0)
    chip = Ads1115Chip(clock, [lambda now_s, lasting_s, v=v: v for v in volts])  # type: ignore[misc]
    return chip, Bus(clock, {0x48: chip}), clock


def config_of(bus: Bus) -> int:
    """The configuration register, as the bus reads it."""
    got = bytearray(2)
    bus.writeto_then_readfrom(0x48, bytes([CONFIG]), got)
    return int.from_bytes(got, "big")


@pytest.mark.parametrize("gain", FULL_SCALE_V)
@pytest.mark.parametrize("pin", range(4))
def test_every_pin_reads_its_volts_at_every_gain(gain: float, pin: int) -> None:
    """The library gives the volts that stand at a pin, within one count."""
    full_scale_v = FULL_SCALE_V[gain]
    volts = [full_scale_v * share for share in (0.11, 0.37, 0.62, 0.93)]
    _, bus, _ = wired(*volts)
    read = AnalogIn(ADS1115(bus, gain=gain), pin).voltage
    assert read == pytest.approx(volts[pin], abs=full_scale_v / 32768)


@pytest.mark.parametrize("gain", FULL_SCALE_V)
@pytest.mark.parametrize("pair", PAIRS)
def test_every_pair_reads_its_signed_difference(gain: float, pair: tuple[int, int]) -> None:
    """A difference comes with its sign: two's complement is read back right."""
    full_scale_v = FULL_SCALE_V[gain]
    volts = [full_scale_v * share for share in (0.2, 0.9, 0.1, 0.55)]
    _, bus, _ = wired(*volts)
    read = AnalogIn(ADS1115(bus, gain=gain), *pair).voltage
    assert read == pytest.approx(volts[pair[0]] - volts[pair[1]], abs=full_scale_v / 32768)


@pytest.mark.parametrize(("volts", "code"), [(5.0, 32767), (4.096, 32767), (-5.0, -32768), (0.0, 0)])
def test_beyond_the_range_the_code_stays_at_its_end(volts: float, code: int) -> None:
    """7FFFh and 8000h are the ends, however far beyond the voltage is."""
    _, bus, _ = wired(volts, 0.0, 0.0, 0.0)
    assert ADS1115(bus, gain=1).read(4) == code


def test_just_below_zero_is_minus_one_count() -> None:
    """The sign near 0 V: one count below is FFFFh, not 65535."""
    _, bus, _ = wired(0.0, 4.096 / 32768, 0.0, 0.0)
    assert ADS1115(bus, gain=1).read(0) == -1


@given(st.floats(-10.0, 10.0), st.sampled_from(sorted(FULL_SCALE_V.values())))
def test_codes_stay_in_range_and_within_half_a_count(volts: float, full_scale_v: float) -> None:
    """Any voltage gives a 16-bit code, and inside the range the nearest one."""
    code = code_from_volts(volts, full_scale_v)
    assert -32768 <= code <= 32767
    if abs(volts) < full_scale_v * 32766 / 32768:
        assert abs(code * full_scale_v / 32768 - volts) <= full_scale_v / 65536 * (1 + 1e-9)


@pytest.mark.parametrize("times", [0.98, 1.02])
def test_a_drifted_reference_makes_every_code_off_alike(times: float) -> None:
    """At every input and range; the ends stay where they are."""
    chip, bus, _ = wired(1.0, 2.5, 0.0, 4.2)
    chip.codes_times = times
    for gain in (2 / 3, 1):
        read = [AnalogIn(ADS1115(bus, gain=gain), pin).voltage for pin in (0, 1, 2)]
        assert read == pytest.approx([times, 2.5 * times, 0.0], abs=FULL_SCALE_V[gain] / 32768)
    assert ADS1115(bus, gain=1).read(7) == 32767


def test_power_on_registers_are_the_data_sheets() -> None:
    """Configuration 8583h, thresholds 8000h and 7FFFh, conversion 0."""
    _, bus, _ = wired(1.0, 1.0, 1.0, 1.0)
    got = []
    for pointer in range(4):
        value = bytearray(2)
        bus.writeto_then_readfrom(0x48, bytes([pointer]), value)
        got.append(int.from_bytes(value, "big"))
    assert got == [0x0000, 0x8583, 0x8000, 0x7FFF]


@pytest.mark.parametrize("rate", [8, 16, 32, 64, 128, 250, 475, 860])
def test_a_conversion_takes_one_period_of_its_rate(rate: int) -> None:
    """Bench time passes with each conversion: the period, and what its three transactions take on the bus."""
    _, bus, clock = wired(1.0, 1.0, 1.0, 1.0)
    ads = ADS1115(bus, data_rate=rate)
    before_s = clock.monotonic_s()
    ads.read(4)
    assert 1.0 / rate <= clock.monotonic_s() - before_s <= 1.0 / rate + 0.0005


def test_stepped_one_conversion_costs_three_transactions() -> None:
    """A look at a busy chip lasts until it is ready: one write, one look, one reading."""
    _, bus, _ = wired(1.0, 1.0, 1.0, 1.0)
    ads, locks = ADS1115(bus), []
    take = bus.try_lock
    bus.try_lock = lambda: locks.append(1) or take()  # type: ignore[method-assign, func-returns-value]
    ads.read(4)
    assert len(locks) == 3


def test_on_a_running_clock_the_busy_bit_is_really_polled() -> None:
    """At real time the chip says busy again and again until its 8 ms are over."""
    _, bus, _ = wired(1.0, 1.0, 1.0, 1.0, clock=BenchClock(1.0))
    ads, looks = ADS1115(bus), []
    give = bus.writeto_then_readfrom
    bus.writeto_then_readfrom = lambda *a, **k: looks.append(1) or give(*a, **k)  # type: ignore[method-assign, func-returns-value]
    began = time.monotonic()
    ads.read(4)
    assert time.monotonic() - began >= 1 / 128
    assert len(looks) > 5


def test_on_a_sped_up_clock_a_conversion_takes_as_long_on_the_bench_and_less_in_truth() -> None:
    """Ten times as fast, at 8 per second: it takes a period of bench time and well under a period of ours."""
    clock = BenchClock(10.0)
    _, bus, _ = wired(1.0, 1.0, 1.0, 1.0, clock=clock)
    ads = ADS1115(bus, data_rate=8)
    ours_s = []
    for _ in range(10):  # the quickest counts: a busy machine may hold us up
        before_s, began = clock.monotonic_s(), time.monotonic()
        ads.read(4)
        assert clock.monotonic_s() - before_s >= 1 / 8
        ours_s.append(time.monotonic() - began)
    assert min(ours_s) < 1 / 16


def test_while_busy_the_old_result_stands() -> None:
    """A result read too soon is the one before, and OS reads 0."""
    volts = [1.0]
    clock = BenchClock(1000.0)
    chip = Ads1115Chip(clock, [lambda now_s, lasting_s: volts[0]] * 4)
    chip.never_ready = True
    chip.write(bytes([CONFIG, 0xC3, 0x83]))
    assert not chip.read() & 0x8000
    chip.write(bytes([0]))
    assert chip.read() == 0


def test_a_second_start_while_busy_is_ignored() -> None:
    """A start is heeded only by a chip at rest (data sheet, OS bit)."""
    chip, _, clock = wired(1.0, 2.0, 0.0, 0.0)
    chip.write(bytes([CONFIG, 0xC3, 0x83]))
    clock.spend(0.006)
    chip.write(bytes([CONFIG, 0xC3, 0x83]))
    clock.spend(0.002)
    assert chip.read() & 0x8000
    assert clock.monotonic_s() == pytest.approx(0.008)


def test_continuous_mode_converts_again_and_again() -> None:
    """In continuous mode the newest whole conversion is there, and a change shows after its period."""
    volts = [1.0]
    clock = BenchClock(0.0)
    chip = Ads1115Chip(clock, [lambda now_s, lasting_s: volts[0]] * 4)
    chip.write(bytes([CONFIG, 0x42, 0x83]))  # A0, 4.096 V, continuous, 128 conversions a second
    chip.write(bytes([0]))
    clock.spend(0.01)
    first = chip.read()
    volts[0] = 2.0
    clock.spend(0.001)
    assert chip.read() == first == 8000
    clock.spend(0.01)
    assert chip.read() == 16000


def test_a_brown_out_reads_zero_and_shows_only_in_the_configuration() -> None:
    """The library reads 0 V without an error; the register holds the power-on value."""
    chip, bus, _ = wired(1.0, 1.0, 1.0, 1.0)
    ads = ADS1115(bus)
    assert ads.read(4) == 8000
    chip.browned_out = True
    assert ads.read(4) == 0
    assert config_of(bus) == 0x8583
    chip.browned_out = False
    assert ads.read(4) == 8000


def test_a_conversion_under_way_is_lost_in_a_brown_out() -> None:
    """Its result never comes: the chip is at rest and holds 0."""
    chip, bus, clock = wired(1.0, 0.5, 1.0, 1.0)
    bus.writeto(0x48, bytes([CONFIG, 0xC3, 0x83]))
    chip.reset()
    clock.spend(0.1)
    bus.writeto(0x48, bytes([0]))
    assert chip.read() == 0


def test_a_chip_that_never_gets_ready_still_lets_time_pass() -> None:
    """A poll loop with a deadline on bench time ends after few looks."""
    chip, bus, clock = wired(1.0, 1.0, 1.0, 1.0)
    ADS1115(bus)
    chip.never_ready = True
    bus.writeto(0x48, bytes([CONFIG, 0xC3, 0x83]))
    looks = 0
    while clock.monotonic_s() < 1.0:
        assert not config_of(bus) & 0x8000
        looks += 1
    assert looks < 200


def chips(clock: BenchClock, volts: Sequence[float]) -> dict[int, Ads1115Chip]:
    """A chip at each of the four addresses, all inputs of one at the same volts."""
    return {
        0x48 + place: Ads1115Chip(clock, [lambda now_s, lasting_s, v=v: v] * 4)  # type: ignore[misc]
        for place, v in enumerate(volts)
    }


def test_four_chips_share_a_bus() -> None:
    """Each of the four addresses answers for itself."""
    clock = BenchClock(0.0)
    bus = Bus(clock, chips(clock, [0.5, 1.0, 1.5, 2.0]))
    read = [ADS1115(bus, address=address).read(4) for address in (0x48, 0x49, 0x4A, 0x4B)]
    assert read == [4000, 8000, 12000, 16000]
