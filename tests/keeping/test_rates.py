"""Measuring a pump at the tank, how old its rate is, and the hours of its tube: the whole program."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from datetime import date
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from daemon.desk.requests import RequestRefused
from daemon.values import Cap, Condition, Refusal, Role
from tests.at_the_tank import TO_A_DOSE, AtTheTank, at_the_tank, pump_settings

ACID: dict[str, Any] = {"pump": "ph_down"}
TRUE_ML_PER_S = 1.03  # the bench's pump; its settings say 1
HOUR = 360  # passes


@pytest.fixture
def tank(tmp_path: Path) -> Iterator[AtTheTank]:
    """The school garden after its first pass, held by a person."""
    with at_the_tank(tmp_path) as at:
        at.passes(1)
        at.ask("hold", reason="measuring")
        yield at


def timed(at: AtTheTank, count: int = 2, run_s: float = 8.0) -> list[float]:
    """So many runs; what truly came out in each."""
    pump, ml = at.bench.world.basins["bed1"].pumps[Role.PH_DOWN], []
    for _ in range(count):
        before_ml = pump.delivered_ml
        at.ask("calibrate_pump.run", **ACID, run_s=run_s)
        at.bench.world.catch_up()
        ml.append(round(pump.delivered_ml - before_ml, 2))
    return ml


def acid(at: AtTheTank) -> Any:
    """The acid pump's limits as the caps know them."""
    return at.loop.reservoirs["bed1"].rates.limits[Role.PH_DOWN]


def test_amounts_of_other_runs_are_not_taken(tank: AtTheTank) -> None:
    """Who looked at runs that somebody has forgotten since is told; the runs that wait are kept."""
    timed(tank)
    (first, _) = tank.ask("calibrate_pump.look", **ACID)["runs"]
    tank.ask("calibrate_pump.cancel", **ACID)
    read_ml = timed(tank)
    with pytest.raises(RequestRefused, match="the pH down pump has other runs behind it by now"):
        tank.ask("calibrate_pump.finish", **ACID, measured_ml=read_ml, first=first["entry"])
    (first, _) = tank.ask("calibrate_pump.look", **ACID)["runs"]
    assert tank.ask("calibrate_pump.finish", **ACID, measured_ml=read_ml, first=first["entry"])["accepted"]


def test_a_run_that_is_asked_for_twice_is_one(tank: AtTheTank) -> None:
    """By who says how many there were."""
    tank.ask("calibrate_pump.run", **ACID, runs=0)
    before = len(tank.runs())
    with pytest.raises(RequestRefused, match="the pH down pump has other runs behind it by now"):
        tank.ask("calibrate_pump.run", **ACID, runs=0)
    assert len(tank.runs()) == before
    tank.ask("calibrate_pump.run", **ACID, runs=1)
    assert len(tank.runs()) == before + 1


def test_a_measured_rate_takes_the_place_of_the_guess_at_once(tank: AtTheTank, tmp_path: Path) -> None:
    """In the caps and in the driver, in the file, in what people see, and after a restart."""
    read_ml = timed(tank, 3)
    answer = tank.ask("calibrate_pump.finish", **ACID, measured_ml=read_ml)
    assert answer["accepted"] is True
    assert answer["said"].startswith("pH down pump: was 1, now 1.03 mL/s, the runs differ by ")
    assert acid(tank).ml_per_s == pytest.approx(TRUE_ML_PER_S, rel=0.01)
    kept = tomllib.loads((tmp_path / "calibrations.toml").read_text())["reservoir"]["bed1"]["pump"]["ph_down"]
    assert kept["day"] == date(2026, 4, 1)
    assert [run["ml"] for run in kept["run"]] == read_ml
    assert [run["entry"] for run in kept["run"]] == [1, 2, 3]
    seen = tank.passes(1).reservoirs["bed1"].pumps[Role.PH_DOWN]
    assert (seen.ml_per_s, seen.measured_on) == (acid(tank).ml_per_s, "2026-04-01")
    before_ml_per_s = acid(tank).ml_per_s
    tank.service.close()
    with at_the_tank(tmp_path) as again:
        assert acid(again).ml_per_s == before_ml_per_s
        again.ask("hold", reason="priming")
        again.passes(2 * HOUR)
        again.ask("prime", **ACID, ml=2.0)
        on, off = again.bench.edges[-2:]
        assert (on.on, off.on) == (True, False)
        assert off.at_s - on.at_s == pytest.approx(2.0 / before_ml_per_s, abs=0.02)


def test_the_next_dose_is_as_long_as_the_new_rate_makes_it(tank: AtTheTank) -> None:
    """Driver and permit reckon by the same number."""
    timed(tank, 2)
    tank.ask("calibrate_pump.finish", **ACID, measured_ml=[16.0, 16.0])
    answer = tank.ask("calibrate_pump.run", **ACID, run_s=4.0)
    on, off = tank.bench.edges[-2:]
    assert answer["assumed_ml"] == pytest.approx(8.0)
    assert off.at_s - on.at_s == pytest.approx(answer["run_s"], abs=0.02) == pytest.approx(4.0, abs=0.02)


def test_runs_follow_at_once_and_are_charged(tank: AtTheTank) -> None:
    """No wait for mixing in between; each counts against caps and bottle, and later doses wait for it."""
    timed(tank, 2)
    use = tank.passes(1).reservoirs["bed1"].caps[Role.PH_DOWN]
    assert (use.last_hour_ml, use.last_day_ml, use.bottle_left_ml) == (16.0, 16.0, 984.0)
    assert [entry["reason"] for entry in tank.ask("ledger", last=2)] == ["measure", "measure"]
    tank.ask("release")
    tank.passes(TO_A_DOSE)
    assert len(tank.runs()) == 2
    decision = tank.bed().last_decision
    assert decision is None or (isinstance(decision, Refusal) and decision.cap in (Cap.GAP, Cap.MIXING))


@pytest.mark.parametrize(("read_ml", "charged_ml"), [([9.0, 9.2], 18.2), ([7.0, 7.2], 16.0)])
def test_what_came_out_beyond_the_charge_is_charged_too(
    tank: AtTheTank, read_ml: list[float], charged_ml: float
) -> None:
    """A faster pump's difference counts; a slower one's is never paid back. No tube hours for it."""
    timed(tank, 2)
    tank.ask("calibrate_pump.finish", **ACID, measured_ml=read_ml)
    bed = tank.passes(1).reservoirs["bed1"]
    assert bed.caps[Role.PH_DOWN].last_day_ml == pytest.approx(charged_ml)
    assert bed.pumps[Role.PH_DOWN].tube_h == pytest.approx(16.0 / 3600.0, abs=1e-5)
    assert len(tank.runs()) == 2


def test_reckoning_keeps_nothing(tank: AtTheTank) -> None:
    """Old and new are shown; nothing is charged, nothing changed, the runs wait."""
    timed(tank, 2)
    answer = tank.ask("calibrate_pump.finish", **ACID, measured_ml=[9.0, 9.0], keep=False)
    assert (answer["accepted"], answer["old_ml_per_s"]) == (True, 1.0)
    assert "would be" in answer["said"]
    assert acid(tank).ml_per_s == 1.0
    assert tank.passes(1).reservoirs["bed1"].caps[Role.PH_DOWN].last_day_ml == 16.0
    assert tank.ask("calibrate_pump.finish", **ACID, measured_ml=[9.0, 9.0])["accepted"] is True


@pytest.mark.parametrize(
    ("read_ml", "says"),
    [([8.0, 9.5], "the runs differ by 17 %"), ([3.0, 3.0], "less than half"), ([80.0, 80.0], "more than twice")],
)
def test_what_cannot_be_is_not_kept(tank: AtTheTank, read_ml: list[float], says: str) -> None:
    """The old rate stays, nothing more is charged; with the right amounts the same runs can still be finished."""
    timed(tank, 2)
    answer = tank.ask("calibrate_pump.finish", **ACID, measured_ml=read_ml)
    assert answer["accepted"] is False
    assert says in answer["said"].replace("%", " %").replace("  ", " ")
    assert acid(tank).ml_per_s == 1.0
    assert tank.passes(1).reservoirs["bed1"].caps[Role.PH_DOWN].last_day_ml == 16.0
    assert tank.ask("calibrate_pump.finish", **ACID, measured_ml=[8.2, 8.3])["accepted"] is True


def test_runs_are_used_once(tank: AtTheTank) -> None:
    """A second finish finds none, so that nothing is charged twice."""
    timed(tank, 2)
    tank.ask("calibrate_pump.finish", **ACID, measured_ml=[9.0, 9.0])
    with pytest.raises(RequestRefused, match="0 timed runs"):
        tank.ask("calibrate_pump.finish", **ACID, measured_ml=[9.0, 9.0])
    assert tank.passes(1).reservoirs["bed1"].caps[Role.PH_DOWN].last_day_ml == pytest.approx(18.0)


def test_amounts_and_runs_belong_together(tank: AtTheTank) -> None:
    """One for each; runs forgotten cannot be finished; the sixth run is one too many."""
    timed(tank, 2)
    with pytest.raises(RequestRefused, match=r"2 timed runs .* 1 amounts"):
        tank.ask("calibrate_pump.finish", **ACID, measured_ml=[8.0])
    tank.ask("calibrate_pump.cancel", **ACID)
    with pytest.raises(RequestRefused, match="0 timed runs"):
        tank.ask("calibrate_pump.finish", **ACID, measured_ml=[8.0, 8.0])
    timed(tank, 5)
    with pytest.raises(RequestRefused, match="5 runs are enough"):
        tank.ask("calibrate_pump.run", **ACID)


def test_a_run_too_short_to_say_anything_is_not_begun(tank: AtTheTank) -> None:
    """Where a cap leaves less than 3 s; the cap is named."""
    for run_s in (8.0, 8.0, 8.0, 8.0, 8.0, 8.0, 7.0, 3.0):
        timed(tank, 1, run_s)
        tank.ask("calibrate_pump.cancel", **ACID)
    assert tank.passes(1).reservoirs["bed1"].caps[Role.PH_DOWN].last_hour_ml == 58.0  # of 60
    before = len(tank.runs())
    with pytest.raises(RequestRefused, match="the cap per rolling hour"):
        tank.ask("calibrate_pump.run", **ACID)
    assert len(tank.runs()) == before


def test_measuring_needs_a_pause(tank: AtTheTank) -> None:
    """While it keeps itself, or is locked, the pump stands, and the next step is said."""
    tank.ask("release")
    with pytest.raises(RequestRefused, match="evenwater hold"):
        tank.ask("calibrate_pump.run", **ACID)
    tank.loop.reservoirs["bed1"].lock("split tube", tank.loop.stamp())
    with pytest.raises(RequestRefused, match=r"locked.*evenwater clear"):
        tank.ask("calibrate_pump.run", **ACID)
    assert tank.runs() == []


def test_a_book_that_cannot_be_written_changes_nothing(tank: AtTheTank, tmp_path: Path) -> None:
    """The old rate goes on in caps and driver alike, and the runs can be finished later."""
    timed(tank, 2)
    good = (tmp_path / "calibrations.toml").read_text()
    (tmp_path / "calibrations.toml").write_text("[[[")
    with pytest.raises(RequestRefused, match="not valid TOML"):
        tank.ask("calibrate_pump.finish", **ACID, measured_ml=[8.2, 8.3])
    assert acid(tank).ml_per_s == 1.0
    (tmp_path / "calibrations.toml").write_text(good)
    assert tank.ask("calibrate_pump.finish", **ACID, measured_ml=[8.2, 8.3])["accepted"] is True


# age


@pytest.mark.parametrize(
    ("measured_on", "alarm", "doses"),
    [
        (None, "bed1-ph-down-rate-old", True),
        (date(2026, 3, 2), None, True),
        (date(2026, 1, 1), "bed1-ph-down-rate-old", True),  # 90 days
        (date(2025, 12, 31), "bed1-ph-down-rate-expired", False),
    ],
)
def test_the_age_of_a_rate(tmp_path: Path, measured_on: date | None, alarm: str | None, doses: bool) -> None:
    """A reminder without a date or from 60 days on; beyond 90 the pump no longer doses, and calls."""
    settings = pump_settings(**({} if measured_on is None else {"measured_on": measured_on}))
    with at_the_tank(tmp_path, settings) as at:
        at.passes(HOUR + 10)
        found = [key for key in at.alarms() if key.startswith("bed1-ph-down-rate")]
        assert found == ([alarm] if alarm else [])
        assert (at.runs() != []) is doses
        if not doses:
            decision = at.bed().last_decision
            assert isinstance(decision, Refusal)
            assert decision.cap is Cap.RATE
            assert at.bed().condition is Condition.KEEPING


def test_measuring_ends_the_wait(tmp_path: Path) -> None:
    """An expired pump is measured, and doses again."""
    with at_the_tank(tmp_path, pump_settings(measured_on=date(2025, 6, 1))) as at:
        at.passes(TO_A_DOSE)
        assert at.runs() == []
        at.ask("hold", reason="measuring")
        read_ml = timed(at, 2)
        at.ask("calibrate_pump.finish", **ACID, measured_ml=read_ml)
        at.ask("release")
        at.until(lambda _: len(at.runs()) == 3, within=HOUR)
        assert "bed1-ph-down-rate-expired" not in at.alarms()


# tubes


def test_a_new_tube_is_not_dosed_with_until_it_is_measured(tank: AtTheTank) -> None:
    """Called at once; even a rate measured the same day is of the old tube, and half a measurement is none."""
    tank.ask("calibrate_pump.finish", **ACID, measured_ml=timed(tank, 2))
    timed(tank, 1)
    assert "evenwater calibrate pump ph_down" in tank.ask("tube", **ACID)["said"]
    with pytest.raises(RequestRefused, match="0 timed runs"):
        tank.ask("calibrate_pump.finish", **ACID, measured_ml=[8.0])
    tank.ask("release")
    tank.passes(HOUR)
    assert len(tank.runs()) == 3
    assert "of the tube that was in before" in tank.alarms()["bed1-ph-down-rate-expired"].text
    tank.ask("hold", reason="measuring")
    tank.ask("calibrate_pump.finish", **ACID, measured_ml=timed(tank, 2))
    tank.ask("release")
    tank.until(lambda _: len(tank.runs()) == 6, within=HOUR)


def test_the_hours_of_a_tube_are_counted_and_told(tmp_path: Path) -> None:
    """Through a restart, until a person says that a new one is in; dosing goes on."""
    settings = pump_settings(tube_hours=20.0 / 3600.0, measured_on=date(2026, 4, 1))
    with at_the_tank(tmp_path, settings) as at:
        at.until(lambda _: len(at.runs()) == 4, within=HOUR)
        seconds = [off.at_s - on.at_s for on, off in pairwise(at.bench.edges) if on.on]
    with at_the_tank(tmp_path, settings) as at:
        state = at.passes(HOUR + 10).reservoirs["bed1"].pumps[Role.PH_DOWN]
        assert state.tube_h is not None
        assert state.tube_h * 3600.0 >= sum(seconds) - 0.1 >= 20.0
        assert "its maker gives it" in at.alarms()["bed1-ph-down-tube-worn"].text
        at.ask("tube", **ACID)
        assert at.passes(1).reservoirs["bed1"].pumps[Role.PH_DOWN].tube_h == 0.0
        assert "bed1-ph-down-tube-worn" not in at.alarms()


def test_settings_that_now_mean_another_pump(tmp_path: Path) -> None:
    """The rate measured of the old one is not dosed by, nor the new guess before it is measured."""
    with at_the_tank(tmp_path) as at:
        at.passes(1)
        at.ask("hold", reason="measuring")
        at.ask("calibrate_pump.finish", **ACID, measured_ml=timed(at, 2))
    with at_the_tank(tmp_path, pump_settings(ml_per_s=3.0)) as at:
        at.ask("release")
        at.passes(HOUR)
        assert at.runs() == []
        assert acid(at).ml_per_s == 3.0
        assert "no longer near" in at.alarms()["bed1-ph-down-rate-expired"].text
