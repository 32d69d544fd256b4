"""The whole program on a stepped bench: what it does when doses or water do not do as they should."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import suppress
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from config.settings import Settings
from daemon.alarm.kinds import Kind
from daemon.alarm.table import TABLE
from daemon.dose.doubt_file import DoubtFile
from daemon.dose.level import STILL_S
from daemon.runs import BAD_ENDS
from daemon.values import (
    AlarmState,
    Cap,
    Condition,
    DoseReason,
    DoseRequest,
    Outcome,
    Permit,
    Quality,
    Quantity,
    Refusal,
    Role,
    VerdictReason,
)
from sim_hw.faults import FaultName
from tests.at_the_tank import BEGINNING, PASS_S, TO_A_DOSE, AtTheTank, at_the_tank, one_bed, raw_settings

HOUR = 360  # passes
LOCK_OUT = 36  # passes of three mixing times
PH_UP_LINE = 27
BASE = {"ph_down": {"substance": "potassium_hydroxide", "strength_mol_per_l": 0.5}}


@pytest.fixture
def tank(tmp_path: Path) -> Iterator[AtTheTank]:
    """The school garden, calibrated, its water at pH 7.2."""
    with at_the_tank(tmp_path) as at:
        yield at


@pytest.fixture
def calm(tmp_path: Path) -> Iterator[AtTheTank]:
    """Water brought near its target, with nothing to do for hours."""
    with at_the_tank(tmp_path) as at:
        at.passes(2 * HOUR)
        at.until(lambda _: idle(at), within=HOUR)
        yield at


def idle(at: AtTheTank) -> bool:
    """Whether the last dose lies ten minutes back and pH is well inside its dead band."""
    reading = at.bed().verdicts[Quantity.PH].reading
    runs = at.runs()
    return bool(
        runs and at.clock.monotonic_s() - runs[-1].at_s > 600.0 and reading is not None and reading.value < 6.02
    )


def befall(at: AtTheTank, name: FaultName, target: str, **more: Any) -> None:
    """A fault begins now."""
    at.bench.play("fault", name=name, target=target, **more)


def pour(at: AtTheTank, role: str, ml: float) -> None:
    """A person's hand."""
    with at.bench.world.lock:
        at.bench.world.catch_up()
        at.bench.world.basins["bed1"].tank.deliver(role, ml)


def kept_doubts(folder: Path) -> str:
    """What the next start will know of doubts."""
    with suppress(FileNotFoundError):
        return (folder / "doubts.json").read_text(encoding="utf-8")
    return ""


def until_locked(at: AtTheTank, within: int) -> str:
    """The reason of the lock that comes."""
    at.until(lambda state: state.reservoirs["bed1"].condition is Condition.LOCKED, within)
    return at.bed().condition_reason


# effects


@pytest.mark.parametrize("fault", [FaultName.PUMP_DEAD, FaultName.BOTTLE_EMPTY])
def test_doses_without_effect_lock_after_three(tank: AtTheTank, fault: FaultName) -> None:
    """From the first dose on; the reason says how much should have done what."""
    befall(tank, fault, "ph_down")
    reason = until_locked(tank, HOUR)
    assert len(tank.runs()) == 3
    assert "3 doses of pH down, 24.0 mL, should have moved pH by 0.40" in reason
    assert len(reason) < 200
    tank.passes(HOUR)
    assert len(tank.runs()) == 3
    assert "bed1-locked" in tank.alarms()


def test_a_restart_does_not_hide_what_a_rest_would_have_told(tmp_path: Path) -> None:
    """Three doses did nothing; the program ends while it takes a second look, and locks when it is back."""
    with at_the_tank(tmp_path) as at:
        befall(at, FaultName.PUMP_DEAD, "ph_down")
        at.until(lambda _: "untold" in kept_doubts(tmp_path), HOUR)
        assert at.bed().condition is Condition.KEEPING
    with at_the_tank(tmp_path) as at:
        assert "3 doses of pH down" in until_locked(at, TO_A_DOSE)
        assert at.runs() == []
        assert "untold" not in kept_doubts(tmp_path)


def test_people_at_work_make_what_the_rest_would_have_told_worthless(tmp_path: Path) -> None:
    """Whoever paused it and poured knows more than the program did before it ended."""
    with at_the_tank(tmp_path) as at:
        befall(at, FaultName.PUMP_DEAD, "ph_down")
        at.until(lambda _: "untold" in kept_doubts(tmp_path), HOUR)
        at.ask("hold", reservoir="bed1", reason="pouring")
    with at_the_tank(tmp_path) as at:
        at.passes(TO_A_DOSE)
        at.ask("release", reservoir="bed1")
        at.passes(TO_A_DOSE)
        assert at.bed().condition is Condition.KEEPING


@pytest.mark.parametrize("water", [{}, {"alkalinity_mmol_per_l": 3.0}, {"co2_exchange_per_h": 5.0}])
def test_a_pump_at_half_strength_is_not_taken_for_dead(tmp_path: Path, water: dict[str, float]) -> None:
    """In plain, hard and strongly aerated water, for three hours."""
    with at_the_tank(tmp_path, tank=water) as at:
        befall(at, FaultName.PUMP_FAST, "ph_down", size=0.5)
        at.passes(3 * HOUR)
        assert at.bed().condition is Condition.KEEPING
        assert len(at.runs()) > 10


def test_swapped_bottles_lock_after_one_dose(tmp_path: Path) -> None:
    """Base in the acid's bottle."""
    with at_the_tank(tmp_path, tank={"reagent": BASE}) as at:
        reason = until_locked(at, 2 * LOCK_OUT)
        assert len(at.runs()) == 1
        assert "the wrong way: wrong bottle" in reason


def test_a_pump_that_goes_on_after_its_dose_locks_within_minutes(tank: AtTheTank) -> None:
    """Its contact has welded: nothing but the water shows it."""
    tank.passes(TO_A_DOSE)
    befall(tank, FaultName.PUMP_STUCK_ON, "ph_down")
    begun_s = tank.clock.monotonic_s()
    assert "far beyond what that can do" in until_locked(tank, 30)
    assert tank.clock.monotonic_s() - begun_s < 180.0


def test_a_siphon_locks_within_ten_minutes(calm: AtTheTank) -> None:
    """1 mL of acid a minute through the standing pump."""
    befall(calm, FaultName.PUMP_LEAKS, "ph_down", size=1.0)
    runs = len(calm.runs())
    assert "with no dose, as if pH down ran by itself" in until_locked(calm, 60)
    assert len(calm.runs()) == runs


@pytest.mark.parametrize(("role", "ml"), [("ph_down", 40.0), ("ph_up", 60.0)])
def test_a_dose_by_hand_means_hands_off_and_no_lock(calm: AtTheTank, role: str, ml: float) -> None:
    """Up or down: no dose within the lock-out, an alarm that goes by itself, and then it goes on.

    What pH did is looked at every second pass. Acid poured within the pass before such a look may pass for a
    steady movement, and locks: the strict side.
    """
    calm.passes(1)
    runs = len(calm.runs()) + len(calm.runs(PH_UP_LINE))
    pour(calm, role, ml)
    calm.until(lambda _: "bed1-ph-moved" in calm.alarms(), within=LOCK_OUT)
    calm.passes(LOCK_OUT - 1)
    assert len(calm.runs()) + len(calm.runs(PH_UP_LINE)) == runs
    calm.until(lambda _: "bed1-ph-moved" not in calm.alarms(), within=2 * LOCK_OUT)
    calm.passes(HOUR // 2)
    assert calm.bed().condition is Condition.KEEPING
    assert (len(calm.runs()) > runs) is (role == "ph_up")


def test_while_held_nothing_is_judged(tank: AtTheTank) -> None:
    """A person at work pours what they like."""
    tank.ask("hold", reason="new water")
    tank.passes(100)
    befall(tank, FaultName.PUMP_LEAKS, "ph_down", size=20.0)
    tank.passes(100)
    assert tank.bed().condition is Condition.HELD
    assert "bed1-ph-moved" not in tank.alarms()


def test_while_watching_a_siphon_calls_and_does_not_lock(tmp_path: Path) -> None:
    """There is nothing to stop; the person decides."""
    with at_the_tank(tmp_path, one_bed(start="watching")) as at:
        at.passes(100)
        befall(at, FaultName.PUMP_LEAKS, "ph_down", size=3.0)
        at.until(lambda _: "bed1-ph-moved" in at.alarms(), within=100)
        at.passes(100)
        assert at.bed().condition is Condition.WATCHING


def minutes(at: AtTheTank, count: int) -> Iterator[None]:
    """A pass a minute, for so many minutes."""
    for _ in range(count):
        at.loop.one_pass()
        yield
        at.clock.sleep(60.0)


def test_a_pump_that_became_twice_as_fast_calls_and_its_doses_are_halved(tmp_path: Path) -> None:
    """Found against what this tank showed before; it never overshoots by 0.2 pH, and it goes on."""
    with at_the_tank(tmp_path) as at:
        for _ in minutes(at, 480):
            pass
        befall(at, FaultName.PUMP_FAST, "ph_down", size=2.0)
        lowest = 7.0
        for _ in minutes(at, 1440):
            lowest = min(lowest, at.bench.world.basins["bed1"].tank.look().ph)
            decision = at.bed().last_decision
            if "bed1-ph-down-too-strong" in at.alarms() and isinstance(decision, Permit):
                break
        assert isinstance(decision, Permit)
        assert decision.request.numbers["step_share"] == 0.5
        numbers = decision.request.numbers
        assert decision.ml == pytest.approx(numbers["need_ml"] * numbers["share_of_need"] / 2.0)
        assert lowest > 5.8
        assert at.bed().condition is Condition.KEEPING


def test_acid_and_base_in_turns_lock(tmp_path: Path) -> None:
    """Twice there and back within the day, and once more."""
    with at_the_tank(tmp_path) as at:
        for pump in (Role.PH_DOWN, Role.PH_UP, Role.PH_DOWN, Role.PH_UP):
            asked = DoseRequest("bed1", pump, 3.0, DoseReason.PH_HIGH)
            number = at.service.ledger.intend(Permit(asked, 3.0, 3.0), at.loop.stamp())
            at.service.ledger.settle(number, Outcome.DONE)
            at.clock.spend(600.0)
        at.clock.spend(7 * 3600.0)
        assert "acid and base in turns, 4 times" in until_locked(at, 2 * TO_A_DOSE)
        assert len(at.runs()) == 1


# interlocks


def with_level_sender(**changes: Any) -> Settings:
    """The school garden with a sender on the fourth input instead of the float switch."""
    raw = raw_settings()
    wiring = {"i2c_bus": 1, "address": 0x48, "input": 3, "empty_v": 0.5, "full_v": 2.5}
    raw["reservoir"]["bed1"]["probe"]["level"] = {"driver": "level_sender", "full_scale_v": 4.096, **wiring}
    raw["reservoir"]["bed1"].update(changes)
    tank = raw["rig"]["tank"]["bed1"]
    tank["probe"] = [probe for probe in tank["probe"] if probe["kind"] != "float_switch"]
    tank["probe"].append({"kind": "level_sender", **wiring})
    return Settings.model_validate(raw)


def with_contact(name: str) -> Settings:
    """The school garden with a contact on GPIO 5."""
    raw = raw_settings()
    raw["reservoir"]["bed1"][name] = {"line": 5}
    raw["rig"]["tank"]["bed1"]["probe"].append({"kind": "contact", "name": name, "line": 5})
    return Settings.model_validate(raw)


@pytest.mark.parametrize(("drained_l", "ml"), [(0.0, 8.0), (15.0, 6.0), (36.0, 1.6), (45.0, None)])
def test_a_dose_is_scaled_to_the_water_that_is_there(tmp_path: Path, drained_l: float, ml: float | None) -> None:
    """Full, 75 %, 40 % (half of that again), 25 %: nothing."""
    with at_the_tank(tmp_path, with_level_sender()) as at:
        if drained_l:
            at.bench.play("drain", litres=drained_l)
        decision = (
            at.until(lambda _: at.bed().last_decision is not None, TO_A_DOSE).reservoirs["bed1"].last_decision
        )
        if ml is None:
            assert isinstance(decision, Refusal)
            assert decision.cap is Cap.LEVEL
        else:
            assert isinstance(decision, Permit)
            assert decision.ml == pytest.approx(ml, rel=0.03)


def test_an_unplugged_sender_stops_dosing(tmp_path: Path) -> None:
    """Unknown is none."""
    with at_the_tank(tmp_path, with_level_sender()) as at:
        at.bench.play("unplug", probe="level")
        at.passes(2 * TO_A_DOSE)
        assert at.runs() == []
        decision = at.bed().last_decision
        assert isinstance(decision, Refusal)
        assert decision.cap is Cap.LEVEL


def test_after_a_refill_nothing_is_dosed_for_three_mixing_times(tmp_path: Path) -> None:
    """Ten litres from a can, just before a dose is due."""
    with at_the_tank(tmp_path, with_level_sender()) as at:
        at.bench.play("drain", litres=12.0)
        at.passes(TO_A_DOSE - 6)
        at.bench.play("add_water", litres=10.0)
        filled_s = at.clock.monotonic_s()
        at.until(lambda _: at.runs() != [], within=3 * LOCK_OUT)
        assert at.runs()[0].at_s - filled_s >= 360.0


def test_water_that_comes_in_while_a_dose_mixes_is_no_fault_of_it(tmp_path: Path) -> None:
    """Ten litres and some base, right after a dose of acid: pH rises, and nobody is locked out for it."""
    with at_the_tank(tmp_path, with_level_sender()) as at:
        at.bench.play("drain", litres=12.0)
        at.until(lambda _: at.runs() != [], within=HOUR)
        at.passes(3)
        at.bench.play("add_water", litres=10.0)
        pour(at, "ph_up", 40.0)
        at.passes(2 * LOCK_OUT)
        assert at.bed().condition is Condition.KEEPING


def test_while_doses_are_in_doubt_nothing_is_dosed(tank: AtTheTank) -> None:
    """A dead pump: three doses, then a quarter of an hour's rest that says what it is for, then the lock."""
    befall(tank, FaultName.PUMP_DEAD, "ph_down")
    tank.until(lambda state: "next to nothing" in state.reservoirs["bed1"].waiting_for, within=HOUR)
    tank.passes(80)
    assert tank.bed().condition is Condition.KEEPING
    assert len(tank.runs()) == 3
    until_locked(tank, 20)
    assert len(tank.runs()) == 3


def test_water_that_comes_in_while_doses_are_in_doubt_locks(tmp_path: Path) -> None:
    """Whether they did anything can no longer be told: that is no reason to go on."""
    with at_the_tank(tmp_path, with_level_sender()) as at:
        at.bench.play("drain", litres=12.0)
        befall(at, FaultName.PUMP_DEAD, "ph_down")
        at.until(lambda state: "next to nothing" in state.reservoirs["bed1"].waiting_for, within=HOUR)
        at.bench.play("add_water", litres=10.0)
        assert "bottle empty" in until_locked(at, 30)


def test_nothing_is_dosed_into_still_water(tmp_path: Path) -> None:
    """The flow contact opens; after an hour a person is called; it closes, and dosing begins."""
    with at_the_tank(tmp_path, with_contact("circulation")) as at:
        at.bench.play("unplug", probe="circulation")
        at.passes(TO_A_DOSE)
        decision = at.bed().last_decision
        assert isinstance(decision, Refusal)
        assert decision.cap is Cap.CIRCULATION
        at.passes(round(TABLE[Kind.CIRCULATION].on_delay_s / PASS_S))
        assert at.runs() == []
        assert "bed1-circulation" in at.alarms()
        at.bench.play("plug", probe="circulation")
        at.until(lambda _: at.runs() != [], within=2 * TO_A_DOSE)


def test_a_still_reservoir_filled_over_its_air_roots_calls_a_person(tmp_path: Path) -> None:
    """It had fallen to 75 %: five litres cover less than half of what was bare, thirteen nearly all of it."""
    settings = with_level_sender(system="still", pump={}, start="watching")
    with at_the_tank(tmp_path, settings) as at:
        settled = round(1.2 * STILL_S / PASS_S)
        at.passes(settled)
        at.bench.play("drain", litres=15.0)
        at.passes(settled)
        delay = round(TABLE[Kind.AIR_ROOTS].on_delay_s / PASS_S) + settled
        at.bench.play("add_water", litres=5.0)
        at.passes(delay)
        assert "bed1-level-air-roots" not in at.alarms()
        at.bench.play("add_water", litres=8.0)
        at.until(lambda _: "bed1-level-air-roots" in at.alarms(), within=delay)
        at.loop.reservoirs["bed1"].forget_water(at.loop.stamp())
        at.passes(delay)
        assert "bed1-level-air-roots" not in at.alarms()


def test_air_roots_are_remembered_through_a_restart(tmp_path: Path) -> None:
    """It had fallen to 75 %; while the program was off somebody filled it up."""
    settings = with_level_sender(system="still", pump={}, start="watching")
    settled = round(1.2 * STILL_S / PASS_S)
    with at_the_tank(tmp_path, settings) as at:
        at.passes(settled)
        at.bench.play("drain", litres=15.0)
        at.passes(settled)
    delay = round(TABLE[Kind.AIR_ROOTS].on_delay_s / PASS_S) + settled
    with at_the_tank(tmp_path, settings) as at:
        at.until(lambda _: "bed1-level-air-roots" in at.alarms(), within=delay)
        assert DoubtFile(tmp_path / "doubts.json").known("bed1").lowest == 0.75
        at.loop.reservoirs["bed1"].forget_water(at.loop.stamp())
        at.passes(1)
        assert DoubtFile(tmp_path / "doubts.json").known("bed1").lowest != 0.75


def test_a_wet_tray_locks(tmp_path: Path) -> None:
    """At the second look; a single one is a drop on the wire."""
    with at_the_tank(tmp_path, with_contact("tray")) as at:
        at.passes(3)
        at.bench.play("unplug", probe="tray")
        at.passes(1)
        at.bench.play("plug", probe="tray")
        assert at.passes(3).reservoirs["bed1"].condition is Condition.KEEPING
        at.bench.play("unplug", probe="tray")
        assert "tray" in until_locked(at, 2)
        assert at.runs() == []


def test_without_a_thermometer_ph_goes_on_and_ec_does_not(tmp_path: Path) -> None:
    """By the assumed temperature, and the alarm says so."""
    with at_the_tank(tmp_path, one_bed(assumed_temperature_c=20.0)) as at:
        at.bench.play("unplug", probe="temperature")
        at.passes(TO_A_DOSE)
        ec = at.bed().verdicts[Quantity.EC]
        assert (ec.quality, ec.reason) == (Quality.BAD, VerdictReason.NO_TEMPERATURE)
        assert at.bed().verdicts[Quantity.PH].usable
        assert "reckoned with the assumed 20 °C" in at.alarms()["bed1-temperature-probe"].text


# restarts


class KilledError(Exception):
    """Ends a run at once, without a word."""


def crash(folder: Path, start_s: float) -> None:
    """A run of three passes that ends badly."""
    with suppress(KilledError), at_the_tank(folder, start_utc=BEGINNING + timedelta(seconds=start_s)) as at:
        at.passes(3)
        raise KilledError


def test_after_three_bad_ends_it_only_watches_until_cleared(tmp_path: Path) -> None:
    """It says so, and a clean restart does not change it."""
    for count in range(BAD_ENDS):
        crash(tmp_path, 60.0 * count)
    for _ in range(2):
        with at_the_tank(tmp_path) as at:
            state = at.passes(2 * TO_A_DOSE)
            assert at.bed().condition is Condition.WATCHING
            assert "ended abnormally" in at.bed().condition_reason
            assert any("ended abnormally" in note for note in state.notes)
            assert "restarts" in at.alarms()
            assert at.runs() == []
    with at_the_tank(tmp_path) as at:
        at.passes(1)
        assert "keeping" in at.ask("clear")["said"]
        state = at.passes(2 * TO_A_DOSE)
        assert state.notes == ()
        assert "restarts" not in at.alarms()
        assert at.runs() != []


def test_release_goes_on_as_well(tmp_path: Path) -> None:
    """Either word of a person at the tank will do."""
    for count in range(BAD_ENDS):
        crash(tmp_path, 60.0 * count)
    with at_the_tank(tmp_path) as at:
        at.passes(1)
        assert "keeping" in at.ask("release")["said"]


def test_a_new_version_only_watches_for_an_hour(tmp_path: Path) -> None:
    """Then it goes on by itself, without an alarm."""
    with at_the_tank(tmp_path) as at:
        at.passes(1)
    record = json.loads((tmp_path / "runs.json").read_text())
    (tmp_path / "runs.json").write_text(json.dumps({**record, "version": "0.0.9"}))
    with at_the_tank(tmp_path) as at:
        at.passes(HOUR - 5)
        assert at.bed().condition is Condition.WATCHING
        assert "new version" in at.bed().condition_reason
        assert at.runs() == []
        assert "restarts" not in at.alarms()
        at.passes(10 + TO_A_DOSE)
        assert at.bed().condition is Condition.KEEPING
        assert at.runs() != []


# a ledger that cannot be read


def test_without_a_ledger_it_measures_and_is_locked(tmp_path: Path) -> None:
    """Nothing can be cleared until the ledger is back; then a person clears it."""
    (tmp_path / "ledger.db").write_bytes(b"not a ledger" * 100)
    with at_the_tank(tmp_path) as at:
        state = at.passes(2 * TO_A_DOSE)
        assert at.bed().condition is Condition.LOCKED
        assert at.bed().verdicts[Quantity.PH].usable
        assert {"ledger", "bed1-locked"} <= at.alarms().keys()
        assert state.reservoirs["bed1"].caps[Role.PH_DOWN].last_day_ml == 150.0
        with pytest.raises(Exception, match="evenwater repair"):
            at.ask("clear")
        (tmp_path / "ledger.db").unlink()
        at.passes(40)
        assert at.alarms()["ledger"].state is AlarmState.RETURNED
        assert at.bed().condition is Condition.LOCKED
        assert at.runs() == []
        at.ask("clear")
        at.until(lambda _: at.runs() != [], within=TO_A_DOSE)
