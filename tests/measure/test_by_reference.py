"""Temperature beside a thermometer, level by measured water."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.measure.by_reference import fit_level, fit_temperature
from daemon.measure.calibrate import Fit, FitReason, Point
from daemon.measure.convert import LevelCalibration, TemperatureCalibration, to_reading
from daemon.values import Quality, Quantity, Reading, Sample

WHEN = datetime(2026, 3, 2, 9, 12, tzinfo=UTC)


def beside(shown_c: float, true_c: float = 20.0) -> Point:
    """A probe that shows so much beside a thermometer."""
    return Point("thermometer", true_c, shown_c, 0.1, true_c, WHEN)


def filled(share: float, scale: float = 1.1, offset_share: float = -0.04, at_c: float = 20.0) -> Point:
    """What a level sender shows with that share in the reservoir, before it is calibrated."""
    return Point(f"water {share}", share, (share - offset_share) / scale, 0.001, at_c, WHEN)


def refused(fit: Fit[TemperatureCalibration] | Fit[LevelCalibration], *reasons: FitReason) -> bool:
    return fit.calibration is None and fit.quality is Quality.BAD and fit.reasons == reasons


@pytest.mark.parametrize(("shown_c", "accepted"), [(17.0, True), (23.0, True), (16.99, False), (23.01, False)])
def test_an_offset_of_three_kelvin_is_the_most(shown_c: float, accepted: bool) -> None:
    """Further off the probe is broken or of another kind."""
    fit = fit_temperature([beside(shown_c)])
    assert (fit.calibration is not None) is accepted
    assert accepted or refused(fit, FitReason.OFFSET)


def test_the_offset_makes_the_probe_show_what_the_thermometer_does() -> None:
    """Through the conversion that every reading takes."""
    fit = fit_temperature([beside(20.6)])
    assert fit.calibration == TemperatureCalibration(offset_k=-0.6, day="2026-03-02")
    reading = to_reading(Sample(Quantity.TEMPERATURE, 0.0, 20.6, 1.5, 0.0), fit.calibration, None)
    assert isinstance(reading, Reading)
    assert reading.value == pytest.approx(20.0)


@pytest.mark.parametrize(
    ("points", "reason"),
    [
        ([], FitReason.POINT_COUNT),
        ([beside(20.0), beside(20.1)], FitReason.POINT_COUNT),
        ([beside(math.nan)], FitReason.NOT_A_NUMBER),
        ([replace(beside(20.0), spread=0.31)], FitReason.UNSTABLE),
        ([beside(4.0, 4.9)], FitReason.TEMPERATURE_RANGE),
    ],
)
def test_what_tells_no_temperature_is_refused(points: list[Point], reason: FitReason) -> None:
    """Each by its own reason."""
    assert refused(fit_temperature(points), reason)


@given(
    scale=st.floats(0.5, 2.0),
    offset_share=st.floats(-0.5, 0.5),
    low=st.floats(0.0, 0.6),
    rise=st.floats(0.3, 0.4),
)
def test_two_amounts_give_back_the_sender(scale: float, offset_share: float, low: float, rise: float) -> None:
    """In either order, and without a word about temperature: fresh water is colder."""
    points = [filled(low, scale, offset_share, 8.0), filled(low + rise, scale, offset_share, 22.0)]
    for order in (points, points[::-1]):
        calibration = fit_level(order).calibration
        assert calibration is not None
        assert calibration.scale == pytest.approx(scale, abs=1e-5)
        assert calibration.offset_share == pytest.approx(offset_share, abs=1e-5)


@pytest.mark.parametrize(
    ("points", "reason"),
    [
        ([filled(0.5)], FitReason.POINT_COUNT),
        ([filled(0.5), filled(0.79)], FitReason.TOO_CLOSE),
        ([filled(0.0), replace(filled(1.0), signal=filled(0.0).signal)], FitReason.NO_RESPONSE),
        ([filled(0.0, 0.4), filled(1.0, 0.4)], FitReason.LEVEL_SCALE),
        ([filled(0.0, 2.1), filled(1.0, 2.1)], FitReason.LEVEL_SCALE),
        ([filled(0.0, 1.0, 0.51), filled(1.0, 1.0, 0.51)], FitReason.LEVEL_SCALE),
        ([filled(0.0, -1.0, 1.0), filled(1.0, -1.0, 1.0)], FitReason.SWAPPED),
        ([filled(0.0), replace(filled(1.0), spread=0.021)], FitReason.UNSTABLE),
        ([filled(0.0), replace(filled(1.0), signal=math.inf)], FitReason.NOT_A_NUMBER),
    ],
)
def test_what_tells_no_level_is_refused(points: list[Point], reason: FitReason) -> None:
    """Each by its own reason."""
    assert refused(fit_level(points), reason)
