"""What a person reads who calibrates a probe."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from daemon import words_of_calibration as words
from daemon.measure.ageing import Forecast, Made, ProbeNote
from daemon.measure.calibrate import Fit, FitReason, Point
from daemon.measure.convert import EcCalibration, LevelCalibration, PhCalibration, TemperatureCalibration
from daemon.measure.history import Past
from daemon.measure.settling import Settling
from daemon.values import Quality, Quantity

DAY = "2026-03-02"
OLD = PhCalibration(slope_percent=97.0, offset_mv=6.0, day=DAY)
POINT = Point("7.00", 7.02, 2.9, 0.3, 20.1, datetime(2026, 3, 2, 9, 12, tzinfo=UTC))


@pytest.mark.parametrize("reason", FitReason)
def test_every_fit_gives_advice(reason: FitReason) -> None:
    """With the numbers where there are any."""
    assert len(words.fit(Fit(None, Quality.BAD, (reason,)))) >= 4
    ph = words.fit(Fit(None, Quality.BAD, (reason,), {"slope_percent": 80.0, "offset_mv": -3.0}))
    assert ph.startswith("slope 80.0 % of theory (85 to 105), offset -3.0 mV (within ±30): ")
    ec = words.fit(Fit(None, Quality.BAD, (reason,), {"cell_constant_per_cm": 0.98}))
    assert ec.startswith("cell constant 0.980 per cm (0.5 to 2): ")


def test_a_mislabelled_buffer_is_told_with_what_it_would_be() -> None:
    """In pH, as the one and as the other."""
    fit = Fit(None, Quality.BAD, (FitReason.PERHAPS_686,), {"off_ph": 0.14, "off_ph_exchanged": 0.01})
    assert "the 7.00 looks like a 6.86 (0.14 pH off as 7.00, 0.01 as 6.86)" in words.fit(fit)


def test_settling_is_told_against_its_limits() -> None:
    """Signal, spread, drift, samples; without a sample there is nothing to tell."""
    rest = Settling(False, 5, 2.9, 0.41, 3.0, -1.7, 1.5, 40.0)
    assert words.settling(Quantity.PH, rest) == (
        "2.90 mV, moved 0.41 (at most 3.00), drifts -1.70 a minute (at most 1.50), 5 of 6 samples"
    )
    assert words.settling(Quantity.EC, Settling(False, 0)) == "no reading yet"
    one = replace(rest, samples=1, drift_per_min=None)
    assert "drifts" not in words.settling(Quantity.PH, one)


def test_beside_a_progress_bar_it_is_told_in_few_words() -> None:
    """Within what is left of 80 columns beside label and bar, in pH and in EC."""
    rest = Settling(False, 5, -172.9, 10.41, 3.0, -11.7, 1.5, 40.0)
    assert words.settling_briefly(Quantity.PH, rest) == "-172.90, moves 10.41 of 3.00, drifts -11.70 of 1.50/min"
    assert words.settling_briefly(Quantity.PH, replace(rest, drift_per_min=None)).endswith("drifts ? of 1.50/min")
    assert words.settling_briefly(Quantity.PH, Settling(False, 0)) == "no reading yet"
    cell = Settling(False, 5, 12.8812, 0.4123, 0.2576, -0.1312, 0.1288, 40.0)
    assert len(words.settling_briefly(Quantity.EC, cell)) <= 58


def test_an_unclear_bottle_is_asked_for() -> None:
    """With those that it may be, or that it is none of them."""
    assert words.which_standard(Quantity.PH, ("7.00", "6.86")) == (
        "this may be 7.00 or 6.86: read the label and name it"
    )
    assert "fits none" in words.which_standard(Quantity.EC, ())


@pytest.mark.parametrize(
    ("quantity", "point", "says"),
    [
        (Quantity.PH, POINT, "7.00 taken: 2.900 mV at 20.1 °C (7.020)"),
        (
            Quantity.EC,
            replace(POINT, standard="1.413", settled_s=52.0),
            "mS at 20.1 °C (7.020), settled after 52 s",
        ),
        (Quantity.TEMPERATURE, replace(POINT, reference=20.4, signal=20.9), "20.40 °C taken: 20.90 °C before"),
        (
            Quantity.LEVEL,
            replace(POINT, reference=0.5, signal=0.47),
            "50.0% of the reservoir taken: 47.0% before",
        ),
    ],
)
def test_a_point_is_told_in_the_unit_of_its_probe(quantity: Quantity, point: Point, says: str) -> None:
    """What it is worth, and what the probe showed."""
    assert says in words.point(quantity, point)


def test_old_and_new_stand_side_by_side() -> None:
    """Slope, offset, and what the water would have read."""
    rows = words.old_and_new(OLD, replace(OLD, offset_mv=12.0, day="2026-04-02"), {"at": 5.8, "then": 5.697})
    assert rows == [
        ("made on", "2026-03-02", "2026-04-02"),
        ("slope", "97.0 %", "97.0 %"),
        ("offset", "+6.0 mV", "+12.0 mV"),
        ("what is pH 5.80 now would have read", "5.70", "5.80"),
    ]
    assert words.old_and_new(OLD, OLD, {"at": 5.8}, 0.011)[-1] == ("known within", "–", "± 0.02 pH (95 %)")


@pytest.mark.parametrize(
    "new",
    [
        OLD,
        EcCalibration(cell_constant_per_cm=1.0, day=DAY),
        TemperatureCalibration(offset_k=0.5, day=DAY),
        LevelCalibration(scale=1.0, offset_share=0.0, day=DAY),
    ],
)
def test_without_an_old_one_its_column_is_empty(
    new: PhCalibration | EcCalibration | TemperatureCalibration | LevelCalibration,
) -> None:
    """A dash in each row, for each kind."""
    rows = words.old_and_new(None, new, {"at": 1.0})
    assert len(rows) >= 3
    assert {old for _, old, _ in rows} == {"–"}


def test_a_history_is_told_line_by_line() -> None:
    """What was made, what cannot be read, what is foretold, what is to be said."""
    utc = datetime(2026, 3, 2, 9, 12, tzinfo=UTC)
    one = Made(utc, {"slope_percent": 96.0, "offset_mv": -3.0}, ("7.00", "4.01"), 61.5)
    ahead = Forecast("slope_percent", 90.0, -1.0, 0.4, date(2026, 9, 1), date(2026, 7, 1), None, 4)
    said = words.history(Past((one, replace(one, stop_gap=True)), 2), (ahead,), (ProbeNote.FAILS_SOON,))
    assert said.splitlines() == [
        "2026-03-02  slope 96.0 %, offset -3.0 mV, settled in 62 s in 7.00, 4.01",
        "2026-03-02  slope 96.0 %, offset -3.0 mV, settled in 62 s in 7.00, 4.01 (stop-gap)",
        "(2 more that cannot be read)",
        "slope: -1 ± 0.4 % a month, by 4 calibrations: meets 90 % about 2026-09-01 "
        "(95 %, from 2026-07-01 or later)",
        "it may fail within two months: have a new one ready",
    ]
    never = replace(ahead, on=None, from_on=None)
    assert "90 % is not met within two years" in words.history(Past((one,)), (never,), (ProbeNote.FINE,))


@pytest.mark.parametrize("note", ProbeNote)
def test_every_note_has_its_words(note: ProbeNote) -> None:
    """One each."""
    assert words.history(Past(), (), (note,)) == words.NOTE[note]
