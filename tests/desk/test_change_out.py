"""New water: paused, noted, forgotten, and reminded of. The whole program on a stepped bench."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from daemon.desk.requests import Origin, RequestRefused
from daemon.measure.normal import afresh
from daemon.values import Condition, Quantity, Role
from tests.at_the_tank import BEGINNING, AtTheTank, at_the_tank, one_bed
from tests.hazards.kept import fed_bed

HOUR = 360  # passes
WEAK = {"nutrient_strength": 0.3}


@pytest.fixture
def tank(tmp_path: Path) -> Iterator[AtTheTank]:
    """The school garden with stocks, calibrated."""
    with at_the_tank(tmp_path, fed_bed(), tank=WEAK) as at:
        yield at


def test_it_pauses_and_says_what_to_do(tank: AtTheTank) -> None:
    """In order: mains, drain, fill, A, B, look; with the litres and millilitres of this reservoir."""
    tank.passes(1)
    answer = tank.ask("change_out.begin")
    assert tank.bed().condition is not Condition.LOCKED
    tank.passes(1)
    assert tank.bed().condition is Condition.HELD
    steps = answer["steps"]
    assert "mains first" in steps[0]
    assert "60 L" in steps[2]
    assert [
        step.startswith(("Stock A first: about 288 mL", "Then stock B: about 288 mL")) for step in steps[3:5]
    ] == [
        True,
        True,
    ]


def test_without_stocks_a_person_mixes(tmp_path: Path) -> None:
    """Up to the strength that is aimed at."""
    with at_the_tank(tmp_path, one_bed()) as at:
        at.passes(1)
        assert any("nutrient to EC 1.2 mS/cm" in step for step in at.ask("change_out.begin")["steps"])


def test_done_goes_on_and_the_new_water_owes_nothing(tank: AtTheTank) -> None:
    """An A into the old water asks for no B in the new."""
    tank.until(lambda _: any(e.pump is Role.STOCK_A for e in tank.service.ledger.recent(1)), within=HOUR)
    tank.ask("change_out.begin")
    tank.passes(60)
    assert "keeping" in tank.ask("change_out.done")["said"]
    tank.until(lambda _: tank.service.ledger.recent(1)[0].number > 1, within=2 * HOUR)
    later = [entry.pump for entry in tank.service.ledger.recent(50)][:-1]
    assert later[-1] is not Role.STOCK_B


def test_done_ends_no_hold_of_somebody_else(tank: AtTheTank) -> None:
    """Nor a lock."""
    tank.passes(1)
    tank.ask("hold", reason="cleaning")
    assert "held" in tank.ask("change_out.done")["said"]


@pytest.mark.parametrize("method", ["change_out.begin", "change_out.done"])
def test_only_for_a_person_at_the_tank(tank: AtTheTank, method: str) -> None:
    """Forgetting frees what is usual."""
    tank.passes(1)
    with pytest.raises(RequestRefused, match="at the tank"):
        tank.ask(method, Origin.REMOTE)


def test_not_while_a_probe_is_in_a_standard(tank: AtTheTank) -> None:
    """One thing after the other."""
    tank.passes(1)
    tank.ask("calibrate.begin", quantity="ph")
    with pytest.raises(RequestRefused, match="being calibrated"):
        tank.ask("change_out.begin")


def test_old_water_is_reminded_of_until_it_is_changed(tmp_path: Path) -> None:
    """After three weeks by the settings' default."""
    with at_the_tank(tmp_path, fed_bed(), tank=WEAK) as at:
        at.until(lambda _: bool(at.service.ledger.recent(1)), within=HOUR)
    for days, reminded in ((20, False), (22, True)):
        with at_the_tank(tmp_path, fed_bed(), tank=WEAK, start_utc=BEGINNING + timedelta(days=days)) as at:
            at.passes(HOUR + 10)
            assert ("bed1-water-change-out" in at.alarms()) is reminded
    with at_the_tank(tmp_path, fed_bed(), tank=WEAK, start_utc=BEGINNING + timedelta(days=22)) as at:
        at.passes(1)
        at.ask("change_out.done")
        at.passes(HOUR + 10)
        assert "bed1-water-change-out" not in at.alarms()


def test_much_stock_is_reminded_of_too(tmp_path: Path) -> None:
    """However young the water."""
    water = {"change_out_fills": 0.1}
    with at_the_tank(tmp_path, fed_bed(water=water), tank=WEAK) as at:
        at.passes(6 * HOUR)
        assert "bed1-water-change-out" in at.alarms()


def test_new_water_stands_where_it_stands_and_what_water_does_here_is_still_known(tank: AtTheTank) -> None:
    """Its level is not weighed against that of the old."""
    tank.passes(100)
    instruments = tank.loop.reservoirs["bed1"].instruments
    tank.ask("change_out.begin")
    before = dict(instruments.normals)
    tank.ask("change_out.done")
    assert all(normal.kept is not None for quantity, normal in before.items() if quantity is not Quantity.LEVEL)
    assert instruments.normals == {quantity: afresh(normal) for quantity, normal in before.items()}
