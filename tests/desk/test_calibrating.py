"""A person's visit with a probe to its standards."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from daemon.desk.calibrating import NotSettledError, Visit, WhichStandardError
from daemon.measure.calibrate import FitReason
from daemon.measure.convert import EcCalibration, PhCalibration
from daemon.measure.settling import WINDOW
from daemon.values import Quality, Quantity

MORNING = datetime(2026, 3, 1, 6, 30, tzinfo=UTC)
MV_AT_7 = 2.0  # of an electrode with an offset of 2 mV, at 25 °C
MV_AT_4 = 2.0 + 59.159 * (7.0 - 4.01)  # Nernst's slope at 25 °C: 59.16 mV per pH (IUPAC)


def seen(quantity: Quantity, signal: float, count: int = WINDOW) -> Visit:
    """A visit that has seen the same signal so often."""
    visit = Visit(quantity)
    show(visit, signal, count)
    return visit


def show(visit: Visit, signal: float, count: int = WINDOW) -> None:
    """So many samples, ten seconds apart, after those before."""
    begun_s = visit.seen[-1].at_s + 10.0 if visit.seen else 1000.0
    for place in range(count):
        visit.see(begun_s + 10.0 * place, signal)


def test_a_settled_signal_becomes_a_point() -> None:
    """With the buffer's pH at its temperature, the signal's mean and spread, and the moment."""
    point = seen(Quantity.PH, MV_AT_7).take("7.00", 25.0, MORNING)
    assert (point.standard, point.signal, point.spread, point.utc) == ("7.00", MV_AT_7, 0.0, MORNING)
    assert point.reference == pytest.approx(7.0, abs=0.01)


def test_a_warmer_buffer_has_its_own_value() -> None:
    """The pH 4.01 buffer is worth a little more at 40 °C: 4.03 (the primary phthalate, IUPAC 2002)."""
    assert seen(Quantity.PH, 170.0).take("4.01", 40.0, MORNING).reference == pytest.approx(4.03, abs=0.01)


def test_each_point_needs_a_signal_of_its_own() -> None:
    """After one is taken the window begins anew, so that two buffers cannot share it."""
    visit = seen(Quantity.PH, MV_AT_7)
    visit.take("7.00", 25.0, MORNING)
    with pytest.raises(NotSettledError) as early:
        visit.take("4.01", 25.0, MORNING)
    assert early.value.settling.samples == 0


@pytest.mark.parametrize("count", range(WINDOW))
def test_an_unsettled_signal_is_no_point(count: int) -> None:
    """One sample short, or none: refused with how far it is."""
    with pytest.raises(NotSettledError) as early:
        seen(Quantity.PH, MV_AT_7, count).take("7.00", 25.0, MORNING)
    assert early.value.settling.samples == count


def test_going_to_another_standard_forgets_the_last() -> None:
    """`afresh` leaves nothing to settle on."""
    visit = seen(Quantity.PH, MV_AT_7)
    visit.afresh()
    assert visit.settling().samples == 0


@pytest.mark.parametrize(
    ("standard", "temperature_c"), [("6.86 or so", 25.0), ("7.00", 60.0), ("7.00", float("nan"))]
)
def test_an_unknown_standard_or_temperature_is_refused_and_costs_nothing(
    standard: str, temperature_c: float
) -> None:
    """As ValueError with what is known; the settled signal is still there for the right one."""
    visit = seen(Quantity.PH, MV_AT_7)
    with pytest.raises(ValueError, match=r"°C|known|4\.01"):
        visit.take(standard, temperature_c, MORNING)
    assert visit.points == []
    assert visit.settling().settled


def test_two_buffers_make_a_fit() -> None:
    """An electrode of Nernst's slope and 2 mV offset."""
    visit = seen(Quantity.PH, MV_AT_7)
    visit.take("7.00", 25.0, MORNING)
    show(visit, MV_AT_4)
    visit.take("4.01", 25.0, MORNING)
    fit = visit.fit()
    assert isinstance(fit.calibration, PhCalibration)
    assert fit.calibration.slope_percent == pytest.approx(100.0, abs=0.5)
    assert fit.calibration.offset_mv == pytest.approx(2.0, abs=0.5)
    assert fit.calibration.day == "2026-03-01"


def test_a_second_take_of_one_buffer_replaces_the_first() -> None:
    """Swapped by mistake and taken again in the right order: fine."""
    visit = Visit(Quantity.PH)
    for standard, signal in (("7.00", MV_AT_4), ("4.01", MV_AT_7)):
        show(visit, signal)
        visit.take(standard, 25.0, MORNING)
    assert visit.fit().reasons == (FitReason.SWAPPED,)
    for standard, signal in (("7.00", MV_AT_7), ("4.01", MV_AT_4)):
        show(visit, signal)
        visit.take(standard, 25.0, MORNING)
    assert [point.standard for point in visit.points] == ["7.00", "4.01"]
    assert visit.fit().quality is Quality.GOOD


def test_one_buffer_alone_is_no_fit() -> None:
    """pH needs two; the old calibration stays."""
    visit = seen(Quantity.PH, MV_AT_7)
    visit.take("7.00", 25.0, MORNING)
    fit = visit.fit()
    assert (fit.calibration, fit.reasons) == (None, (FitReason.POINT_COUNT,))


def test_ec_is_fitted_as_ec() -> None:
    """0.01 mol/kg KCl, 1.413 mS/cm at 25 °C, in a cell of constant 1."""
    visit = seen(Quantity.EC, 1.413)
    visit.take("1.413", 25.0, MORNING)
    fit = visit.fit()
    assert isinstance(fit.calibration, EcCalibration)
    assert fit.calibration.cell_constant_per_cm == pytest.approx(1.0, abs=0.005)


def test_a_standard_that_is_not_named_is_known_by_the_signal() -> None:
    """4.01 alone gives so many mV; 7.00 and 6.86 are asked about; no buffer at all is said to be none."""
    assert seen(Quantity.PH, MV_AT_4).take(None, 25.0, MORNING).standard == "4.01"
    with pytest.raises(WhichStandardError) as which:
        seen(Quantity.PH, MV_AT_7).take(None, 25.0, MORNING)
    assert sorted(which.value.candidates) == ["6.86", "7.00"]
    with pytest.raises(WhichStandardError) as none:
        seen(Quantity.PH, 95.0).take(None, 25.0, MORNING)
    assert none.value.candidates == ()


def test_an_unsettled_signal_is_no_ground_to_know_a_buffer_by() -> None:
    """It is asked to wait, not which bottle it is."""
    with pytest.raises(NotSettledError):
        seen(Quantity.PH, MV_AT_4, WINDOW - 1).take(None, 25.0, MORNING)


def test_a_buffer_told_under_its_right_name_replaces_the_wrong_one() -> None:
    """6.86 after 7.00 is the same cup."""
    visit = seen(Quantity.PH, MV_AT_7)
    visit.take("7.00", 25.0, MORNING)
    show(visit, MV_AT_7)
    visit.take("6.86", 25.0, MORNING)
    assert [point.standard for point in visit.points] == ["6.86"]


def test_how_long_it_took_to_settle_is_kept_with_the_point() -> None:
    """From the first sample in that standard to the first settled window."""
    visit = Visit(Quantity.PH)
    for place, signal in enumerate((40.0, 20.0, 8.0, *[2.0] * WINDOW)):
        visit.see(1000.0 + 10.0 * place, signal)
    show(visit, 2.0, 3)
    assert visit.take("7.00", 25.0, MORNING).settled_s == pytest.approx(80.0)
    show(visit, MV_AT_4)
    assert visit.take("4.01", 25.0, MORNING).settled_s == pytest.approx(50.0)


def test_the_calibration_before_tells_a_changed_cell_and_gives_a_stop_gap_its_slope() -> None:
    """It is what the visit began with."""
    cell = EcCalibration(cell_constant_per_cm=0.8, day="2026-02-01")
    visit = seen(Quantity.EC, 1.413)
    visit.before = cell
    visit.take("1.413", 25.0, MORNING)
    assert FitReason.CELL_CHANGED in visit.fit().reasons
    visit = seen(Quantity.PH, MV_AT_7)
    visit.before = PhCalibration(slope_percent=93.0, offset_mv=0.0, day="2026-02-01")
    visit.take("7.00", 25.0, MORNING)
    fit = visit.fit(stop_gap=True)
    assert isinstance(fit.calibration, PhCalibration)
    assert (fit.calibration.slope_percent, fit.calibration.stop_gap) == (93.0, True)


def test_a_thermometer_and_measured_water_make_points_without_a_bottle() -> None:
    """They need the true value; two amounts of water are two points."""
    visit = seen(Quantity.TEMPERATURE, 20.4)
    with pytest.raises(ValueError, match="true value"):
        visit.take(None, 20.0, MORNING)
    assert visit.take(None, 20.0, MORNING, 20.0).standard == "thermometer"
    assert visit.fit().numbers["offset_k"] == pytest.approx(-0.4)
    visit = seen(Quantity.LEVEL, 0.05)
    visit.take(None, 20.0, MORNING, 0.0)
    show(visit, 0.95)
    visit.take(None, 20.0, MORNING, 1.0)
    assert len(visit.points) == 2
    assert visit.fit().numbers["scale"] == pytest.approx(1.0 / 0.9)
