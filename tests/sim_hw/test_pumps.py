"""Simulated pumps: line time to mL."""

from __future__ import annotations

import pytest

from sim_hw.faults import Fault, FaultName
from sim_hw.pumps import Pump, Run
from sim_hw.tables import PumpTable


def a_pump(**changes: float) -> Pump:
    """A pump of 1.03 mL/s with a litre."""
    return Pump(PumpTable.model_validate({"role": "ph_down", "line": 17, **changes}))


def befallen(pump: Pump, name: FaultName, size: float | None = None) -> Pump:
    """The pump with that one fault."""
    pump.faults = {name: Fault(name, "bed1/ph_down", 0.0, size=size)}
    return pump


def test_line_time_becomes_ml_at_the_true_rate() -> None:
    """Off nothing, on 1.03 mL each second, and the bottle has that much less."""
    pump = a_pump()
    assert pump.run(10.0) == 0.0
    pump.on = True
    assert pump.run(10.0) == pytest.approx(10.3)
    assert pump.left_ml == pytest.approx(989.7)
    assert pump.delivered_ml == pytest.approx(10.3)


def test_a_bottle_gives_no_more_than_it_holds() -> None:
    """Then nothing, until it is refilled."""
    pump = a_pump(bottle_ml=5.0)
    pump.on = True
    assert pump.run(10.0) == 5.0
    assert pump.run(10.0) == 0.0
    pump.refill()
    assert pump.run(1.0) == pytest.approx(1.03)
    pump.empty()
    assert pump.run(1.0) == 0.0


@pytest.mark.parametrize("name", [FaultName.PUMP_DEAD, FaultName.BOTTLE_EMPTY])
def test_a_dead_pump_turns_and_delivers_nothing(name: FaultName) -> None:
    """Its bottle keeps what it has."""
    pump = befallen(a_pump(), name)
    pump.on = True
    assert pump.turns()
    assert pump.run(10.0) == 0.0
    assert pump.left_ml == 1000.0


@pytest.mark.parametrize(("size", "times"), [(None, 2.0), (1.5, 1.5)])
def test_a_fast_pump_delivers_its_multiple(size: float | None, times: float) -> None:
    """Twice its rate where nothing is said."""
    pump = befallen(a_pump(), FaultName.PUMP_FAST, size)
    pump.on = True
    assert pump.run(10.0) == pytest.approx(10.3 * times)


def test_a_stuck_pump_turns_with_its_line_low() -> None:
    """And delivers."""
    pump = befallen(a_pump(), FaultName.PUMP_STUCK_ON)
    assert pump.run(10.0) == pytest.approx(10.3)


def test_runs_are_kept_as_they_truly_were() -> None:
    """Start, end and mL of each."""
    pump = a_pump(ml_per_s=1.0)
    pump.on = True
    pump.note(100.0)
    pump.run(4.0)
    pump.note(104.0)
    pump.on = False
    pump.note(104.0)
    assert list(pump.runs) == [Run(100.0, 104.0, 4.0)]
