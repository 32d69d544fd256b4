"""Points to a calibration, or to the reason why not."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from itertools import permutations
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.measure.calibrate import Fit, FitReason, Point, fit_ec, fit_ph, fit_stop_gap
from daemon.measure.convert import EcCalibration, PhCalibration, nernst_slope_mv_per_ph, ph_from_mv
from daemon.measure.standards import ec_standard, ph_standard
from daemon.values import Quality

WHEN = datetime(2026, 3, 2, 9, 12, tzinfo=UTC)


def ph_point(
    name: str, *, slope_percent: float = 98.0, offset_mv: float = 4.0, at_c: float = 21.0, dipped: str = ""
) -> Point:
    """What an electrode tells in the buffer `dipped` (as labelled, if not said) when told that it is `name`."""
    slope_mv = nernst_slope_mv_per_ph(at_c) * slope_percent / 100.0
    signal = offset_mv - slope_mv * (ph_standard(dipped or name, at_c) - 7.0)
    return Point(name, ph_standard(name, at_c), signal, 0.3, at_c, WHEN)


def ec_point(
    name: str, *, constant: float = 1.05, offset_ms: float = 0.0, at_c: float = 21.0, dipped: str = ""
) -> Point:
    """What a cell tells in the standard `dipped` when told that it is `name`."""
    signal = ec_standard(dipped or name, at_c) / constant + offset_ms
    return Point(name, ec_standard(name, at_c), signal, 0.002, at_c, WHEN)


def refused(fit: Fit[PhCalibration] | Fit[EcCalibration], *reasons: FitReason) -> bool:
    return fit.calibration is None and fit.quality is Quality.BAD and fit.reasons == reasons


def test_two_buffers_give_back_the_electrode() -> None:
    """Slope in % of theory at the buffers' temperature, offset in mV at pH 7, and the day."""
    fit = fit_ph([ph_point("7.00"), ph_point("4.01")])
    assert fit.calibration == PhCalibration(slope_percent=98.0, offset_mv=4.0, day="2026-03-02")
    assert (fit.quality, fit.reasons) == (Quality.GOOD, (FitReason.FINE,))
    assert fit.numbers == {"slope_percent": 98.0, "offset_mv": 4.0}


def test_three_buffers_give_back_the_electrode() -> None:
    """In any order."""
    for points in permutations([ph_point("7.00"), ph_point("4.01"), ph_point("10.01")]):
        fit = fit_ph(points)
        assert fit.calibration is not None
        assert fit.calibration.slope_percent == pytest.approx(98.0, abs=1e-5)


@pytest.mark.parametrize(
    ("slope_percent", "accepted"),
    [
        (84, False),
        (84.999, False),
        (85, True),
        (86, True),
        (104, True),
        (105, True),
        (105.001, False),
        (106, False),
    ],
)
@pytest.mark.parametrize("at_c", [10.0, 21.0, 25.0, 33.3])
def test_slope_is_accepted_exactly_within_its_limits(slope_percent: float, at_c: float, accepted: bool) -> None:
    """H18: 85 and 105 % of theory are in, a thousandth of a percent beyond is out, at any temperature."""
    fit = fit_ph([ph_point(name, slope_percent=slope_percent, at_c=at_c) for name in ("7.00", "4.01")])
    assert (fit.calibration is not None) is accepted
    if not accepted:
        assert fit.reasons == (FitReason.SLOPE_LOW if slope_percent < 100.0 else FitReason.SLOPE_HIGH,)


@pytest.mark.parametrize(
    ("offset_mv", "accepted"),
    [
        (-31, False),
        (-30.001, False),
        (-30, True),
        (-29, True),
        (29, True),
        (30, True),
        (30.001, False),
        (31, False),
    ],
)
def test_offset_is_accepted_exactly_within_its_limits(offset_mv: float, accepted: bool) -> None:
    """H18: ±30 mV are in, a thousandth beyond is out."""
    fit = fit_ph([ph_point(name, offset_mv=offset_mv) for name in ("7.00", "4.01")])
    assert (fit.calibration is not None) is accepted
    assert accepted or refused(fit, FitReason.OFFSET)


@pytest.mark.parametrize(("slope_percent", "worn"), [(94.999, True), (95.0, False), (90.0, True)])
def test_a_worn_electrode_is_accepted_with_a_warning(slope_percent: float, worn: bool) -> None:
    """Below 95 % the calibration is kept, but not called good."""
    fit = fit_ph([ph_point(name, slope_percent=slope_percent) for name in ("7.00", "4.01")])
    assert fit.calibration is not None
    assert fit.quality is (Quality.UNCERTAIN if worn else Quality.GOOD)
    assert fit.reasons == ((FitReason.SLOPE_WORN,) if worn else (FitReason.FINE,))


@given(
    slope_percent=st.floats(20.5, 120.0),
    offset_mv=st.floats(-60.0, 60.0),
    at_c=st.floats(5.0, 40.0),
    pair=st.sampled_from(
        [("7.00", "4.01"), ("7.00", "10.01"), ("4.01", "10.01"), ("6.86", "4.01"), ("6.86", "9.18")]
    ),
)
def test_swapped_buffers_are_always_refused(
    slope_percent: float, offset_mv: float, at_c: float, pair: tuple[str, str]
) -> None:
    """H19: each probe state and temperature, each pair in the wrong bottles, is named as swapped."""
    one, other = pair
    fit = fit_ph(
        [
            ph_point(one, slope_percent=slope_percent, offset_mv=offset_mv, at_c=at_c, dipped=other),
            ph_point(other, slope_percent=slope_percent, offset_mv=offset_mv, at_c=at_c, dipped=one),
        ]
    )
    assert refused(fit, FitReason.SWAPPED)


@pytest.mark.parametrize(
    "dipped", [p for p in permutations(("4.01", "7.00", "10.01")) if p != ("4.01", "7.00", "10.01")]
)
def test_three_buffers_in_any_wrong_order_are_refused(dipped: tuple[str, str, str]) -> None:
    """H19: with three bottles, too, however they are mixed up."""
    names = ("4.01", "7.00", "10.01")
    fit = fit_ph([ph_point(name, dipped=true) for name, true in zip(names, dipped, strict=True)])
    assert fit.calibration is None
    assert fit.reasons[0] in (FitReason.SWAPPED, FitReason.NO_RESPONSE)


def test_an_old_third_buffer_is_found() -> None:
    """A 10.01 that has drunk CO2 and is 9.6 now does not lie on the line of the others."""
    spoiled = replace(ph_point("10.01"), signal=ph_point("10.01").signal + 0.4 * 58.0)
    fit = fit_ph([ph_point("4.01"), ph_point("7.00"), spoiled])
    assert refused(fit, FitReason.OFF_THE_LINE)
    assert fit.numbers["off_ph"] > 0.1


def test_the_wrong_pair_shows_in_the_offset() -> None:
    """Told 4.01 and 7.00 but dipped in 7.00 and 10.01: the slope is right, the offset three pH off."""
    fit = fit_ph([ph_point("4.01", dipped="7.00"), ph_point("7.00", dipped="10.01")])
    assert refused(fit, FitReason.OFFSET)


def test_the_same_cup_twice_is_no_response() -> None:
    """The probe was not moved between two buffers, or its bulb is cracked."""
    fit = fit_ph([ph_point("7.00"), ph_point("4.01", dipped="7.00")])
    assert refused(fit, FitReason.NO_RESPONSE)


def test_the_same_buffer_twice_is_refused() -> None:
    """By its name."""
    assert refused(fit_ph([ph_point("7.00"), ph_point("7.00")]), FitReason.SAME_STANDARD)


def test_one_buffer_under_two_names_is_refused() -> None:
    """By its value, and so are two buffers less than 2 pH apart."""
    assert refused(fit_ph([ph_point("6.86"), ph_point("phosphate")]), FitReason.TOO_CLOSE)
    assert refused(fit_ph([ph_point("9.18"), ph_point("10.01")]), FitReason.TOO_CLOSE)
    assert fit_ph([ph_point("7.00"), ph_point("9.18")]).calibration is not None


@pytest.mark.parametrize(("apart_ph", "accepted"), [(1.999, False), (2.0, True)])
def test_buffers_must_lie_two_ph_apart(apart_ph: float, accepted: bool) -> None:
    """Exactly two is enough."""
    far = Point("mine", 7.0 - apart_ph, apart_ph * nernst_slope_mv_per_ph(25.0), 0.1, 25.0, WHEN)
    near = Point("other", 7.0, 0.0, 0.1, 25.0, WHEN)
    assert (fit_ph([near, far]).calibration is not None) is accepted


@pytest.mark.parametrize(("spread", "accepted"), [(3.0, True), (3.001, False), (-0.1, False)])
def test_a_restless_signal_is_refused(spread: float, accepted: bool) -> None:
    """3 mV (0.05 pH) at most between the largest and the smallest."""
    fit = fit_ph([replace(ph_point("7.00"), spread=spread), ph_point("4.01")])
    assert (fit.calibration is not None) is accepted
    assert accepted or refused(fit, FitReason.UNSTABLE)


@pytest.mark.parametrize(("other_c", "accepted"), [(26.0, True), (26.1, False), (16.0, True), (15.9, False)])
def test_buffers_must_be_equally_warm(other_c: float, accepted: bool) -> None:
    """5 K apart at most; within that each point is reckoned at its own temperature."""
    fit = fit_ph([ph_point("7.00", at_c=21.0), ph_point("4.01", at_c=other_c)])
    assert (fit.calibration is not None) is accepted
    if fit.calibration is None:
        assert fit.reasons == (FitReason.TEMPERATURES_DIFFER,)
    else:
        assert fit.calibration.slope_percent == 98.0


@pytest.mark.parametrize(("at_c", "accepted"), [(4.9, False), (5.0, True), (40.0, True), (40.1, False)])
def test_buffers_must_be_neither_cold_nor_hot(at_c: float, accepted: bool) -> None:
    """5 to 40 °C."""
    fit = fit_ph([ph_point("7.00", at_c=at_c), ph_point("4.01", at_c=at_c)])
    assert (fit.calibration is not None) is accepted
    assert accepted or refused(fit, FitReason.TEMPERATURE_RANGE)


@pytest.mark.parametrize("count", [0, 1, 4])
def test_ph_takes_two_or_three_points(count: int) -> None:
    """One buffer cannot tell slope from offset."""
    names = ("4.01", "7.00", "9.18", "1.0")[:count]
    points = [Point(name, float(name), 0.0, 0.1, 25.0, WHEN) for name in names]
    assert refused(fit_ph(points), FitReason.POINT_COUNT)


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("key", ["reference", "signal", "spread", "temperature_c"])
def test_a_point_that_is_no_number_is_refused(key: str, number: float) -> None:
    """For pH and for EC, in each of a point's numbers."""
    odd: dict[str, Any] = {key: number}
    assert refused(fit_ph([ph_point("7.00"), replace(ph_point("4.01"), **odd)]), FitReason.NOT_A_NUMBER)
    assert refused(fit_ec([replace(ec_point("1.413"), **odd)]), FitReason.NOT_A_NUMBER)


def test_all_that_is_wrong_with_the_points_is_told_at_once() -> None:
    """A grower should not have to come back for each reason."""
    fit = fit_ph([replace(ph_point("7.00", at_c=21.0), spread=9.0), ph_point("4.01", at_c=30.0)])
    assert refused(fit, FitReason.UNSTABLE, FitReason.TEMPERATURES_DIFFER)
    assert fit.numbers["spread"] == 9.0
    assert fit.numbers["apart_k"] == 9.0


def test_the_day_is_that_of_the_last_point_in_utc() -> None:
    """A point taken at half past midnight in Auckland belongs to the UTC day before."""
    auckland = timezone(timedelta(hours=13))
    late = replace(ph_point("4.01"), utc=datetime(2026, 3, 4, 0, 30, tzinfo=auckland))
    fit = fit_ph([ph_point("7.00"), late])
    assert fit.calibration is not None
    assert fit.calibration.day == "2026-03-03"


@given(
    slope_percent=st.floats(86.0, 104.0),
    offset_mv=st.floats(-29.0, 29.0),
    at_c=st.floats(5.0, 40.0),
    ph=st.floats(4, 8),
)
def test_a_calibrated_electrode_reads_true(
    slope_percent: float, offset_mv: float, at_c: float, ph: float
) -> None:
    """Calibrated at one temperature and used at 20 °C it gives the pH it stands in, within 0.0001."""
    fit = fit_ph(
        [ph_point(n, slope_percent=slope_percent, offset_mv=offset_mv, at_c=at_c) for n in ("7.00", "4.01")]
    )
    mv = offset_mv - nernst_slope_mv_per_ph(20.0) * slope_percent / 100.0 * (ph - 7.0)
    assert ph_from_mv(mv, fit.calibration, 20.0) == pytest.approx(ph, abs=1e-4)


@given(
    numbers=st.lists(st.floats() | st.floats(-20.0, 20.0), min_size=4, max_size=4),
    spread=st.just(0.0) | st.floats(),
    at_c=st.floats(5.0, 40.0) | st.floats(),
)
def test_any_numbers_give_a_calibration_within_limits_or_none(
    numbers: list[float], spread: float, at_c: float
) -> None:
    """Whatever is fed in: no exception, and nothing outside the limits is kept."""
    points = [Point(name, numbers[i], numbers[i + 1], spread, at_c, WHEN) for name, i in (("a", 0), ("b", 2))]
    ph, ec = fit_ph(points), fit_ec(points)
    assert ph.calibration is None or 85.0 <= ph.calibration.slope_percent <= 105.0
    assert ph.calibration is None or -30.0 <= ph.calibration.offset_mv <= 30.0
    assert ec.calibration is None or 0.5 <= ec.calibration.cell_constant_per_cm <= 2.0
    assert ph.reasons
    assert ec.reasons


@pytest.mark.parametrize("at_c", [15.0, 21.0, 25.0])
def test_one_standard_gives_the_cell_constant(at_c: float) -> None:
    """At the standard's own temperature, without any compensation; the offset is taken as zero."""
    fit = fit_ec([ec_point("1.413", at_c=at_c)])
    assert fit.calibration == EcCalibration(cell_constant_per_cm=1.05, offset_ms=0.0, day="2026-03-02")
    assert fit.reasons == (FitReason.FINE,)


def test_two_standards_give_constant_and_offset() -> None:
    """In either order."""
    points = [ec_point("1.413", offset_ms=0.02), ec_point("12.88", offset_ms=0.02)]
    for order in (points, points[::-1]):
        assert fit_ec(order).calibration == EcCalibration(
            cell_constant_per_cm=1.05, offset_ms=0.02, day="2026-03-02"
        )


@pytest.mark.parametrize(
    ("constant", "accepted"), [(0.499, False), (0.5, True), (2.0, True), (2.001, False), (5.0, False)]
)
def test_cell_constant_is_accepted_exactly_within_its_limits(constant: float, accepted: bool) -> None:
    """Half to twice the nominal 1.0 per cm."""
    fit = fit_ec([ec_point("1.413", constant=constant)])
    assert (fit.calibration is not None) is accepted
    assert accepted or refused(fit, FitReason.CELL_CONSTANT)


@pytest.mark.parametrize(("constant", "odd"), [(0.74, True), (0.76, False), (1.24, False), (1.26, True)])
def test_an_odd_cell_constant_is_accepted_with_a_warning(constant: float, odd: bool) -> None:
    """More than a quarter from nominal: perhaps it was another standard."""
    fit = fit_ec([ec_point("1.413", constant=constant)])
    assert fit.calibration is not None
    assert fit.reasons == ((FitReason.CELL_ODD,) if odd else (FitReason.FINE,))


@given(constant=st.floats(0.2, 5.0), at_c=st.floats(5.0, 40.0))
def test_swapped_standards_are_always_refused(constant: float, at_c: float) -> None:
    """H19 for EC: two bottles the wrong way round."""
    one = ec_point("1.413", constant=constant, at_c=at_c, dipped="12.88")
    other = ec_point("12.88", constant=constant, at_c=at_c, dipped="1.413")
    assert refused(fit_ec([one, other]), FitReason.SWAPPED)


def test_another_standard_than_said_is_refused() -> None:
    """12.88 in the cup, 1.413 on the form: nine times off."""
    assert refused(fit_ec([ec_point("1.413", dipped="12.88")]), FitReason.CELL_CONSTANT)


@pytest.mark.parametrize("factor", [1000.0, 0.001])
def test_microsiemens_for_millisiemens_is_named(factor: float) -> None:
    """With one standard, and with one wrong among two."""
    point = ec_point("1.413")
    wrong = replace(point, reference=point.reference * factor)
    assert refused(fit_ec([wrong]), FitReason.THOUSANDFOLD)
    fit = fit_ec([wrong, ec_point("12.88")])
    assert fit.calibration is None
    assert FitReason.THOUSANDFOLD in fit.reasons


@pytest.mark.parametrize("signal", [0.0, 0.0003, -0.002])
def test_a_dry_cell_is_no_response(signal: float) -> None:
    """Zero, a trace and a little below zero."""
    assert refused(fit_ec([replace(ec_point("1.413"), signal=signal)]), FitReason.NO_RESPONSE)


@pytest.mark.parametrize(("offset_ms", "accepted"), [(0.149, True), (0.151, False), (-0.151, False)])
def test_an_ec_offset_has_limits(offset_ms: float, accepted: bool) -> None:
    """More than 0.15 mS where there is nothing means that one standard is wrong."""
    fit = fit_ec([ec_point(name, offset_ms=offset_ms) for name in ("1.413", "12.88")])
    assert (fit.calibration is not None) is accepted
    assert accepted or refused(fit, FitReason.OFFSET)


def test_ec_standards_must_differ() -> None:
    """The same twice, two names of one, and no change of signal between two."""
    assert refused(fit_ec([ec_point("1.413"), ec_point("1.413")]), FitReason.SAME_STANDARD)
    assert refused(fit_ec([ec_point("1.413"), ec_point("kcl 0.01 mol/kg")]), FitReason.TOO_CLOSE)
    same_cup = [ec_point("1.413"), ec_point("2.765", dipped="1.413")]
    assert refused(fit_ec(same_cup), FitReason.CELL_CONSTANT)


def test_ec_takes_one_or_two_points() -> None:
    """None and three are refused."""
    three = [ec_point(name) for name in ("1.413", "2.765", "12.88")]
    assert refused(fit_ec([]), FitReason.POINT_COUNT)
    assert refused(fit_ec(three), FitReason.POINT_COUNT)


def test_a_restless_cell_is_refused() -> None:
    """More than 2 % between the largest and the smallest."""
    assert refused(fit_ec([replace(ec_point("1.413"), spread=0.05)]), FitReason.UNSTABLE)


OLD = PhCalibration(slope_percent=98.0, offset_mv=4.0, day="2026-02-01")


@pytest.mark.parametrize(("slope_percent", "offset_mv"), [(98.0, 4.0), (92.0, -20.0)])
@pytest.mark.parametrize("buffer", ["7.00", "4.01"])
def test_one_buffer_gives_a_stop_gap(buffer: str, slope_percent: float, offset_mv: float) -> None:
    """The offset anew, the slope as it was; never better than uncertain, and told as what it is."""
    before = PhCalibration(slope_percent=slope_percent, offset_mv=0.0, day="2026-02-01")
    fit = fit_stop_gap([ph_point(buffer, slope_percent=slope_percent, offset_mv=offset_mv)], before)
    assert fit.calibration is not None
    assert fit.calibration.stop_gap
    assert fit.calibration.slope_percent == slope_percent
    assert fit.calibration.offset_mv == pytest.approx(offset_mv, abs=1e-6)
    assert (fit.quality, fit.reasons[0]) == (Quality.UNCERTAIN, FitReason.STOP_GAP)


def test_a_stop_gap_without_an_old_calibration_takes_the_theoretical_slope() -> None:
    """100 %, until two buffers are there."""
    fit = fit_stop_gap([ph_point("7.00", slope_percent=100.0)])
    assert fit.calibration == PhCalibration(slope_percent=100.0, offset_mv=4.0, day="2026-03-02", stop_gap=True)


@pytest.mark.parametrize(("offset_mv", "accepted"), [(30.0, True), (30.1, False), (-30.1, False)])
def test_a_stop_gaps_offset_has_the_usual_limits(offset_mv: float, accepted: bool) -> None:
    """And a cracked bulb, 0 mV in every buffer, is refused in 4.01."""
    fit = fit_stop_gap([ph_point("7.00", offset_mv=offset_mv)], OLD)
    assert (fit.calibration is not None) is accepted
    assert refused(fit_stop_gap([replace(ph_point("4.01"), signal=0.0)], OLD), FitReason.OFFSET)


def test_a_stop_gap_takes_one_buffer() -> None:
    """None and two are refused, and so is one that had not settled."""
    assert refused(fit_stop_gap([]), FitReason.POINT_COUNT)
    assert refused(fit_stop_gap([ph_point("7.00"), ph_point("4.01")]), FitReason.POINT_COUNT)
    assert refused(fit_stop_gap([replace(ph_point("7.00"), spread=3.1)]), FitReason.UNSTABLE)


@pytest.mark.parametrize(
    ("named", "dipped", "hint"),
    [("7.00", "6.86", FitReason.PERHAPS_686), ("6.86", "7.00", FitReason.PERHAPS_700)],
)
def test_a_mislabelled_neutral_buffer_is_named(named: str, dipped: str, hint: FitReason) -> None:
    """With a third buffer refused; with two, by the calibration before, kept only by a person's word."""
    wrong = ph_point(named, dipped=dipped)
    three = fit_ph([wrong, ph_point("4.01"), ph_point("10.01")])
    assert refused(three, FitReason.OFF_THE_LINE, hint)
    two = fit_ph([wrong, ph_point("4.01")], OLD)
    assert (two.quality, two.reasons[0]) == (Quality.UNCERTAIN, hint)
    assert two.numbers["off_ph"] == pytest.approx(0.14, abs=0.02)
    assert hint in fit_stop_gap([wrong], OLD).reasons


@given(
    slope_percent=st.floats(95.0, 105.0),
    offset_mv=st.floats(-30.0, 30.0),
    at_c=st.floats(5.0, 40.0),
    named=st.sampled_from(["7.00", "6.86"]),
    other=st.sampled_from(["4.01", "10.01"]),
)
def test_an_electrode_that_only_aged_evenly_is_not_taken_for_a_mistake(
    slope_percent: float, offset_mv: float, at_c: float, named: str, other: str
) -> None:
    """An offset that moved moves both buffers: no hint, whatever the offset."""
    before = PhCalibration(slope_percent=slope_percent, offset_mv=0.0, day="2026-02-01")
    points = [
        ph_point(name, slope_percent=slope_percent, offset_mv=offset_mv, at_c=at_c) for name in (named, other)
    ]
    assert fit_ph(points, before).reasons == (FitReason.FINE,)


def test_without_a_calibration_before_two_buffers_cannot_be_told() -> None:
    """6.86 for 7.00 then looks like an electrode of 95 %; nor does a stop-gap before say anything."""
    points = [ph_point("7.00", dipped="6.86"), ph_point("4.01")]
    assert FitReason.PERHAPS_686 not in fit_ph(points).reasons
    assert FitReason.PERHAPS_686 not in fit_ph(points, replace(OLD, stop_gap=True)).reasons


@pytest.mark.parametrize(("constant", "told"), [(1.09, False), (1.11, True), (0.91, False), (0.89, True)])
def test_a_cell_that_changed_much_is_kept_only_by_a_persons_word(constant: float, told: bool) -> None:
    """More than a tenth from the one before."""
    before = EcCalibration(cell_constant_per_cm=1.0, day="2026-02-01")
    fit = fit_ec([ec_point("1.413", constant=constant)], before)
    assert fit.reasons == ((FitReason.CELL_CHANGED,) if told else (FitReason.FINE,))
    assert fit.calibration is not None


def test_a_weak_standard_alone_is_refused() -> None:
    """84 µS/cm tells the offset, not the constant at a nutrient solution's strength; with another it is fine."""
    assert refused(fit_ec([ec_point("0.084")]), FitReason.TOO_WEAK)
    assert fit_ec([ec_point("0.084"), ec_point("1.413")]).reasons == (FitReason.FINE,)
