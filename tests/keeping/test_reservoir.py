"""One reservoir between its probes and its pumps: what it sees, why it does nothing, and whom it calls."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from config.load import load
from config.settings import Settings
from daemon import words
from daemon.alarm.kinds import Kind
from daemon.alarm.table import TABLE
from daemon.desk.requests import RequestRefused
from daemon.measure.air import saturation_kpa
from daemon.values import (
    Cap,
    Condition,
    Outcome,
    Permit,
    Priority,
    Quality,
    Quantity,
    Refusal,
    Role,
    VerdictReason,
)
from sim_hw.faults import BUS_FAULTS, CHIP_FAULTS, FaultName
from tests.at_the_tank import (
    PASS_S,
    RIGS,
    TO_A_DOSE,
    AtTheTank,
    at_the_tank,
    one_bed,
    pump_settings,
    raw_settings,
    two_beds,
)

QUARTER = 90  # passes of a quarter of an hour
BED2_LINE = 22
TRUE_WITHIN = (  # a bench's probes are off by what is usual: electrode and cell as calibrated, 0.1 K
    (Quantity.PH, "ph", 0.05),
    (Quantity.EC, "ec25_ms_per_cm", 0.03),
    (Quantity.TEMPERATURE, "temperature_c", 0.25),
)


@pytest.fixture
def tank(tmp_path: Path) -> Iterator[AtTheTank]:
    """The school garden, calibrated, its water at pH 7.2."""
    with at_the_tank(tmp_path) as at:
        yield at


def without(*names: str, **changes: Any) -> Settings:
    """The school garden without some of its probes and pumps."""
    raw = raw_settings()
    bed = raw["reservoir"]["bed1"]
    for kind in ("probe", "pump"):
        bed[kind] = {name: table for name, table in bed[kind].items() if name not in names}
    bed.update(changes)
    return Settings.model_validate(raw)


# several reservoirs


@pytest.mark.parametrize("fault", [FaultName.PROBE_UNPLUGGED, *sorted(CHIP_FAULTS)])
def test_one_reservoirs_fault_never_stops_the_other(tmp_path: Path, fault: FaultName) -> None:
    """Two on one bus: the one with the fault doses nothing and calls, the other keeps its water."""
    with at_the_tank(tmp_path, two_beds()) as at:
        at.bench.play("fault", name=fault, target="bed1/ph")
        state = at.passes(QUARTER)
        assert at.runs() == []
        assert len(at.runs(BED2_LINE)) >= 2
        assert "bed1-ph-probe" in at.alarms()
        assert all(verdict.quality is Quality.GOOD for verdict in state.reservoirs["bed2"].verdicts.values())
        at.bench.play("mend", name=fault, target="bed1/ph")
        at.until(lambda _: at.runs() != [], within=2 * QUARTER)


@pytest.mark.parametrize("fault", sorted(BUS_FAULTS))
def test_a_bus_that_hangs_stops_all_on_it_and_nothing_else(tmp_path: Path, fault: FaultName) -> None:
    """Both reservoirs dose nothing, each calls, passes go on, and after it both keep their water."""
    with at_the_tank(tmp_path, two_beds()) as at:
        at.bench.play("fault", name=fault, target="bed1/ph")
        at.passes(3)
        assert at.runs() + at.runs(BED2_LINE) == []
        assert {"bed1-ph-probe", "bed2-ph-probe"} <= at.alarms().keys()
        at.bench.play("mend", name=fault, target="bed1/ph")
        at.until(lambda _: at.runs() != [] and at.runs(BED2_LINE) != [], within=QUARTER)


def test_a_converter_that_is_off_stops_what_is_on_it_and_nothing_else(tmp_path: Path) -> None:
    """One alarm for all its probes, with what was seen and what to do; the verdict says it too."""
    settings = two_beds().model_dump(exclude_none=True)
    settings["reference"] = {"shunt": {"input": 3, "expected_v": 2.5}}
    with at_the_tank(tmp_path, Settings.model_validate(settings)) as at:
        at.bench.play("fault", name=FaultName.CHIP_REFERENCE_DRIFTED, target="bed1/ph", size=0.97)
        state = at.passes(TO_A_DOSE)
        assert (len(at.runs()), len(at.runs(BED2_LINE))) == (0, 1)
        assert at.alarms().keys() == {"i2c1-0x48-converter"}
        seen = r"measures 2\.42\d V at \[reference\.shunt\], expected are 2\.500 V \(2\.475 to 2\.525\): measure"
        assert re.search(seen, at.alarms()["i2c1-0x48-converter"].text)
        for verdict in (state.reservoirs["bed1"].verdicts[quantity] for quantity in (Quantity.PH, Quantity.EC)):
            said = words.verdict(verdict)
            assert "bad: its converter cannot be trusted (ADS1115 at address 0x48 on I2C bus 1" in said
            assert re.search(seen, said)
        at.bench.play("fault", name=FaultName.CHIP_SILENT, target="bed1/ph")
        at.passes(3)
        assert "bed1-ph-probe" in at.alarms(), "and one that does not answer at all is told as ever"


def test_a_missing_chip_is_told_and_the_other_reservoir_goes_on(tmp_path: Path) -> None:
    """Its address is in the alarm; nothing is dosed by it."""
    with at_the_tank(tmp_path, two_beds(0x4A), wired=two_beds(0x49)) as at:
        state = at.passes(TO_A_DOSE)
        verdict = state.reservoirs["bed2"].verdicts[Quantity.PH]
        assert (verdict.quality, verdict.reason) == (Quality.BAD, VerdictReason.NO_ANSWER)
        assert "0x4a" in at.alarms()["bed2-ph-probe"].text
        assert at.runs(BED2_LINE) == []
        assert len(at.runs()) == 1


def test_one_reservoirs_lock_and_hold_leave_the_other_alone(tmp_path: Path) -> None:
    """A locked and then a held first, and a second that keeps itself."""
    with at_the_tank(tmp_path, two_beds()) as at:
        at.loop.reservoirs["bed1"].lock("the hose came off", at.loop.stamp())
        at.passes(TO_A_DOSE)
        assert at.bed("bed1").condition is Condition.LOCKED
        assert (len(at.runs()), len(at.runs(BED2_LINE))) == (0, 1)
        at.ask("clear", reservoir="bed1")
        at.ask("hold", reservoir="bed1", reason="planting")
        at.passes(QUARTER)
        assert at.bed("bed2").condition is Condition.KEEPING
        assert at.runs() == []
        assert len(at.runs(BED2_LINE)) > 1


def test_two_pumps_never_run_at_once(tmp_path: Path) -> None:
    """Both reservoirs want acid in the same pass: one pump after the other."""
    with at_the_tank(tmp_path, two_beds()) as at:
        at.passes(QUARTER)
        on: set[int] = set()
        for edge in at.bench.edges:
            on = on | {edge.line} if edge.on else on - {edge.line}
            assert len(on) <= 1
        assert at.runs() != []
        assert at.runs(BED2_LINE) != []


# seeing


def test_without_a_calibration_nothing_is_dosed_and_a_person_is_called(tmp_path: Path) -> None:
    """Uncalibrated is bad; the alarm says how to calibrate."""
    with at_the_tank(tmp_path, calibrated=False) as at:
        at.passes(QUARTER)
        assert at.bed().verdicts[Quantity.PH].reason is VerdictReason.NOT_CALIBRATED
        assert at.runs() == []
        assert "evenwater calibrate" in at.alarms()["bed1-ph-calibration"].text


def test_readings_come_near_the_water_in_spite_of_the_probes(tank: AtTheTank) -> None:
    """Volts through the converter, calibrated and compensated: within 0.05 pH, 3 % EC and 0.3 °C of the truth."""
    verdicts = tank.passes(9).reservoirs["bed1"].verdicts
    look = tank.bench.world.basins["bed1"].tank.look()
    seen = {quantity: verdict.reading.value for quantity, verdict in verdicts.items() if verdict.reading}
    assert seen[Quantity.PH] == pytest.approx(look.ph, abs=0.05)
    assert seen[Quantity.EC] == pytest.approx(look.ec25_ms_per_cm, rel=0.03)
    assert seen[Quantity.TEMPERATURE] == pytest.approx(look.temperature_c, abs=0.3)


def test_the_volts_stay_beside_the_reading(tank: AtTheTank) -> None:
    """Whoever doubts a value can see what the converter said, what it was compensated for, and by which fit."""
    reading = tank.passes(3).reservoirs["bed1"].verdicts[Quantity.PH].reading
    assert reading is not None
    assert reading.sample.volts == pytest.approx(1.65 - 3.0 * reading.sample.signal / 1000.0, abs=1e-6)
    assert reading.temperature_c == pytest.approx(20.0, abs=2.0)
    assert (reading.calibration, reading.slope_percent) == ("2026-04-01", 97.0)


def test_a_dead_thermometer_falls_back_on_the_settings_assumption(tmp_path: Path) -> None:
    """With one, pH is read and dosed; without, pH says that it cannot be compensated, and nothing runs."""
    (tmp_path / "with").mkdir()
    (tmp_path / "bare").mkdir()
    with at_the_tank(tmp_path / "with", one_bed(assumed_temperature_c=20.0)) as at:
        at.bench.play("unplug", probe="temperature")
        at.passes(TO_A_DOSE)
        assert len(at.runs()) == 1
        reading = at.bed().verdicts[Quantity.PH].reading
        assert reading is not None
        assert reading.temperature_c == 20.0
    with at_the_tank(tmp_path / "bare") as at:
        at.bench.play("unplug", probe="temperature")
        at.passes(TO_A_DOSE)
        assert at.bed().verdicts[Quantity.PH].reason is VerdictReason.NO_TEMPERATURE
        assert at.runs() == []
        assert set(at.alarms()) == {"bed1-temperature-probe"}  # one cause, one alarm
        at.bench.play("unplug", probe="ph")
        at.passes(QUARTER)
        assert set(at.alarms()) == {"bed1-temperature-probe", "bed1-ph-probe"}


def test_a_thermometer_that_is_stuck_is_not_believed(tmp_path: Path) -> None:
    """It still says a plausible temperature; EC is not told by it."""
    with at_the_tank(tmp_path, one_bed(start="watching")) as at:
        at.bench.play("fault", name=FaultName.PROBE_STUCK, target="bed1/temperature")
        at.passes(3 * QUARTER)
        assert at.bed().verdicts[Quantity.TEMPERATURE].reason is VerdictReason.STUCK
        assert at.bed().verdicts[Quantity.EC].reason is VerdictReason.NO_TEMPERATURE


# deciding


def test_a_decision_explains_itself(tank: AtTheTank) -> None:
    """The permit of the first dose carries the pH, the need and the caps it was reckoned from."""
    state = tank.until(lambda state: state.reservoirs["bed1"].last_decision is not None, within=TO_A_DOSE)
    decision = state.reservoirs["bed1"].last_decision
    assert isinstance(decision, Permit)
    numbers = decision.request.numbers
    assert numbers["need_ml"] == pytest.approx((numbers["ph"] - 6.0) * 60.0)
    assert (decision.ml, decision.bound_by) == (8.0, Cap.PER_DOSE)
    assert "pH down" in state.reservoirs["bed1"].waiting_for


@pytest.mark.parametrize(
    ("settings", "cap"),
    [
        (one_bed(start="watching"), Cap.CONDITION),
        (pump_settings(max_per_day_ml=None), Cap.NOT_SET),
        (pump_settings(max_per_dose_ml=0.0), Cap.PER_DOSE),
    ],
    ids=["watching", "cap left out", "cap of zero"],
)
def test_what_may_not_dose_says_why_and_moves_no_pump(tmp_path: Path, settings: Settings, cap: Cap) -> None:
    """The refusal names its cap, pass after pass."""
    with at_the_tank(tmp_path, settings) as at:
        at.passes(QUARTER)
        decision = at.bed().last_decision
        assert isinstance(decision, Refusal)
        assert decision.cap is cap
        assert at.runs() == []
        assert ("bed1-ph-down-caps-missing" in at.alarms()) is (cap is Cap.NOT_SET)


def test_the_day_cap_calls_a_person(tmp_path: Path) -> None:
    """Two doses are all this day may have; then the refusal is an alarm."""
    with at_the_tank(tmp_path, pump_settings(max_per_day_ml=16.0, max_per_hour_ml=16.0)) as at:
        at.until(lambda _: "bed1-ph-down-day-cap" in at.alarms(), within=8 * QUARTER)
        assert len(at.runs()) == 2
        assert at.bed().caps[Role.PH_DOWN].last_day_ml == pytest.approx(16.0)


def test_no_base_is_dosed_for_water_within_its_band(tmp_path: Path) -> None:
    """Below the dead band but inside the crop's band it waits, as the plants may well raise the pH."""
    with at_the_tank(tmp_path, tank={"start_ph": 5.7}) as at:
        at.passes(QUARTER)
        assert at.bench.edges == () or not any(edge.on for edge in at.bench.edges)
        assert "come back by itself" in at.bed().waiting_for


# waiting


def waits_for(tmp_path: Path, settings: Settings, passes: int = 30, **tank: Any) -> str:
    with at_the_tank(tmp_path, settings, tank=tank) as at:
        return at.passes(passes).reservoirs["bed1"].waiting_for


def test_it_says_when_there_is_no_ph_probe(tmp_path: Path) -> None:
    """Nothing to correct, and no dose."""
    assert "no pH probe" in waits_for(tmp_path, without("ph"))


def test_it_says_when_there_is_no_pump_for_what_the_water_needs(tmp_path: Path) -> None:
    """High without acid, low without base."""
    (tmp_path / "high").mkdir()
    (tmp_path / "low").mkdir()
    assert "asks for pH down, and there is no such pump" in waits_for(tmp_path / "high", without("ph_down"))
    low = waits_for(tmp_path / "low", without("ph_up"), start_ph=5.0)
    assert "asks for pH up, and there is no such pump" in low


def test_it_says_that_it_gathers_readings_then_that_a_dose_mixes(tank: AtTheTank) -> None:
    """In the order in which they come after a start."""
    said = [tank.passes(1).reservoirs["bed1"].waiting_for for _ in range(TO_A_DOSE)]
    assert "a pH reading that can be believed" in said[0]
    assert "some more readings" in said[5]
    assert "the last dose is mixing, about 6 min" in said[-1]


def test_it_says_which_reading_it_cannot_rest_on(tank: AtTheTank) -> None:
    """The judge's words of the pH probe."""
    tank.passes(6)
    tank.bench.play("unplug", probe="ph")
    assert "waiting for a pH reading that can be believed" in tank.passes(1).reservoirs["bed1"].waiting_for


# calling


def test_water_far_out_of_its_band_is_a_grave_alarm(tmp_path: Path) -> None:
    """More than one pH beyond the band for five minutes; out of band alone takes an hour."""
    with at_the_tank(tmp_path, one_bed(start="watching"), tank={"start_ph": 8.0}) as at:
        at.passes(30)
        assert "bed1-ph-far-out" not in at.alarms()
        at.passes(20)
        assert "bed1-ph-far-out" in at.alarms()
        assert "bed1-ph-out-of-band" not in at.alarms()
        at.passes(round(TABLE[Kind.OUT_OF_BAND].on_delay_s / PASS_S))
        assert "bed1-ph-out-of-band" in at.alarms()


def test_a_bottle_runs_low_then_empty_then_is_refilled(tmp_path: Path) -> None:
    """Warned at a fifth, stopped at a twentieth, well again when a person says that it is full."""
    with at_the_tank(tmp_path, pump_settings(bottle_ml=20.0)) as at:
        at.until(lambda _: "bed1-ph-down-bottle-low" in at.alarms(), within=2 * QUARTER)
        assert len(at.runs()) == 2
        at.until(lambda _: "bed1-ph-down-bottle-empty" in at.alarms(), within=2 * QUARTER)
        assert "bed1-ph-down-bottle-low" not in at.alarms()
        at.passes(QUARTER)
        assert len(at.runs()) == 3
        assert at.bed().caps[Role.PH_DOWN].bottle_left_ml == pytest.approx(1.0)
        assert isinstance(at.bed().last_decision, Refusal)
        at.ask("bottle", pump="ph_down")
        at.until(lambda state: len(at.runs()) > 3 and not state.alarms, within=QUARTER)


def test_a_long_hold_reminds(tmp_path: Path) -> None:
    """After twelve hours somebody may have forgotten it."""
    raw = raw_settings()
    raw["site"]["pass_every_s"] = 60.0
    with at_the_tank(tmp_path, Settings.model_validate(raw)) as at:
        at.passes(1)
        at.ask("hold", reason="cleaning")
        at.passes(10)
        assert at.alarms() == {}
        at.clock.spend(12 * 3600.0)
        at.passes(2)
        assert "cleaning" in at.alarms()["bed1-held-long"].text


# dosing


def with_level_sender(*, noise_mv: float, **pump: float) -> Settings:
    """The school garden with a sender in place of its float switch, and other figures for the acid pump."""
    raw = raw_settings()
    bed, water = raw["reservoir"]["bed1"], raw["rig"]["tank"]["bed1"]
    wiring = {"i2c_bus": 1, "address": 0x48, "input": 3, "empty_v": 0.5, "full_v": 2.5}
    bed["probe"]["level"] = {"driver": "level_sender", "full_scale_v": 4.096, **wiring}
    bed["pump"]["ph_down"].update(pump)
    water["probe"] = [probe for probe in water["probe"] if probe["kind"] != "float_switch"]
    water["probe"].append({"kind": "level_sender", "noise_mv": noise_mv, **wiring})
    return Settings.model_validate(raw)


def test_the_share_of_the_water_is_of_the_water_that_is_there(tmp_path: Path) -> None:
    """Half of 60 L bears 300 mL a day, though the settings would allow 500."""
    settings = with_level_sender(noise_mv=1.0, max_per_hour_ml=500.0, max_per_day_ml=500.0)
    with at_the_tank(tmp_path, settings) as at:
        at.bench.play("drain", litres=30.0)
        assert at.passes(12).reservoirs["bed1"].caps[Role.PH_DOWN].max_per_day_ml == pytest.approx(
            300.0, rel=0.02
        )


def test_a_level_that_cannot_be_believed_counts_as_none(tmp_path: Path) -> None:
    """Plausible, but its conversions disagree: nothing is dosed by it."""
    with at_the_tank(tmp_path, with_level_sender(noise_mv=100.0)) as at:
        decision = at.until(lambda _: at.bed().last_decision is not None, TO_A_DOSE)
        assert at.bed().verdicts[Quantity.LEVEL].reason is VerdictReason.NOISY
        refused = decision.reservoirs["bed1"].last_decision
        assert isinstance(refused, Refusal)
        assert refused.cap is Cap.LEVEL


def test_a_dose_asked_to_stop_after_its_intent_moves_no_pump(tank: AtTheTank) -> None:
    """The intent is on disk, then the signal comes: charged in full, not delivered."""
    state = tank.until(lambda state: bool(state.reservoirs["bed1"].last_doses), within=TO_A_DOSE)
    decision = state.reservoirs["bed1"].last_decision
    assert isinstance(decision, Permit)
    bed = tank.loop.reservoirs["bed1"]
    assert bed.dose(decision, tank.loop.stamp(), lambda: True) is Outcome.FAILED
    assert len(tank.runs()) == 1
    newest = tank.passes(1).reservoirs["bed1"]
    assert newest.last_doses[0].outcome is Outcome.FAILED
    assert newest.caps[Role.PH_DOWN].last_hour_ml == pytest.approx(16.0)


def test_a_lock_holds_even_where_it_cannot_be_written(tank: AtTheTank, tmp_path: Path) -> None:
    """The ledger is gone: locked in memory nevertheless, and written when the ledger is back."""
    kept, elsewhere = tmp_path / "ledger.db", tmp_path / "elsewhere.db"
    tank.passes(1)
    kept.rename(elsewhere)
    tank.loop.reservoirs["bed1"].lock("the tube split", tank.loop.stamp())
    assert tank.passes(1).reservoirs["bed1"].condition is Condition.LOCKED
    elsewhere.rename(kept)
    tank.passes(40)
    tank.service.close()
    with at_the_tank(tmp_path, start_utc=tank.clock.utc() + timedelta(hours=1)) as again:
        assert again.passes(1).reservoirs["bed1"].condition_reason == "the tube split"


def test_a_lock_holds_where_the_ledger_is_broken_already(tank: AtTheTank, tmp_path: Path) -> None:
    """Something was to be written before it, in vain."""
    tank.passes(1)
    (tmp_path / "ledger.db").rename(tmp_path / "elsewhere.db")
    with pytest.raises(RequestRefused):
        tank.ask("bottle", pump="ph_down")
    tank.loop.reservoirs["bed1"].lock("the tube split", tank.loop.stamp())
    assert tank.passes(1).reservoirs["bed1"].condition_reason == "the tube split"


def test_each_reservoir_shows_its_own_doses_and_caps(tmp_path: Path) -> None:
    """Of two that dose, neither counts what the other gave."""
    with at_the_tank(tmp_path, two_beds()) as at:
        state = at.passes(TO_A_DOSE)
        for name, bed in state.reservoirs.items():
            assert [entry.reservoir for entry in bed.last_doses] == [name]
            assert bed.caps[Role.PH_DOWN].last_hour_ml == pytest.approx(8.0)


def test_four_reservoirs_on_four_converters_of_one_bus_are_each_seen_as_they_are(tmp_path: Path) -> None:
    """Every kind of probe, a reference among them: each reservoir's own water, to what its probe is off."""
    settings = load(RIGS / "all-probes.toml")
    with at_the_tank(tmp_path, settings, tank={"start_ph": 5.6, "temperature_c": 17.0}) as at:
        state = at.passes(TO_A_DOSE)
        truth = at.bench.world.truth()["tanks"]
        assert {name: set(bed.verdicts) for name, bed in state.reservoirs.items()} == {
            "bed1": {q for q in Quantity if q.kind is q},
            "bed2": {Quantity.PH, Quantity.PH_2, Quantity.EC, Quantity.TEMPERATURE, Quantity.LEVEL},
            "bed3": {Quantity.PH, Quantity.TEMPERATURE, Quantity.LEVEL},
            "seedlings": {Quantity.PH, Quantity.TEMPERATURE},
        }
        for name, bed in state.reservoirs.items():
            for quantity, key, off in TRUE_WITHIN:
                if quantity in bed.verdicts:
                    verdict = bed.verdicts[quantity]
                    assert verdict.usable, (name, verdict)
                    assert verdict.reading is not None
                    assert verdict.reading.value == pytest.approx(truth[name][key], abs=off), (name, quantity)
        assert truth["bed1"]["ph"] < truth["bed2"]["ph"] - 0.5


def test_the_noise_of_each_analog_probe_is_learned_and_shown(tank: AtTheTank) -> None:
    """0.5 mV a conversion are a quarter of a millivolt a look; a switch has none, a pulled plug unlearns it."""
    assert tank.passes(5).reservoirs["bed1"].noise_v == {}
    noise_v = tank.passes(60).reservoirs["bed1"].noise_v
    assert set(noise_v) == {Quantity.PH, Quantity.EC, Quantity.TEMPERATURE}
    assert all(0.0001 < floor_v < 0.0005 for floor_v in noise_v.values())
    tank.bench.play("fault", name=FaultName.CHIP_SILENT, target="ph")
    assert tank.passes(1).reservoirs["bed1"].noise_v == {}


# the air: shown, and never dosed on


def with_air() -> Settings:
    """The school garden with an air sensor."""
    raw = raw_settings()
    raw["rig"]["tank"]["bed1"]["probe"] += [{"kind": "sht3x_temperature"}, {"kind": "sht3x_humidity"}]
    bed = raw["reservoir"]["bed1"]
    bed["probe"] |= {
        "air_temperature": {"driver": "sht3x_temperature"},
        "humidity": {"driver": "sht3x_humidity"},
    }
    return Settings.model_validate(raw)


def test_the_air_is_shown_with_its_vapour_pressure_deficit(tmp_path: Path) -> None:
    """22 °C on average with 60 %: cooler and damper in the morning, by the same vapour in it."""
    with at_the_tank(tmp_path, with_air()) as at:
        bed = at.passes(2).reservoirs["bed1"]
        air, humidity = (bed.verdicts[of].reading for of in (Quantity.AIR_TEMPERATURE, Quantity.HUMIDITY))
        assert air is not None
        assert humidity is not None
        assert 19.0 <= air.value < 22.0
        assert 60.0 < humidity.value < 75.0
        vapour_kpa = saturation_kpa(22.0) * 0.6
        assert bed.deficit_kpa == pytest.approx(saturation_kpa(air.value) - vapour_kpa, abs=0.02)


def test_an_air_sensor_that_fails_stops_no_dose(tmp_path: Path) -> None:
    """An alarm of low priority after ten minutes; the same doses as beside one that is well."""
    runs: list[int] = []
    for fails in (False, True):
        folder = tmp_path / str(fails)
        folder.mkdir()
        with at_the_tank(folder, with_air()) as at:
            if fails:
                at.bench.play("unplug", probe="humidity")
            bed = at.passes(QUARTER).reservoirs["bed1"]
            runs.append(len(at.runs()))
            assert bed.condition is Condition.KEEPING
            assert (bed.deficit_kpa is None) is fails
            grave = [alarm.priority for key, alarm in at.alarms().items() if "room-sensor" in key]
            assert grave == [Priority.LOW] * (2 if fails else 0)
    assert runs[0] == runs[1] >= 1


def test_the_light_of_a_day_is_summed_up(tmp_path: Path) -> None:
    """150 µmol/(m² s) on average are 12.96 mol/m²; not known before a day has gone by."""
    raw = raw_settings()
    raw["rig"]["tank"]["bed1"]["probe"].append({"kind": "light_sensor", "input": 3, "umol_per_v": 400.0})
    raw["reservoir"]["bed1"]["probe"]["light"] = {"driver": "light_sensor", "input": 3, "umol_per_v": 400.0}
    raw["reservoir"]["bed1"]["start"] = "watching"
    with at_the_tank(tmp_path, Settings.model_validate(raw)) as at:
        assert at.passes(1).reservoirs["bed1"].daily_light_mol is None
        for _ in range(25 * 6):
            at.clock.sleep(590.0)
            bed = at.passes(1).reservoirs["bed1"]
        assert bed.daily_light_mol == pytest.approx(150.0 * 86400.0 / 1e6, rel=0.03)


def test_what_nothing_is_dosed_by_is_not_calibrated(tmp_path: Path) -> None:
    """Air and light: refused in words, whoever asks; dosing goes on."""
    with at_the_tank(tmp_path, with_air()) as at:
        at.passes(2)
        for quantity, says in (("humidity", "humidity is not calibrated here"), ("light", "has no light probe")):
            with pytest.raises(RequestRefused, match=says):
                at.ask("calibrate.begin", quantity=quantity)
        assert at.passes(1).reservoirs["bed1"].condition is Condition.KEEPING


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_hum_hardly_shows_in_the_readings(tmp_path: Path, mains_hz: float) -> None:
    """3 mV of it, six times the probe's own noise: a look trembles by no more than a third more than without."""
    raw = raw_settings()
    raw["rig"]["tank"]["bed1"]["probe"][0]["mains_hz"] = mains_hz
    raw["reservoir"]["bed1"]["start"] = "watching"
    with at_the_tank(tmp_path, Settings.model_validate(raw)) as at:
        calm_v = at.passes(62).reservoirs["bed1"].noise_v[Quantity.PH]
        at.bench.play("fault", name=FaultName.PROBE_HUM, target="ph", size=3.0)
        bed = at.passes(62).reservoirs["bed1"]
        assert bed.noise_v[Quantity.PH] < calm_v * 4 / 3
        assert bed.verdicts[Quantity.PH].reason is VerdictReason.FINE
