"""How time passes on the far side of the wires."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from sim_hw.clock import BenchClock
from sim_hw.faults import Fault, FaultName
from sim_hw.pins import Edge
from sim_hw.tables import check
from sim_hw.world import PlayError, World
from tests.sim_hw.a_bench import a_table


def a_world(read_edges: Callable[[], list[Edge]] = list) -> tuple[World, BenchClock]:
    """One tank and its clock."""
    clock = BenchClock(0.0)
    return World(check(a_table()), clock, read_edges), clock


def delivered_ml(world: World, role: str = "ph_down") -> float:
    """What a pump has truly delivered by now."""
    return float(world.truth()["tanks"]["bed1"]["pumps"][role]["delivered_ml"])


def test_edges_of_another_process_count_by_their_own_times() -> None:
    """Whenever they are read: 3 s on within the last minute are 3 s of delivery, in the record too."""
    waiting: list[Edge] = []

    def read() -> list[Edge]:
        taken = list(waiting)
        waiting.clear()
        return taken

    world, clock = a_world(read)
    clock.sleep(60.0)
    waiting += [Edge(10.0, 17, True), Edge(13.0, 17, False)]
    assert delivered_ml(world) == pytest.approx(3.09)
    run = world.basins["bed1"].pumps["ph_down"].runs[-1]
    assert (run.start_s, run.end_s) == (10.0, 13.0)


def test_a_pump_that_is_on_delivers_as_time_passes() -> None:
    """Looked at in the middle of a run, half of it has come out."""
    world, clock = a_world()
    world.tell(17, True)
    clock.sleep(2.0)
    assert delivered_ml(world) == pytest.approx(2.06)
    clock.sleep(2.0)
    world.tell(17, False)
    clock.sleep(100.0)
    assert delivered_ml(world) == pytest.approx(4.12)


def test_a_signal_in_the_middle_of_a_step_turns_a_pump_off() -> None:
    """Its handler runs on the thread that is moving the world; the edge counts, the world is not moved twice."""
    world, clock = a_world()
    world.tell(17, True)
    tank = world.basins["bed1"].tank
    advance = tank.advance

    def interrupted(seconds: float, day_s: float) -> None:
        clock.sleep(1.0)
        world.tell(17, False)
        advance(seconds, day_s)

    tank.advance = interrupted  # type: ignore[method-assign]
    clock.sleep(2.0)
    world.catch_up()
    tank.advance = advance  # type: ignore[method-assign]
    clock.sleep(100.0)
    assert delivered_ml(world) == pytest.approx(2.06)


def test_a_line_without_a_pump_is_only_recorded() -> None:
    """Nothing flows."""
    world, clock = a_world()
    world.tell(5, True)
    clock.sleep(10.0)
    assert delivered_ml(world) + delivered_ml(world, "ph_up") == 0.0
    assert [edge.line for edge in world.edges] == [5]


def test_a_line_without_a_switch_has_no_contact() -> None:
    """None, not open."""
    world, _ = a_world()
    assert world.contact(23) is True
    assert world.contact(5) is None


def test_faults_of_the_same_name_end_together() -> None:
    """Mending says how many there were; a past one does not count."""
    world, clock = a_world()
    for start_s, end_s in ((0.0, 1.0), (0.0, 50.0), (100.0, 200.0)):
        world.add_fault(Fault(FaultName.PUMP_DEAD, "bed1/ph_down", start_s, end_s))
    clock.sleep(10.0)
    assert world.end_fault(FaultName.PUMP_DEAD, "bed1/ph_down") == 2
    assert world.end_fault(FaultName.PUMP_DEAD, "bed1/ph_down") == 0
    assert world.faults_now() == []


def test_a_fault_on_nothing_is_refused() -> None:
    """The message lists the tanks."""
    world, _ = a_world()
    with pytest.raises(PlayError, match="there is no tank 'bed9': there are bed1"):
        world.add_fault(Fault(FaultName.PUMP_DEAD, "bed9/ph_down", 0.0))


def test_the_day_goes_on_through_a_long_silence() -> None:
    """Nobody looked for two days and a half; the water has the temperature of that hour."""
    clock = BenchClock(0.0)
    world = World(check(a_table(tank={"temperature_swing_c": 2.0})), clock, list)
    warm_c: list[float] = []
    for _ in range(2):  # 06:00 plus 57 h is 15:00, the warmest hour; 12 h later the coldest
        clock.sleep(57 * 3600.0 if not warm_c else 12 * 3600.0)
        warm_c.append(world.truth()["tanks"]["bed1"]["temperature_c"])
    assert warm_c == [pytest.approx(22.0, abs=0.01), pytest.approx(18.0, abs=0.01)]
