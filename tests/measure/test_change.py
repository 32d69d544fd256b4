"""What a new calibration changes."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.measure.change import change
from daemon.measure.convert import EcCalibration, LevelCalibration, PhCalibration, TemperatureCalibration

DAY = "2026-03-02"


def electrode(slope_percent: float = 100.0, offset_mv: float = 0.0) -> PhCalibration:
    return PhCalibration(slope_percent=slope_percent, offset_mv=offset_mv, day=DAY)


def test_an_offset_of_one_slope_is_one_ph() -> None:
    """58.17 mV at 20 °C (Nernst): with so much more offset the same water reads one pH lower by the old."""
    shown = change(electrode(), electrode(offset_mv=58.17))
    assert shown["at"] == 5.8
    assert shown["then"] == pytest.approx(4.8, abs=0.001)


@given(st.floats(85.0, 105.0), st.floats(-30.0, 30.0))
def test_the_same_calibration_changes_nothing(slope_percent: float, offset_mv: float) -> None:
    """Whatever it is."""
    same = electrode(slope_percent, offset_mv)
    assert change(same, same)["then"] == pytest.approx(5.8)


def test_each_quantity_is_told_in_its_own_unit() -> None:
    """A cell of twice the constant read half as much; a thermometer shifted; a level stretched."""
    cells = [EcCalibration(cell_constant_per_cm=constant, day=DAY) for constant in (0.5, 1.0)]
    assert change(*cells) == {"at": 1.2, "then": pytest.approx(0.6)}
    offsets = [TemperatureCalibration(offset_k=offset_k, day=DAY) for offset_k in (1.0, -0.5)]
    assert change(*offsets) == {"at": 20.0, "then": pytest.approx(21.5)}
    levels = [LevelCalibration(scale=scale, offset_share=0.0, day=DAY) for scale in (1.0, 1.25)]
    assert change(*levels) == {"at": 0.5, "then": pytest.approx(0.4)}


def test_without_an_old_one_there_is_nothing_to_compare_but_the_bare_probe() -> None:
    """pH and EC had no value; temperature and level showed theirs uncorrected."""
    assert change(None, electrode()) == {"at": 5.8}
    assert change(None, EcCalibration(cell_constant_per_cm=1.0, day=DAY)) == {"at": 1.2}
    assert change(None, TemperatureCalibration(offset_k=-0.5, day=DAY))["then"] == pytest.approx(20.5)
    assert change(None, LevelCalibration(scale=1.0, offset_share=0.1, day=DAY))["then"] == pytest.approx(0.4)
    assert "then" not in change(EcCalibration(cell_constant_per_cm=1.0, day=DAY), electrode())
