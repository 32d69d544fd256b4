"""The converter, through the unmodified library, against a scripted chip."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.ads1115 import (
    CLIPPED_CODE,
    GAIN_OF_FULL_SCALE_V,
    MUX_OF_PAIR,
    SAMPLE_WITHIN_S,
    TRANSACTIONS_PER_CONVERSION,
    Ads1115,
    Chips,
    mux_of,
)
from drivers.probe import AdcError, Fault
from tests.drivers.parts import ScriptedBus, StepClock, StepRig


def chip_with(codes: list[int]) -> tuple[Ads1115, ScriptedBus]:
    clock = StepClock()
    bus = ScriptedBus(clock, codes)
    return Ads1115(i2c=bus, clock=clock, bus_number=1, address=0x48), bus


def test_gives_the_median_and_the_spread() -> None:
    """Of three conversions the middle one counts, and their spread is told."""
    chip, _ = chip_with([16000, 8000, 8016])
    look = chip.volts(mux_of(0), 4.096)
    assert look.volts == pytest.approx(8016 * 0.125e-3)
    assert look.spread_v == pytest.approx(8000 * 0.125e-3)
    assert not look.clipped


# ADS1115 data sheet (TI SBAS444), table of full-scale ranges and LSB sizes.
@pytest.mark.parametrize(
    ("full_scale_v", "lsb_uv"),
    [(6.144, 187.5), (4.096, 125.0), (2.048, 62.5), (1.024, 31.25), (0.512, 15.625), (0.256, 7.8125)],
)
@pytest.mark.parametrize("code", [-31999, -1, 0, 1, 12345])
def test_a_code_is_worth_what_the_data_sheet_says(full_scale_v: float, lsb_uv: float, code: int) -> None:
    """One code is the published LSB size of the range, below zero as above."""
    chip, _ = chip_with([code])
    assert chip.volts(mux_of(2), full_scale_v).volts == pytest.approx(code * lsb_uv * 1e-6)


@pytest.mark.parametrize(
    ("codes", "clipped"),
    [
        ([31999], False),
        ([32000], True),
        ([32767], True),
        ([-31999], False),
        ([-32000], True),
        ([-32768], True),
        ([100, 100, 32767], True),
    ],
)
def test_tells_clipping_at_either_end(codes: list[int], clipped: bool) -> None:
    """From 32000 of 32767 codes on, any one conversion makes the look clipped."""
    chip, _ = chip_with(codes)
    assert chip.volts(mux_of(0), 4.096).clipped is clipped
    assert CLIPPED_CODE == 32000


@given(st.lists(st.integers(-32768, 32767), min_size=5, max_size=5))
def test_the_median_lies_among_the_conversions(codes: list[int]) -> None:
    """Whatever five conversions give, the volts are those of the third largest."""
    chip, _ = chip_with(codes)
    assert chip.volts(mux_of(0), 2.048, 5).volts == pytest.approx(sorted(codes)[2] * 62.5e-6)


@pytest.mark.parametrize("plus", [0, 1, 2, 3])
def test_selects_a_single_input(plus: int) -> None:
    """Inputs against ground are the upper four settings of the multiplexer, single-shot, 128 a second."""
    chip, bus = chip_with([1])
    chip.volts(mux_of(plus), 4.096)
    assert bus.configs == [0x8000 | (4 + plus) << 12 | 0x0200 | 0x0100 | 0x0080 | 0x0007] * 3


@pytest.mark.parametrize(("pair", "mux"), [((0, 1), 0), ((0, 3), 1), ((1, 3), 2), ((2, 3), 3)])
def test_selects_a_pair(pair: tuple[int, int], mux: int) -> None:
    """The four pairs of the data sheet, with a signed result."""
    chip, bus = chip_with([-4])
    assert chip.volts(mux_of(*pair), 2.048).volts == pytest.approx(-4 * 62.5e-6)
    assert bus.configs[0] >> 12 & 0x7 == mux
    assert len(MUX_OF_PAIR) == 4


def test_switches_inputs_and_ranges_between_looks() -> None:
    """One chip serves inputs of different ranges in turn."""
    chip, bus = chip_with([1000])
    volts = [chip.volts(mux_of(i), v, 1).volts for i, v in ((0, 4.096), (1, 0.256), (0, 4.096))]
    assert volts == pytest.approx([0.125, 0.0078125, 0.125])
    assert [config >> 9 & 0x7 for config in bus.configs] == [1, 5, 1]
    assert set(GAIN_OF_FULL_SCALE_V) == {6.144, 4.096, 2.048, 1.024, 0.512, 0.256}


def test_a_missing_chip_is_told_at_the_first_look_with_what_to_do() -> None:
    """Making the object touches nothing; the look says which chip does not answer and where to look."""
    chip, bus = chip_with([1])
    bus.missing = True
    with pytest.raises(AdcError, match=r"0x48 on I2C bus 1 does not answer .*i2cdetect -y 1") as caught:
        chip.volts(mux_of(0), 4.096)
    assert caught.value.fault is Fault.NO_ANSWER
    assert isinstance(caught.value.__cause__, ValueError)


def test_a_chip_that_goes_is_told_and_is_used_again_when_it_is_back() -> None:
    """Lost between two looks: an OSError with its cause kept; back again: volts."""
    chip, bus = chip_with([800])
    chip.volts(mux_of(0), 4.096)
    bus.missing = True
    with pytest.raises(AdcError) as caught:
        chip.volts(mux_of(0), 4.096)
    assert caught.value.fault is Fault.NO_ANSWER
    assert isinstance(caught.value.__cause__, OSError)
    bus.missing = False
    assert chip.volts(mux_of(0), 4.096).volts == pytest.approx(0.1)


@pytest.mark.parametrize("poll_takes_s", [0.0, 0.01])
def test_a_conversion_that_never_ends_is_given_up(poll_takes_s: float) -> None:
    """The library would poll for ever: on a clock that stands still the count ends it, else the deadline."""
    chip, bus = chip_with([1])
    chip.volts(mux_of(0), 4.096)
    bus.never_ready, bus.poll_takes_s = True, poll_takes_s
    began_s = bus.clock.now_s
    with pytest.raises(AdcError, match="does not finish a conversion") as caught:
        chip.volts(mux_of(0), 4.096)
    assert caught.value.fault is Fault.TIMED_OUT
    assert bus.transactions < 3 * TRANSACTIONS_PER_CONVERSION + 100
    assert bus.clock.now_s - began_s <= SAMPLE_WITHIN_S + 2 * poll_takes_s


def test_a_bus_that_another_holds_is_given_up() -> None:
    """A lock that never comes is a time-out, not a hang."""
    chip, bus = chip_with([1])
    bus.lock_taken, bus.poll_takes_s = True, 0.01
    with pytest.raises(AdcError) as caught:
        chip.volts(mux_of(0), 4.096)
    assert caught.value.fault is Fault.TIMED_OUT


@pytest.mark.parametrize("opened", [False, True])
def test_a_data_line_held_high_is_no_zero_volts(opened: bool) -> None:
    """Every register then reads 0xFFFF, code -1, which is a plausible 0 V; the configuration gives it away."""
    chip, bus = chip_with([8000])
    if opened:
        chip.volts(mux_of(0), 4.096)
    bus.line_high = True
    with pytest.raises(AdcError, match="0xffff") as caught:
        chip.volts(mux_of(0), 4.096)
    assert caught.value.fault is Fault.READ_BACK


@pytest.mark.parametrize("mux", [mux_of(0), mux_of(0, 1)])
def test_a_brown_out_in_mid_conversion_is_no_zero_volts(mux: int) -> None:
    """A chip that restarted reads 0 V; even where our settings equal its power-on ones it is told apart."""
    chip, bus = chip_with([8000])
    bus.brown_out_after = 2
    with pytest.raises(AdcError, match="0x8583") as caught:
        chip.volts(mux, 2.048)
    assert caught.value.fault is Fault.READ_BACK
    bus.brown_out_after = None
    assert chip.volts(mux, 2.048).volts == pytest.approx(0.5)


def test_reading_back_costs_one_transaction_a_look() -> None:
    """Three conversions of write, three polls and a read, and one look at the configuration."""
    chip, bus = chip_with([1])
    chip.volts(mux_of(0), 4.096)
    before = bus.transactions
    chip.volts(mux_of(0), 4.096)
    assert bus.transactions - before == 3 * (1 + 3 + 1) + 1


def test_probes_of_one_address_share_a_chip_and_a_bus() -> None:
    """The same address on the same bus is the same object; the rig is asked for each bus by number."""
    rig = StepRig()
    chips = Chips(rig)
    assert chips.at(1, 0x48) is chips.at(1, 0x48)
    assert chips.at(1, 0x49) is not chips.at(1, 0x48)
    assert chips.at(3, 0x48) is not chips.at(1, 0x48)
    assert set(rig.buses_asked) == {1, 3}
