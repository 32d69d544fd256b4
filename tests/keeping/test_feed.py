"""The whole program on a stepped bench with stocks and water: strength and level kept."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from itertools import pairwise
from pathlib import Path

import pytest

from config.settings import Settings
from daemon.dose.strength import owed_ml
from daemon.values import Cap, Condition, Entry, Quantity, Refusal, Role
from sim_hw.faults import FaultName
from sim_hw.pins import Edge
from tests.at_the_tank import BEGINNING, AtTheTank, at_the_tank
from tests.hazards.kept import befall, fed_bed

HOUR = 360  # passes
MIXED_S = 3 * 120.0
WEAK = {"nutrient_strength": 0.3}


@pytest.fixture
def weak(tmp_path: Path) -> Iterator[AtTheTank]:
    """Too weak a solution."""
    with at_the_tank(tmp_path, fed_bed(), tank=WEAK) as at:
        yield at


def doses(at: AtTheTank, *roles: Role) -> list[Entry]:
    """What the ledger says, oldest first."""
    return [e for e in reversed(at.service.ledger.recent(500)) if not roles or e.pump in roles]


def ec(at: AtTheTank) -> float:
    """True strength of the whole tank, mS/cm at 25 °C."""
    return at.bench.world.basins["bed1"].tank.bulk().ec25_ms_per_cm


def ons(at: AtTheTank) -> list[Edge]:
    """Each start of any pump, as the lines saw it."""
    return sorted((edge for edge in at.bench.edges if edge.on), key=lambda edge: edge.at_s)


def test_a_weak_solution_is_brought_to_its_target(weak: AtTheTank) -> None:
    """By pairs, in a few steps and without overshoot; pH is kept beside."""
    before = ec(weak)
    weak.passes(12 * HOUR)
    assert before < 1.0
    assert ec(weak) == pytest.approx(1.2, abs=0.1)
    assert weak.bed().condition is Condition.KEEPING
    assert Role.PH_DOWN in {entry.pump for entry in doses(weak)}


def test_a_and_b_come_in_turns_as_much_of_each(weak: AtTheTank) -> None:
    """B follows its A, and nothing comes between the halves of a pair."""
    weak.passes(12 * HOUR)
    stocks = doses(weak, Role.STOCK_A, Role.STOCK_B)
    assert len(stocks) >= 4
    for a, b in zip(stocks[::2], stocks[1::2], strict=False):
        assert (a.pump, b.pump) == (Role.STOCK_A, Role.STOCK_B)
        assert b.ml == pytest.approx(a.ml, abs=0.06)
        assert b.number == a.number + 1


def test_ph_waits_until_strength_that_was_away_has_told_again(weak: AtTheTank) -> None:
    """The EC probe's plug is out for a moment while A mixes: acid, asked for by then, does not come before B."""
    weak.until(lambda _: doses(weak) != [], within=HOUR)
    weak.passes(32)
    weak.bench.play("unplug", probe="ec")
    weak.passes(1)
    weak.bench.play("plug", probe="ec")
    weak.until(lambda _: len(doses(weak)) > 1, within=HOUR)
    assert [entry.pump for entry in doses(weak)] == [Role.STOCK_A, Role.STOCK_B]


def test_no_two_doses_meet(weak: AtTheTank) -> None:
    """Three mixing times lie between any two, whatever is in the bottles."""
    weak.passes(6 * HOUR)
    starts = [edge.at_s for edge in ons(weak)]
    assert len(starts) > 4
    assert min(later - earlier for earlier, later in pairwise(starts)) >= MIXED_S


def test_after_a_refill_no_stock_is_given_for_three_mixing_times(weak: AtTheTank) -> None:
    """Three litres from a can, just before stock A is due; the refusals say so."""
    weak.passes(3)
    weak.bench.play("add_water", litres=3.0)
    filled_s, refused = weak.clock.monotonic_s(), set()
    while not doses(weak):
        weak.passes(1)
        decision = weak.bed().last_decision
        refused |= {decision.cap} if isinstance(decision, Refusal) else set()
    assert refused == {Cap.REFILL}
    assert ons(weak)[0].at_s - filled_s >= MIXED_S


def test_a_restart_between_the_halves_leaves_none_out(tmp_path: Path) -> None:
    """The ledger knows that a B is owed."""
    with at_the_tank(tmp_path, fed_bed(), tank=WEAK) as at:
        at.until(lambda _: doses(at, Role.STOCK_A) != [], within=HOUR)
        assert doses(at, Role.STOCK_B) == []
    with at_the_tank(tmp_path, fed_bed(), tank=WEAK) as at:
        at.until(lambda _: doses(at, Role.STOCK_B) != [], within=HOUR)
        assert doses(at, Role.STOCK_B)[0].ml == pytest.approx(doses(at, Role.STOCK_A)[0].ml, abs=0.06)
        assert len(doses(at, Role.STOCK_A)) == 1


def test_without_its_b_no_a_is_given(tmp_path: Path) -> None:
    """B's bottle is as good as empty: the refusal names B, and pH goes on being kept."""
    settings = fed_bed()
    pumps = dict(settings.reservoir["bed1"].pump)
    pumps["stock_b"] = pumps["stock_b"].model_copy(update={"bottle_ml": 0.1})
    bed = settings.reservoir["bed1"].model_copy(update={"pump": pumps})
    settings = settings.model_copy(update={"reservoir": {"bed1": bed}})
    with at_the_tank(tmp_path, settings, wired=fed_bed(), tank=WEAK) as at:
        refused = []
        for _ in range(3 * HOUR):
            at.passes(1)
            refused.append(at.bed().last_decision)
        first = next(r for r in refused if isinstance(r, Refusal) and r.request.pump is Role.STOCK_B)
        assert first.cap is Cap.BOTTLE
        assert {entry.pump for entry in doses(at)} == {Role.PH_DOWN}


@pytest.mark.parametrize("dead", ["stock_a", "stock_b"])
def test_a_stock_without_effect_locks(tmp_path: Path, dead: str) -> None:
    """After three doses at most; A and B then differ by no more than what those were."""
    with at_the_tank(tmp_path, fed_bed(), tank=WEAK) as at:
        befall(at, FaultName.PUMP_DEAD, dead)
        at.until(lambda state: state.reservoirs["bed1"].condition is Condition.LOCKED, within=12 * HOUR)
        assert len(doses(at, Role(dead))) <= 3
        assert "should have raised EC" in at.bed().condition_reason
        assert "stock " + dead[-1].upper() in at.bed().condition_reason


def test_a_stock_that_runs_in_by_itself_locks(tmp_path: Path) -> None:
    """A siphon of 2 mL a minute into water that is strong enough."""
    with at_the_tank(tmp_path, fed_bed("top_up")) as at:
        at.passes(HOUR)
        begun_s = at.clock.monotonic_s()
        for _ in range(4 * HOUR):
            with at.bench.world.lock:
                at.bench.world.catch_up()
                at.bench.world.basins["bed1"].tank.deliver("stock_a", 2.0 / 6.0)
            if at.passes(1).reservoirs["bed1"].condition is Condition.LOCKED:
                break
        assert at.bed().condition is Condition.LOCKED
        assert at.clock.monotonic_s() - begun_s < 4 * 3600.0


def test_strong_solution_is_diluted_where_there_is_room(tmp_path: Path) -> None:
    """Down into the dead band, never over the rim."""
    with at_the_tank(tmp_path, fed_bed(), tank={"nutrient_strength": 0.6}) as at:
        at.bench.play("drain", litres=12.0)
        before = ec(at)
        at.passes(24 * HOUR)
        assert before > 1.35
        assert ec(at) < before - 0.1
        assert at.bench.world.basins["bed1"].tank.volume_l <= 60.0 * 0.96


def test_the_level_is_kept_by_small_runs(tmp_path: Path) -> None:
    """What is missing comes back, and the level stays below the rim."""
    with at_the_tank(tmp_path, fed_bed(), tank={"nutrient_strength": 0.52}) as at:
        at.bench.play("drain", litres=9.0)
        at.passes(24 * HOUR)
        share = at.bench.world.basins["bed1"].tank.volume_l / 60.0
        assert 0.89 <= share <= 0.97
        assert {entry.pump for entry in doses(at)} >= {Role.TOP_UP}
        assert at.bed().condition is Condition.KEEPING


def test_a_flooded_bed_is_no_missing_water(tmp_path: Path) -> None:
    """The level falls by a third for a quarter of an hour, four times: nothing is added."""
    with at_the_tank(tmp_path, fed_bed(), tank={"nutrient_strength": 0.52, "plants": 0}) as at:
        at.passes(HOUR)
        for _ in range(4):
            at.bench.play("drain", litres=18.0)
            at.passes(90)
            with at.bench.world.lock:
                at.bench.world.catch_up()
                at.bench.world.basins["bed1"].tank.add_water(18.0)
            at.passes(HOUR)
        assert doses(at, Role.TOP_UP) == []


def test_without_a_level_that_is_measured_no_water_is_added(tmp_path: Path) -> None:
    """The sender's wire breaks: neither topped up nor diluted."""
    with at_the_tank(tmp_path, fed_bed(), tank={"nutrient_strength": 0.9}) as at:
        befall(at, FaultName.PROBE_UNPLUGGED, "level")
        at.bench.play("drain", litres=15.0)
        at.passes(3 * HOUR)
        assert doses(at) == []


def test_what_a_stock_does_to_ph_is_no_hand(weak: AtTheTank) -> None:
    """Stocks may be sour: while one mixes, pH may go where it likes."""
    weak.until(lambda _: doses(weak, Role.STOCK_A) != [], within=HOUR)
    with weak.bench.world.lock:
        weak.bench.world.catch_up()
        weak.bench.world.basins["bed1"].tank.deliver("ph_down", 20.0)
    for _ in range(40):
        weak.passes(1)
        assert "bed1-ph-moved" not in weak.alarms()
        assert weak.bed().condition is Condition.KEEPING


def test_stock_and_water_raise_no_false_alarm_on_ph(tmp_path: Path) -> None:
    """What they do to pH while they mix is neither a siphon nor a hand."""
    with at_the_tank(tmp_path, fed_bed(), tank=WEAK) as at:
        for _ in range(12 * HOUR):
            state = at.passes(1)
            assert state.reservoirs["bed1"].condition is Condition.KEEPING
        assert Quantity.EC in at.bed().verdicts
        assert owed_ml(at.service.ledger.recent(50, "bed1"), 1.0) < 0.06


def test_a_float_switch_fills_nothing(tmp_path: Path) -> None:
    """It cannot say when to stop."""
    raw = fed_bed().model_dump(exclude_none=True)
    bed, tank = raw["reservoir"]["bed1"], raw["rig"]["tank"]["bed1"]
    bed["probe"]["level"] = {"driver": "float_switch", "line": 23}
    tank["probe"] = [probe for probe in tank["probe"] if probe["kind"] != "level_sender"]
    tank["probe"].append({"kind": "float_switch", "line": 23, "switches_at_share": 0.95})
    with at_the_tank(tmp_path, Settings.model_validate(raw), tank={"nutrient_strength": 0.52}) as at:
        at.bench.play("drain", litres=6.0)
        at.passes(3 * HOUR)
        assert doses(at, Role.TOP_UP) == []
        decisions = at.bed().last_decision
        assert decisions is None or decisions.request.pump is not Role.TOP_UP


def test_a_stage_of_the_crop_moves_target_and_band(tmp_path: Path) -> None:
    """From its day on, hour by hour; the state shows the band that holds."""
    stages = (
        {"name": "seedling", "from_day": 0.0, "ec_target_ms_per_cm": 1.2},
        {
            "name": "leafing",
            "from_day": 1.0,
            "ec_target_ms_per_cm": 1.4,
            "bands": {"ec_low_ms_per_cm": 1.0, "ec_high_ms_per_cm": 1.8},
        },
    )
    settings = fed_bed(sown_on=BEGINNING.date(), stage_ramp_days=0.5, stage=stages)
    with at_the_tank(tmp_path, settings, tank={"nutrient_strength": 0.5}) as at:
        at.passes(6 * HOUR)
        assert at.bed().bands[Quantity.EC] == (0.8, 1.6)
        at.clock.set_off = timedelta(hours=22)
        at.passes(14 * HOUR)
        assert at.bed().bands[Quantity.EC] == pytest.approx((1.0, 1.8), abs=0.03)
        assert ec(at) == pytest.approx(1.4, abs=0.12)
