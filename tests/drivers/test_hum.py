"""Timing and averaging that leave no mains hum, proved through the converter; and what counts as an outlier."""

from __future__ import annotations

from collections.abc import Callable
from math import log10, pi, sin, tau
from random import Random
from statistics import stdev

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.ads1115 import Ads1115, mux_of
from drivers.hum import SET, settled, starts_s, without_outliers
from sim_hw.ads1115_chip import Ads1115Chip
from sim_hw.bus import Bus
from sim_hw.clock import BenchClock
from sim_hw.probes import mean_of_sine

HUM_V = 0.010  # far above the 125 µV of one code
STEADY_V = 1.65004  # not the middle of a code, so that the steps of the converter show
PHASES = 60


def left_of_hum_v(hz: float, conversions: int, late_s: Callable[[], float] = lambda: 0.0) -> float:
    """Root mean square of what hum of HUM_V amplitude adds to looks begun at any phase."""
    clock = BenchClock()
    clock.after_sleep = lambda: clock.spend(late_s())
    hum = Ads1115Chip(clock, [lambda end_s, lasting_s: STEADY_V + HUM_V * mean_of_sine(hz, end_s, lasting_s)] * 4)
    adc = Ads1115(i2c=Bus(clock, {0x48: hum}), clock=clock, bus_number=1, address=0x48)
    adc.volts(mux_of(0), 4.096, conversions)
    squares = 0.0
    for phase in range(PHASES):
        clock.spend((phase / PHASES / hz - clock.monotonic_s()) % (1.0 / hz))
        squares += (adc.volts(mux_of(0), 4.096, conversions).volts - STEADY_V) ** 2
    return float((squares / PHASES) ** 0.5)


def rejection_db(hz: float, conversions: int = SET, late_s: Callable[[], float] = lambda: 0.0) -> float:
    """How much less of the hum is left than in one bare conversion."""
    return 20.0 * log10(left_of_hum_v(hz, 1) / left_of_hum_v(hz, conversions, late_s))


@pytest.mark.parametrize("hz", [50.0, 60.0])
@pytest.mark.parametrize("conversions", [4, 8, 12, 16])
def test_hum_of_50_and_of_60_hz_is_rejected(hz: float, conversions: int) -> None:
    """At least 40 dB below one bare conversion, which is where the steps of the converter begin to show."""
    assert rejection_db(hz, conversions) >= 40.0


@pytest.mark.parametrize("hz", [49.5, 50.5, 59.5, 60.5])
def test_mains_a_little_fast_or_slow_is_rejected_too(hz: float) -> None:
    """Half a hertz off, more than public grids allow themselves, still 25 dB less."""
    assert rejection_db(hz) >= 25.0


@pytest.mark.parametrize(("hz", "least_db"), [(150.0, 25.0), (180.0, 25.0), (100.0, 30.0)])
def test_harmonics_are_rejected(hz: float, least_db: float) -> None:
    """The third of both, and 100 Hz as a rectifier makes it, against one bare conversion."""
    assert rejection_db(hz) >= least_db


def test_of_120_hz_the_conversion_itself_leaves_little() -> None:
    """The mean over 8 ms takes 20 dB off 120 Hz, where the four do not cancel."""
    assert 20.0 * log10(HUM_V / 2**0.5 / left_of_hum_v(120.0, SET)) >= 20.0


@pytest.mark.parametrize("hz", [50.0, 60.0])
def test_a_machine_that_sleeps_a_little_long_still_rejects_hum(hz: float) -> None:
    """Each sleep up to 0.3 ms late, as a busy small computer is: at least 20 dB."""
    random = Random(5)
    assert rejection_db(hz, late_s=lambda: random.uniform(0.0, 0.0003)) >= 20.0


def test_the_old_way_would_not_do() -> None:
    """Three conversions one after the other, 8 ms each, and their median: hum of 50 Hz passes nearly whole.

    This is what the timing is for: the same conversions without it reject less than 10 dB.
    """
    medians = []
    for phase in range(PHASES):
        three = [mean_of_sine(50.0, phase / PHASES / 50.0 + n * 0.0085, 1 / 128) for n in range(3)]
        medians.append(sorted(three)[1])
    rms = (sum(value * value for value in medians) / PHASES) ** 0.5
    bare = sin(pi * 50.0 / 128) / (pi * 50.0 / 128) / 2**0.5
    assert 20.0 * log10(bare / rms) < 10.0


def test_sets_follow_each_other_every_50_ms() -> None:
    """Four moments a set; within a set halves of 50 Hz and one and a half of 60 Hz lie between its pairs."""
    assert starts_s(6) == pytest.approx((0.0, 0.010, 0.025, 0.035, 0.050, 0.060))
    assert [sum(sin(tau * hz * at_s + 1.0) for at_s in starts_s(4)) for hz in (50.0, 60.0)] == pytest.approx(
        [0.0, 0.0], abs=1e-12
    )


@pytest.mark.parametrize("hz", [50.0, 60.0])
@given(phase=st.floats(0.0, tau), hum=st.floats(5.0, 1000.0))
def test_hum_is_never_taken_for_an_outlier(hz: float, phase: float, hum: float) -> None:
    """Whatever its phase and size, all four count: without one of them nothing would cancel."""
    four = [hum * sin(tau * hz * at_s + phase) for at_s in starts_s(4)]
    assert without_outliers(four, least_reach=4.0) == four


@pytest.mark.parametrize("place", range(4))
def test_one_outlier_in_four_is_left_out(place: int) -> None:
    """A spike of a motor in one conversion moves neither mean nor spread."""
    four = [1000.0, 1001.0, 999.0, 1000.0]
    four[place] = 5000.0
    mean, spread = settled(four, least_reach=4.0)
    assert mean == pytest.approx(1000.0, abs=0.5)
    assert spread <= 2.0


def test_two_outliers_in_four_are_noise_and_are_shown() -> None:
    """Nobody knows which half is right: all count, and the spread says so."""
    mean, spread = settled([1000.0, 1000.0, 5000.0, 5000.0], least_reach=4.0)
    assert (mean, spread) == (3000.0, 4000.0)


def test_a_step_of_the_converter_is_no_outlier() -> None:
    """Three alike and one a code off: without a least reach that one would be left out for nothing."""
    assert settled([7.0, 7.0, 7.0, 8.0], least_reach=4.0) == (7.25, 1.0)


def test_nothing_in_nothing_out() -> None:
    """An empty list has no outliers."""
    assert without_outliers([], least_reach=1.0) == []


def test_noise_comes_out_halved() -> None:
    """The mean of four halves white noise; leaving out what looks like an outlier costs less than a fifth."""
    random = Random(3)
    means = [settled([random.gauss(0.0, 40.0) for _ in range(4)], 4.0)[0] for _ in range(4000)]
    assert stdev(means) < 40.0 / 2 * 1.2
