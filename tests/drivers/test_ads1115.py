"""The converter, through the unmodified library, against a scripted chip."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.ads1115 import (
    CLIPPED_CODE,
    GAIN_OF_FULL_SCALE_V,
    MUX_OF_PAIR,
    REFERENCE_HOLDS_S,
    SAMPLE_WITHIN_S,
    TRANSACTIONS_PER_CONVERSION,
    Ads1115,
    Chips,
    Reference,
    mux_of,
)
from drivers.probe import AdcError, Fault
from tests.drivers.parts import ScriptedBus, StepClock, StepRig


def chip_with(codes: list[int]) -> tuple[Ads1115, ScriptedBus]:
    clock = StepClock()
    bus = ScriptedBus(clock, codes)
    return Ads1115(i2c=bus, clock=clock, bus_number=1, address=0x48), bus


def test_gives_the_mean_and_the_spread_of_what_belongs_together() -> None:
    """Of four conversions one sticks out: the others' mean counts, and their spread is told."""
    chip, _ = chip_with([8000, 16000, 8016, 8014])
    look = chip.volts(mux_of(0), 4.096)
    assert look.volts == pytest.approx(8010 * 0.125e-3)
    assert look.spread_v == pytest.approx(16 * 0.125e-3)
    assert not look.clipped


def test_conversions_start_at_the_moments_at_which_hum_cancels() -> None:
    """0, 10, 25 and 35 ms; the next set 50 ms after the first."""
    clock = StepClock()
    bus = ScriptedBus(clock, [1])
    bus.poll_takes_s = 0.0005
    chip = Ads1115(i2c=bus, clock=clock, bus_number=1, address=0x48)
    chip.volts(mux_of(0), 4.096)  # opens it
    bus.started_s.clear()
    chip.volts(mux_of(0), 4.096, 8)
    apart = [at_s - bus.started_s[0] for at_s in bus.started_s]
    assert apart == pytest.approx([0.0, 0.010, 0.025, 0.035, 0.050, 0.060, 0.075, 0.085])


def test_a_late_conversion_starts_at_once_and_the_next_is_in_time_again() -> None:
    """A machine that was busy for 13 ms loses no conversion, and no time after it."""
    clock = StepClock()
    bus = ScriptedBus(clock, [1])
    chip = Ads1115(i2c=bus, clock=clock, bus_number=1, address=0x48)
    chip.volts(mux_of(0), 4.096)
    bus.started_s.clear()
    late = iter([0.013, 0.0, 0.0])
    clock.while_sleeping = lambda: setattr(clock, "now_s", clock.now_s + next(late))
    chip.volts(mux_of(0), 4.096)
    apart = [at_s - bus.started_s[0] for at_s in bus.started_s]
    assert apart == pytest.approx([0.0, 0.023, 0.025, 0.035])


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


@given(st.lists(st.integers(-32768, 32767), min_size=4, max_size=4))
def test_the_volts_lie_among_the_conversions(codes: list[int]) -> None:
    """Whatever four conversions give, the volts are between the smallest and the largest."""
    chip, _ = chip_with(codes)
    assert min(codes) - 1e-6 <= chip.volts(mux_of(0), 2.048).volts / 62.5e-6 <= max(codes) + 1e-6


@pytest.mark.parametrize("plus", [0, 1, 2, 3])
def test_selects_a_single_input(plus: int) -> None:
    """Inputs against ground are the upper four settings of the multiplexer, single-shot, 128 a second."""
    chip, bus = chip_with([1])
    chip.volts(mux_of(plus), 4.096)
    assert bus.configs == [0x8000 | (4 + plus) << 12 | 0x0200 | 0x0100 | 0x0080 | 0x0007] * 4


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
    assert bus.transactions < 4 * TRANSACTIONS_PER_CONVERSION + 100
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
    """Four conversions of write, three polls and a read, and one look at the configuration."""
    chip, bus = chip_with([1])
    chip.volts(mux_of(0), 4.096)
    before = bus.transactions
    chip.volts(mux_of(0), 4.096)
    assert bus.transactions - before == 4 * (1 + 3 + 1) + 1


def test_probes_of_one_address_share_a_chip_and_a_bus() -> None:
    """The same address on the same bus is the same object; the rig is asked for each bus by number."""
    rig = StepRig()
    chips = Chips(rig)
    assert chips.at(1, 0x48) is chips.at(1, 0x48)
    assert chips.at(1, 0x49) is not chips.at(1, 0x48)
    assert chips.at(3, 0x48) is not chips.at(1, 0x48)
    assert set(rig.buses_asked) == {1, 3}


# the reference at a spare input

FULL_CODE_V = 4.096 / 32768
PROBE_CODE = 8000


def shunt(address: int = 0x48) -> Reference:
    """2.500 V at input 3, four conversions a look."""
    return Reference("shunt", 1, address, mux_of(3), 4.096, 4, 2.5)


def with_reference(seen_v: float, *more: int) -> tuple[Ads1115, ScriptedBus]:
    """A chip that makes this of its 2.500 V; after that its codes are `more`, the last one for ever."""
    clock = StepClock()
    bus = ScriptedBus(clock, [round(seen_v / FULL_CODE_V)] * 4 + list(more or (PROBE_CODE,)))
    return Ads1115(i2c=bus, clock=clock, bus_number=1, address=0x48, references=(shunt(),)), bus


@pytest.mark.parametrize("seen_v", [2.476, 2.5, 2.524])
def test_a_reference_within_one_percent_lets_the_probes_be_read(seen_v: float) -> None:
    """Just inside at either end."""
    chip, _ = with_reference(seen_v)
    assert chip.volts(mux_of(0), 4.096).volts == pytest.approx(PROBE_CODE * FULL_CODE_V)
    assert chip.off_reference == ""


@pytest.mark.parametrize("seen_v", [0.0, 2.45, 2.474, 2.526, 2.55, -2.5])
def test_a_reference_that_is_off_makes_every_probe_unknown(seen_v: float) -> None:
    """Seen, expected and allowed are told, with what to do; the next probe is not read either."""
    chip, bus = with_reference(seen_v)
    for _ in range(2):
        with pytest.raises(AdcError) as caught:
            chip.volts(mux_of(0), 4.096)
        assert caught.value.fault is Fault.REFERENCE
    said = str(caught.value)
    assert said.startswith(f"ADS1115 at address 0x48 on I2C bus 1 measures {seen_v:.3f} V at [reference.shunt], ")
    assert "expected are 2.500 V (2.475 to 2.525): measure that voltage and the converter's supply" in said
    assert chip.off_reference == said
    assert len(bus.configs) == 4


def test_a_reference_at_the_end_of_the_range_is_off() -> None:
    """One clipped conversion is enough, whatever the mean is."""
    right = round(2.5 / FULL_CODE_V)
    clock = StepClock()
    bus = ScriptedBus(clock, [right, 32767, right])
    chip = Ads1115(i2c=bus, clock=clock, bus_number=1, address=0x48, references=(shunt(),))
    with pytest.raises(AdcError, match="the end of its range") as caught:
        chip.volts(mux_of(0), 4.096)
    assert caught.value.fault is Fault.REFERENCE


def test_a_reference_that_is_not_a_number_is_off() -> None:
    """NaN fails closed."""
    clock = StepClock()
    bus = ScriptedBus(clock, [0])
    unknown = shunt()._replace(expected_v=float("nan"))
    chip = Ads1115(i2c=bus, clock=clock, bus_number=1, address=0x48, references=(unknown,))
    with pytest.raises(AdcError) as caught:
        chip.volts(mux_of(0), 4.096)
    assert caught.value.fault is Fault.REFERENCE


def test_all_probes_of_a_pass_share_one_look_at_the_reference() -> None:
    """Four conversions more a pass, not for each probe; and as many again at the next pass."""
    chip, bus = with_reference(2.5, *[PROBE_CODE] * 16, round(2.6 / FULL_CODE_V))
    for probe in (0, 1, 2, 0):
        chip.volts(mux_of(probe), 4.096)
    assert [config >> 12 & 0x7 for config in bus.configs] == [7] * 4 + [4] * 4 + [5] * 4 + [6] * 4 + [4] * 4
    bus.clock.now_s += REFERENCE_HOLDS_S + 0.01
    with pytest.raises(AdcError):
        chip.volts(mux_of(0), 4.096)
    assert REFERENCE_HOLDS_S < 1.0, "shorter than the shortest time from pass to pass"


def test_a_clock_that_went_back_lets_no_old_look_count() -> None:
    """Then nobody knows how old it is."""
    chip, bus = with_reference(2.5, *[PROBE_CODE] * 4, 0)
    chip.volts(mux_of(0), 4.096)
    bus.clock.now_s -= 50.0
    with pytest.raises(AdcError):
        chip.volts(mux_of(0), 4.096)


def test_a_reference_that_is_right_again_lets_the_probes_be_read_again() -> None:
    """At the first look that finds it so."""
    chip, bus = with_reference(2.6, *[round(2.5 / FULL_CODE_V)] * 4, PROBE_CODE)
    with pytest.raises(AdcError):
        chip.volts(mux_of(0), 4.096)
    bus.clock.now_s += 10.0
    assert chip.volts(mux_of(0), 4.096).volts == pytest.approx(PROBE_CODE * FULL_CODE_V)
    assert chip.off_reference == ""


def test_a_chip_that_does_not_answer_says_so_and_not_that_its_reference_is_off() -> None:
    """What to look at differs; each probe is told at once, without asking the chip again."""
    chip, bus = with_reference(2.5)
    bus.missing = True
    for _ in range(3):
        with pytest.raises(AdcError, match="does not answer") as caught:
            chip.volts(mux_of(0), 4.096)
        assert caught.value.fault is Fault.NO_ANSWER
    assert chip.off_reference == ""


def test_a_reference_vouches_only_for_its_own_chip() -> None:
    """Off on 0x49, 0x48 is read; which one is off is told with its bus and address."""
    rig = StepRig(codes=[PROBE_CODE])
    chips = Chips(rig, (shunt(0x49),))
    assert not chips.at(1, 0x48).volts(mux_of(0), 4.096).clipped
    assert list(chips.off_references()) == []
    rig.bus.address = 0x49
    with pytest.raises(AdcError) as caught:
        chips.at(1, 0x49).volts(mux_of(0), 4.096)
    assert caught.value.fault is Fault.REFERENCE
    assert [(bus, address) for bus, address, _ in chips.off_references()] == [(1, 0x49)]
