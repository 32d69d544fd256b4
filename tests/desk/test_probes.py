"""What comes of requests about a probe in a standard: the whole program."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from config.settings import Settings
from daemon.desk.requests import Origin, RequestRefused, WrongParams
from daemon.dose.usual import Usual
from daemon.measure.convert import EcCalibration, PhCalibration, TemperatureCalibration
from daemon.measure.normal import afresh
from daemon.values import Condition, Quality, Quantity, Role, VerdictReason
from daemon.words import unusual
from sim_hw import grower
from tests.at_the_tank import PASS_S, TO_A_DOSE, AtTheTank, at_the_tank, one_bed, raw_settings, two_beds
from tests.hazards.kept import with_level_sender

QUARTER = 90  # passes of a quarter of an hour
BED_2_LINE = 22  # of the second reservoir's pH down
PH: dict[str, Any] = {"quantity": "ph"}


def _for(hours: float | None) -> dict[str, Any]:
    return {} if hours is None else {"hours": hours}


def settled_in(at: AtTheTank, quantity: str, standard: str) -> None:
    """Dip the probe and wait until it has come to rest."""
    at.bench.play("dip", tank="bed1", probe=quantity, standard=standard)
    at.ask("calibrate.look", quantity=quantity, afresh=True)
    at.until(lambda _: bool(at.ask("calibrate.look", quantity=quantity)["settled"]), within=60)


def take(at: AtTheTank, standard: str, label: str = "", quantity: str = "ph") -> str:
    """Take one point; `label`: what the person says it is, if not what it is."""
    settled_in(at, quantity, standard)
    said: str = at.ask("calibrate.point", quantity=quantity, standard=label or standard)["said"]
    return said


def put_back(at: AtTheTank) -> str:
    """The probe goes back into the water, and the person says so."""
    at.bench.play("back", tank="bed1", probe="ph")
    said: str = at.ask("calibrate.back", **PH)["said"]
    return said


def test_a_probe_left_in_its_buffer_after_the_finish_doses_nothing(tank: AtTheTank) -> None:
    """A buffer of pH 4.01 looks like sour water: only a person's word that it is back lets dosing go on."""
    tank.ask("calibrate.begin", **PH)
    take(tank, "7.00")
    take(tank, "4.01")
    assert tank.ask("calibrate.finish", **PH)["accepted"] is True
    tank.passes(2 * QUARTER)
    assert tank.bed().condition is Condition.HELD
    assert tank.runs() == []


def test_two_buffers_make_a_calibration_near_the_truth_and_dosing_goes_on(tmp_path: Path) -> None:
    """Slope and offset of the bench's electrode, kept in the book and its file, used from the next pass."""
    with at_the_tank(tmp_path, calibrated=False) as at:
        at.passes(1)
        at.ask("calibrate.begin", **PH)
        assert "7.00 taken" in take(at, "7.00")
        take(at, "4.01")
        at.bench.play("back", tank="bed1", probe="ph")
        result = at.ask("calibrate.finish", **PH)
        assert result["accepted"] is True
        assert "Dosing stays paused" in result["said"]
        assert "Bed 1 is keeping" in at.ask("calibrate.back", **PH)["said"]
        fit = at.service.book.get("bed1", Quantity.PH)
        assert isinstance(fit, PhCalibration)
        assert fit.slope_percent == pytest.approx(97.0, abs=0.7)
        assert fit.offset_mv == pytest.approx(6.0, abs=1.0)
        assert "4.01" in (tmp_path / "calibrations.toml").read_text()
        at.until(lambda _: len(at.runs()) == 1, within=3 * TO_A_DOSE)


def test_the_ec_cell_needs_one_standard(tmp_path: Path) -> None:
    """The cell constant of the bench's cell."""
    with at_the_tank(tmp_path, calibrated=False) as at:
        at.passes(1)
        at.ask("calibrate.begin", quantity="ec")
        take(at, "1.413", quantity="ec")
        assert at.ask("calibrate.finish", quantity="ec")["accepted"] is True
        fit = at.service.book.get("bed1", Quantity.EC)
        assert isinstance(fit, EcCalibration)
        assert fit.cell_constant_per_cm == pytest.approx(0.98, rel=0.02)


def test_nothing_is_dosed_while_a_probe_is_in_a_standard(tank: AtTheTank) -> None:
    """From the next pass on: held, the pH is no reading, and after cancelling it stays held."""
    tank.ask("calibrate.begin", **PH)
    tank.bench.play("dip", tank="bed1", probe="ph", standard="10.01")
    tank.passes(QUARTER)
    bed = tank.bed()
    assert (bed.condition, bed.condition_reason) == (Condition.HELD, "calibrating")
    assert bed.verdicts[Quantity.PH].reason is VerdictReason.CALIBRATING
    assert "bed1-ph-probe" not in tank.alarms()
    said = tank.ask("calibrate.cancel", **PH)["said"]
    assert "the old calibration stays" in said
    tank.passes(QUARTER)
    assert tank.bed().condition is Condition.HELD
    assert tank.runs() == []
    tank.bench.play("back", tank="bed1", probe="ph")
    tank.ask("release")
    assert tank.passes(1).reservoirs["bed1"].condition is Condition.KEEPING


def test_calibrating_ec_holds_the_dosing_too(tank: AtTheTank) -> None:
    """A hand in the water is reason enough; the pH goes on being read."""
    tank.ask("calibrate.begin", quantity="ec")
    tank.passes(QUARTER)
    assert tank.bed().verdicts[Quantity.PH].usable
    assert tank.runs() == []


def test_a_short_hold_during_a_calibration_does_not_end_its_pause(tank: AtTheTank) -> None:
    """It takes the place of the calibration's own and runs out: the hand is still in the water."""
    tank.ask("calibrate.begin", quantity="ec")
    tank.ask("hold", Origin.REMOTE, reason="oops", hours=0.1)
    tank.passes(QUARTER)
    assert tank.service.ledger.held("bed1", tank.loop.stamp()) is None
    assert tank.bed().condition is Condition.HELD
    assert tank.runs() == []


def test_a_probe_that_comes_back_from_a_standard_warms_up_again(tank: AtTheTank) -> None:
    """What it showed before, and in between, says nothing of the water it is put into."""
    tank.passes(QUARTER)
    tank.ask("calibrate.begin", **PH)
    tank.passes(1)
    tank.ask("calibrate.cancel", **PH)
    tank.passes(1)
    assert tank.bed().verdicts[Quantity.PH].reason is VerdictReason.WARMING_UP


def test_a_probe_in_a_standard_teaches_nothing_of_the_water(tank: AtTheTank) -> None:
    """What was learned stays as it was; where the probe stood is forgotten when it comes back."""
    tank.passes(QUARTER)
    instruments = tank.loop.reservoirs["bed1"].instruments
    before = instruments.normals[Quantity.PH]
    assert before.kept is not None
    tank.ask("calibrate.begin", **PH)
    settled_in(tank, "ph", "4.01")
    tank.passes(2 * QUARTER)
    assert instruments.normals[Quantity.PH] == before
    tank.ask("calibrate.cancel", **PH)
    assert instruments.normals[Quantity.PH] == afresh(before)


def test_release_waits_for_the_end_of_a_calibration(tank: AtTheTank) -> None:
    """With a hand in the water nobody goes on, by mistake or otherwise."""
    tank.ask("calibrate.begin", **PH)
    with pytest.raises(RequestRefused, match="is being calibrated; put the probe back in the water"):
        tank.ask("release")
    assert tank.service.ledger.held("bed1", tank.loop.stamp()) is not None


def test_swapped_buffers_are_refused_and_the_old_calibration_stays(tank: AtTheTank, tmp_path: Path) -> None:
    """By a person's word neither. The reason in words; the file is untouched, and nothing doses until then."""
    before, file = tank.service.book.get("bed1", Quantity.PH), (tmp_path / "calibrations.toml").read_text()
    tank.ask("calibrate.begin", **PH)
    take(tank, "7.00", label="4.01")
    take(tank, "4.01", label="7.00")
    tank.bench.play("back", tank="bed1", probe="ph")
    for accept in (False, True):
        result = tank.ask("calibrate.finish", accept=accept, **PH)
        assert result["accepted"] is False
        assert "the buffers were swapped" in result["said"]
    assert tank.service.book.get("bed1", Quantity.PH) is before
    assert (tmp_path / "calibrations.toml").read_text() == file
    tank.passes(QUARTER)
    assert tank.bed().condition is Condition.HELD
    assert tank.runs() == []
    with pytest.raises(RequestRefused, match="pH is being calibrated; put the probe back in the water"):
        tank.ask("release")


def test_points_can_be_taken_again_after_a_refusal(tank: AtTheTank) -> None:
    """The second take of a buffer replaces the first."""
    tank.ask("calibrate.begin", **PH)
    take(tank, "7.00", label="4.01")
    take(tank, "4.01", label="7.00")
    assert tank.ask("calibrate.finish", **PH)["accepted"] is False
    take(tank, "7.00")
    take(tank, "4.01")
    assert tank.ask("calibrate.finish", **PH)["accepted"] is True


@pytest.mark.parametrize("reason", ["cleaning", "calibrating"])
@pytest.mark.parametrize("hours", [None, 5.0])
def test_a_remote_hold_during_calibration_survives_the_finish(
    tank: AtTheTank, reason: str, hours: float | None
) -> None:
    """Even one that calls itself by the word of the calibration's own."""
    tank.ask("calibrate.begin", **PH)
    take(tank, "7.00")
    tank.ask("hold", Origin.REMOTE, reason=reason, **_for(hours))
    take(tank, "4.01")
    assert tank.ask("calibrate.finish", **PH)["accepted"] is True
    put_back(tank)
    tank.passes(QUARTER)
    assert (tank.bed().condition, tank.bed().condition_reason) == (Condition.HELD, reason)
    assert tank.runs() == []


@pytest.mark.parametrize("hours", [None, 1.0])
def test_a_remote_hold_from_before_goes_on_after_the_finish(tank: AtTheTank, hours: float | None) -> None:
    """For what is left of it, and no longer."""
    tank.ask("hold", Origin.REMOTE, reason="away", **_for(hours))
    begun_s = tank.clock.monotonic_s()
    tank.ask("calibrate.begin", **PH)
    take(tank, "7.00")
    take(tank, "4.01")
    tank.ask("calibrate.finish", **PH)
    assert "held" in put_back(tank)
    tank.passes(QUARTER)
    assert (tank.bed().condition, tank.bed().condition_reason) == (Condition.HELD, "away")
    assert tank.runs() == []
    if hours is not None:
        tank.until(lambda state: state.reservoirs["bed1"].condition is Condition.KEEPING, within=4 * QUARTER)
        assert tank.clock.monotonic_s() - begun_s == pytest.approx(hours * 3600.0, abs=3 * PASS_S)


def test_a_short_hold_that_ended_meanwhile_is_over(tank: AtTheTank) -> None:
    """The calibration took longer than it: dosing goes on at its finish."""
    tank.ask("hold", Origin.REMOTE, reason="away", hours=0.01)
    tank.ask("calibrate.begin", **PH)
    take(tank, "7.00")
    take(tank, "4.01")
    tank.ask("calibrate.finish", **PH)
    assert "Bed 1 is keeping" in put_back(tank)


def test_calibrating_a_locked_reservoir_leaves_only_the_lock(tank: AtTheTank) -> None:
    """After it and after clear, nothing of the calibration is left over."""
    tank.loop.reservoirs["bed1"].lock("slow probe", tank.loop.stamp())
    tank.ask("calibrate.begin", **PH)
    take(tank, "7.00")
    take(tank, "4.01")
    tank.ask("calibrate.finish", **PH)
    assert "locked" in put_back(tank)
    assert "Bed 1 is keeping" in tank.ask("clear")["said"]


def test_a_restart_in_the_middle_of_a_calibration_stays_held(tmp_path: Path) -> None:
    """The probe may still be in the buffer; beginning anew and finishing ends that hold."""
    with at_the_tank(tmp_path) as at:
        at.passes(1)
        at.ask("calibrate.begin", **PH)
        take(at, "7.00")
    with at_the_tank(tmp_path, start_utc=at.clock.utc() + timedelta(minutes=5)) as again:
        again.bench.play("dip", tank="bed1", probe="ph", standard="7.00")
        again.passes(QUARTER)
        assert (again.bed().condition, again.runs()) == (Condition.HELD, [])
        again.ask("calibrate.begin", **PH)
        take(again, "7.00")
        take(again, "4.01")
        assert again.ask("calibrate.finish", **PH)["accepted"] is True
        put_back(again)
        assert again.passes(1).reservoirs["bed1"].condition is Condition.KEEPING


def test_a_point_before_the_probe_has_settled_is_refused(tank: AtTheTank) -> None:
    """With how far it has come; an unknown buffer is refused with the known ones."""
    tank.ask("calibrate.begin", **PH)
    with pytest.raises(RequestRefused, match="not settled yet: no reading yet"):
        tank.ask("calibrate.point", **PH, standard="7.00")
    tank.bench.play("dip", tank="bed1", probe="ph", standard="4.01")
    tank.passes(2)
    look = tank.ask("calibrate.look", **PH)
    assert look["settled"] is False
    assert 0.0 < look["share_settled"] < 1.0
    assert [age_s for age_s, _ in look["seen"]] == pytest.approx([-PASS_S, 0.0], abs=1.0)
    with pytest.raises(RequestRefused, match="of 6 samples; wait"):
        tank.ask("calibrate.point", **PH, standard="7.00")
    with pytest.raises(RequestRefused, match=r"4\.01"):
        tank.ask("calibrate.point", **PH, standard="7.77")


def test_a_probe_at_the_end_of_its_range_never_settles(tank: AtTheTank) -> None:
    """However still the voltage of an unplugged one stands."""
    tank.ask("calibrate.begin", **PH)
    tank.bench.play("unplug", probe="ph")
    for _ in range(20):
        tank.passes(1)
        assert tank.ask("calibrate.look", **PH)["settled"] is False


def test_the_standards_temperature_is_the_tanks_unless_given(tank: AtTheTank) -> None:
    """Without either it is asked for."""
    tank.ask("calibrate.begin", **PH)
    settled_in(tank, "ph", "7.00")
    point = tank.ask("calibrate.point", **PH, standard="7.00")["point"]
    assert point["temperature_c"] == pytest.approx(20.0, abs=2.0)
    settled_in(tank, "ph", "4.01")
    given = tank.ask("calibrate.point", **PH, standard="4.01", temperature_c=25.0)["point"]
    assert (given["temperature_c"], given["reference"]) == (25.0, pytest.approx(4.01, abs=0.005))
    tank.bench.play("unplug", probe="temperature")
    settled_in(tank, "ph", "7.00")
    with pytest.raises(RequestRefused, match="--temperature-c"):
        tank.ask("calibrate.point", **PH, standard="7.00")


def test_one_probe_of_a_reservoir_at_a_time(tank: AtTheTank) -> None:
    """A second begin is refused by what is going on; so are steps for another quantity."""
    tank.ask("calibrate.begin", **PH)
    with pytest.raises(RequestRefused, match="pH is being calibrated"):
        tank.ask("calibrate.begin", quantity="ec")
    for step in ("look", "finish", "back", "cancel"):
        with pytest.raises(RequestRefused, match="EC is not being calibrated; begin first"):
            tank.ask(f"calibrate.{step}", quantity="ec")


def test_only_probes_there_are_and_that_can_be_calibrated_are(tmp_path: Path) -> None:
    """A float switch knows no more than two words, and a missing probe none."""
    probes = {name: table for name, table in one_bed().reservoir["bed1"].probe.items() if name != "ec"}
    with at_the_tank(tmp_path, one_bed(probe={name: table.model_dump() for name, table in probes.items()})) as at:
        at.passes(1)
        with pytest.raises(RequestRefused, match="a float switch says enough or low"):
            at.ask("calibrate.begin", quantity="level")
        with pytest.raises(RequestRefused, match="Bed 1 has no EC probe"):
            at.ask("calibrate.begin", quantity="ec")


def test_a_calibration_that_cannot_be_kept_is_told_and_changes_nothing(tank: AtTheTank, tmp_path: Path) -> None:
    """Somebody has spoiled the file by hand: refused with its name, still held, the old one in force."""
    tank.ask("calibrate.begin", **PH)
    take(tank, "7.00")
    take(tank, "4.01")
    (tmp_path / "calibrations.toml").write_text("not = [toml")
    before = tank.service.book.get("bed1", Quantity.PH)
    with pytest.raises(RequestRefused, match=r"calibrations.toml: not valid TOML"):
        tank.ask("calibrate.finish", **PH)
    assert tank.service.book.get("bed1", Quantity.PH) is before
    assert tank.passes(1).reservoirs["bed1"].condition is Condition.HELD


# a probe in doubt

DRIFTING = unusual(Role.PH_DOWN, Usual(back_ph=0.9, most_ph=0.5, usual_ph=0.2))


def doubted(tank: AtTheTank) -> float:
    """Locked, because pH comes back further than on other days; what the probe reads."""
    tank.passes(2 * TO_A_DOSE)
    tank.loop.reservoirs["bed1"].lock(DRIFTING, tank.loop.stamp())
    reading = tank.passes(1).reservoirs["bed1"].verdicts[Quantity.PH].reading
    assert reading is not None
    return reading.value


def is_locked(tank: AtTheTank) -> bool:
    return tank.loop.reservoirs["bed1"].condition(tank.loop.stamp()) is Condition.LOCKED


def test_a_word_alone_does_not_clear_a_doubt_of_the_probe(tank: AtTheTank) -> None:
    """Asked for a measurement, with how to say it; any other lock needs none."""
    doubted(tank)
    answer = tank.ask("clear")
    assert not answer["accepted"]
    assert "clear --measured-ph" in answer["said"]
    assert "calibrate ph" in answer["said"]
    assert is_locked(tank)


@pytest.mark.parametrize(
    ("off", "clears"), [(0.0, True), (0.29, True), (-0.29, True), (0.31, False), (-0.31, False)]
)
def test_the_probe_must_agree_with_what_was_measured(tank: AtTheTank, off: float, clears: bool) -> None:
    """Within 0.3 pH, either way; else it stays locked, and both figures and the next step are said."""
    reads = doubted(tank)
    answer = tank.ask("clear", measured_ph=reads + off)
    assert answer.get("accepted", True) is clears
    assert is_locked(tank) is not clears
    if not clears:
        assert f"reads pH {reads:.2f}, measured was {reads + off:.2f}" in answer["said"]
        assert "evenwater calibrate ph" in answer["said"]


def test_the_ledger_keeps_both_figures(tank: AtTheTank, tmp_path: Path) -> None:
    """Who cleared it, what was measured, what the probe read."""
    reads = doubted(tank)
    tank.ask("clear", measured_ph=reads)
    with closing(sqlite3.connect(tank.service.ledger.path)) as db:
        ((ended_by,),) = db.execute("SELECT ended_by FROM conditions WHERE condition = 'locked'").fetchall()
    assert ended_by == f"local: measured pH {reads:.2f}, the probe read pH {reads:.2f}"


def test_a_reading_that_cannot_be_relied_on_is_not_compared(tank: AtTheTank) -> None:
    """Unplugged since: what was measured says nothing of the probe."""
    reads = doubted(tank)
    tank.bench.play("unplug", probe="ph")
    tank.passes(30)
    answer = tank.ask("clear", measured_ph=reads)
    assert not answer["accepted"]
    assert "cannot be compared" in answer["said"]
    assert is_locked(tank)


def calibrated(tank: AtTheTank) -> None:
    def wait() -> None:
        tank.passes(1)

    grower.calibrate("ph", "bed1", ask=tank.ask, play=tank.bench.play, wait=wait)


def test_a_calibration_since_the_lock_will_do(tank: AtTheTank) -> None:
    """One from before it will not; one made after it clears by a word."""
    calibrated(tank)
    doubted(tank)
    assert not tank.ask("clear")["accepted"]
    calibrated(tank)
    assert tank.ask("clear").get("accepted", True)
    assert not is_locked(tank)


def test_a_stop_gap_since_the_lock_will_not_do(tank: AtTheTank) -> None:
    """One buffer does not show that the probe answers."""
    doubted(tank)
    tank.ask("calibrate.begin", **PH)
    take(tank, "4.01")
    assert tank.ask("calibrate.finish", **PH, stop_gap=True, accept=True)["accepted"]
    put_back(tank)
    assert not tank.ask("clear")["accepted"]
    assert is_locked(tank)


@pytest.mark.parametrize("ph", [-0.1, 14.1, float("nan"), float("inf"), "sour"])
def test_no_measured_ph_that_cannot_be(tank: AtTheTank, ph: object) -> None:
    """Refused before anything is cleared, whatever the lock."""
    tank.loop.reservoirs["bed1"].lock("split tube", tank.loop.stamp())
    with pytest.raises(WrongParams, match="measured_ph"):
        tank.ask("clear", measured_ph=ph)
    assert is_locked(tank)


def test_a_buffer_is_known_by_its_signal_or_asked_about(tank: AtTheTank) -> None:
    """4.01 is; 7.00 may be 6.86, and is not guessed; the look says it before the point is taken."""
    tank.ask("calibrate.begin", **PH)
    settled_in(tank, "ph", "7.00")
    assert sorted(tank.ask("calibrate.look", **PH)["candidates"]) == ["6.86", "7.00"]
    with pytest.raises(RequestRefused, match=r"this may be 7\.00 or 6\.86: read the label"):
        tank.ask("calibrate.point", **PH)
    settled_in(tank, "ph", "4.01")
    assert tank.ask("calibrate.point", **PH)["point"]["standard"] == "4.01"


def test_the_result_is_shown_before_anything_is_replaced(tank: AtTheTank, tmp_path: Path) -> None:
    """Old beside new, and what the water would have read; asking for it changes nothing."""
    before, file = tank.service.book.get("bed1", Quantity.PH), (tmp_path / "calibrations.toml").read_text()
    assert tank.ask("calibrate.begin", **PH)["old"]["slope_percent"] == 97.0
    take(tank, "7.00")
    take(tank, "4.01")
    result = tank.ask("calibrate.result", **PH)
    assert result["old"]["slope_percent"] == 97.0
    assert result["change"]["then"] == pytest.approx(5.8, abs=0.03)
    assert result["rows"][1][:2] == ["slope", "97.0 %"]
    assert result["standard_uncertainty_ph"] == pytest.approx(0.01, abs=0.002)
    assert tank.service.book.get("bed1", Quantity.PH) is before
    assert (tmp_path / "calibrations.toml").read_text() == file


def test_what_is_odd_is_kept_only_when_a_person_accepts_it(tank: AtTheTank) -> None:
    """6.86 taken for 7.00 looks like another electrode than the one before: shown, not kept, until accepted."""
    before = tank.service.book.get("bed1", Quantity.PH)
    tank.ask("calibrate.begin", **PH)
    take(tank, "6.86", label="7.00")
    take(tank, "4.01")
    result = tank.ask("calibrate.finish", **PH)
    assert result["accepted"] is False
    assert "the 7.00 looks like a 6.86" in result["said"]
    assert "finish --accept" in result["said"]
    assert tank.service.book.get("bed1", Quantity.PH) is before
    take(tank, "6.86")
    assert tank.ask("calibrate.finish", **PH)["accepted"] is True


def test_a_stop_gap_shows_and_doses_nothing(tank: AtTheTank) -> None:
    """H18, H19: kept only by a person's word; pH is read, an alarm stands, and no dose runs."""
    tank.ask("calibrate.begin", **PH)
    take(tank, "4.01")
    assert tank.ask("calibrate.finish", **PH)["accepted"] is False
    assert tank.ask("calibrate.finish", **PH, stop_gap=True)["accepted"] is False
    assert tank.ask("calibrate.finish", **PH, stop_gap=True, accept=True)["accepted"] is True
    put_back(tank)
    tank.passes(2 * QUARTER)
    verdict = tank.bed().verdicts[Quantity.PH]
    assert (verdict.reason, verdict.quality) == (VerdictReason.STOP_GAP, Quality.UNCERTAIN)
    assert verdict.reading is not None
    assert verdict.reading.value == pytest.approx(7.2, abs=0.1)
    assert "one buffer only" in tank.alarms()["bed1-ph-calibration"].text
    assert (tank.bed().condition, tank.runs()) == (Condition.KEEPING, [])


def test_only_ph_has_a_stop_gap(tank: AtTheTank) -> None:
    """EC in one standard is a calibration."""
    tank.ask("calibrate.begin", quantity="ec")
    take(tank, "1.413", quantity="ec")
    with pytest.raises(RequestRefused, match="only pH has a stop-gap"):
        tank.ask("calibrate.finish", quantity="ec", stop_gap=True)


def test_a_thermometer_shifts_the_probe(tank: AtTheTank) -> None:
    """What it shows is what a reading is from the next pass on; without its value nothing is taken."""
    tank.ask("calibrate.begin", quantity="temperature")
    tank.bench.play("dip", tank="bed1", probe="temperature", standard="21")
    tank.ask("calibrate.look", quantity="temperature", afresh=True)
    tank.until(lambda _: bool(tank.ask("calibrate.look", quantity="temperature")["settled"]), within=200)
    with pytest.raises(RequestRefused, match="--true-c"):
        tank.ask("calibrate.point", quantity="temperature")
    shown_c = tank.ask("calibrate.look", quantity="temperature")["mean"]
    said = tank.ask("calibrate.point", quantity="temperature", true_c=round(shown_c + 0.5, 3))["said"]
    assert "before calibrating" in said
    assert tank.ask("calibrate.finish", quantity="temperature")["accepted"] is True
    kept = tank.service.book.get("bed1", Quantity.TEMPERATURE)
    assert isinstance(kept, TemperatureCalibration)
    assert kept.offset_k == pytest.approx(0.5, abs=0.01)
    tank.ask("calibrate.back", quantity="temperature")
    tank.passes(5)
    reading = tank.bed().verdicts[Quantity.TEMPERATURE].reading
    assert reading is not None
    assert reading.value == pytest.approx(reading.sample.signal + 0.5, abs=0.01)


def test_a_thermometer_far_off_is_refused(tank: AtTheTank) -> None:
    """More than 3 K: the probe is broken, not uncalibrated."""
    tank.ask("calibrate.begin", quantity="temperature")
    tank.until(lambda _: bool(tank.ask("calibrate.look", quantity="temperature")["settled"]), within=60)
    shown_c = tank.ask("calibrate.look", quantity="temperature")["mean"]
    tank.ask("calibrate.point", quantity="temperature", true_c=round(shown_c + 3.5, 3))
    result = tank.ask("calibrate.finish", quantity="temperature", accept=True)
    assert result["accepted"] is False
    assert tank.service.book.get("bed1", Quantity.TEMPERATURE) is None


def test_one_reservoir_is_calibrated_while_the_other_doses(tmp_path: Path) -> None:
    """The first is held and runs no pump; the second corrects its pH as ever."""
    with at_the_tank(tmp_path, two_beds()) as at:
        at.passes(1)
        at.ask("calibrate.begin", **PH, reservoir="bed1")
        at.bench.play("dip", tank="bed1", probe="ph", standard="4.01")
        at.until(lambda _: len(at.runs(BED_2_LINE)) == 1, within=3 * TO_A_DOSE)
        at.passes(QUARTER)
        assert at.runs() == []
        assert at.bed("bed1").condition is Condition.HELD
        assert at.bed("bed2").condition is Condition.KEEPING
        assert at.bed("bed2").verdicts[Quantity.PH].usable


def test_a_level_sender_is_stretched_by_measured_water(tmp_path: Path) -> None:
    """Two amounts, told in litres; the share read from then on is theirs."""
    level: dict[str, Any] = {"quantity": "level"}
    with at_the_tank(tmp_path, with_level_sender()) as at:
        at.passes(1)
        at.ask("calibrate.begin", **level)
        with pytest.raises(RequestRefused, match="--litres"):
            at.ask("calibrate.point", **level)
        for drained_l, told_l in (
            (0.0, 57.0),
            (36.0, 22.8),
        ):  # of 60 L; the person's can holds 5 % less than it says
            at.bench.play("drain", litres=drained_l + 0.001)
            at.ask("calibrate.look", **level, afresh=True)
            at.until(lambda _: bool(at.ask("calibrate.look", **level)["settled"]), within=60)
            at.ask("calibrate.point", **level, litres=told_l)
        assert at.ask("calibrate.finish", **level)["accepted"] is True
        at.ask("calibrate.back", **level)
        at.passes(3)
        reading = at.bed().verdicts[Quantity.LEVEL].reading
        assert reading is not None
        assert reading.value == pytest.approx(0.38, abs=0.01)
        assert reading.sample.signal == pytest.approx(0.4, abs=0.01)


def test_the_growers_own_bottle_is_calibrated_in_by_its_printed_table(tmp_path: Path) -> None:
    """Named in the settings; its pH at the bottle's temperature."""
    table = {"temperature_c": [15.0, 25.0], "ph": [7.04, 7.00]}
    settings = Settings.model_validate({**raw_settings(), "standard": {"my-7": table}})
    with at_the_tank(tmp_path, settings) as at:
        at.passes(1)
        at.ask("calibrate.begin", **PH)
        settled_in(at, "ph", "7.00")
        assert "my-7" in at.ask("calibrate.look", **PH)["candidates"]
        point = at.ask("calibrate.point", **PH, standard="my-7", temperature_c=20.0)["point"]
        assert (point["standard"], point["reference"]) == ("my-7", pytest.approx(7.02))


def test_each_calibration_is_remembered(tank: AtTheTank) -> None:
    """Over a month: numbers, standards, time to settle; and what there is to say of the probe."""
    assert tank.ask("calibrate.history", **PH)["notes"] == ["unknown"]
    calibrated(tank)
    tank.clock.set_off += timedelta(days=31)
    told = tank.ask("calibrate.history", **PH)
    assert told["notes"] == ["due"]
    assert told["made"][0]["standards"] == ["7.00", "4.01"]
    assert told["made"][0]["numbers"]["slope_percent"] == pytest.approx(97.0, abs=1.0)
    assert told["made"][0]["settled_s"] >= 50.0
    calibrated(tank)
    tank.clock.set_off += timedelta(days=31)
    calibrated(tank)
    told = tank.ask("calibrate.history", **PH)
    assert [one["key"] for one in told["forecasts"]] == ["slope_percent", "offset_mv", "settled_s"]
    assert "a month, by 3 calibrations" in told["said"]


def test_a_calibration_missing_in_the_history_is_kept_and_told(tank: AtTheTank) -> None:
    """The calibration is what matters."""
    tank.service.book.history.path.mkdir()
    tank.ask("calibrate.begin", **PH)
    take(tank, "7.00")
    take(tank, "4.01")
    result = tank.ask("calibrate.finish", **PH)
    assert result["accepted"] is True
    assert "missing in the history" in result["said"]
    assert tank.service.book.points("bed1", Quantity.PH) != ()


def test_an_ageing_probe_calls_before_it_fails(tank: AtTheTank) -> None:
    """Three calibrations that lose slope month by month: told while it still doses, by a quiet alarm."""
    day = tank.clock.utc()
    for months, slope_percent in ((2, 96.0), (1, 94.0), (0, 92.0)):
        electrode = PhCalibration(slope_percent=slope_percent, offset_mv=6.0, day="")
        made = day - timedelta(days=30 * months)
        tank.service.book.history.add("bed1", Quantity.PH, electrode, (), made)
    tank.clock.set_off += timedelta(days=1)  # looked up once a day
    tank.until(lambda _: "bed1-ph-probe-ageing" in tank.alarms(), within=5 * QUARTER)
    assert "it may fail within two months" in tank.alarms()["bed1-ph-probe-ageing"].text
    assert tank.bed().verdicts[Quantity.PH].usable


def test_a_sound_probe_does_not_call(tank: AtTheTank) -> None:
    """Nor does one without a history."""
    calibrated(tank)
    tank.passes(5 * QUARTER)
    assert "bed1-ph-probe-ageing" not in tank.alarms()


def test_a_look_tells_what_was_taken_and_whether_one_was_kept(tank: AtTheTank) -> None:
    """For who looks from elsewhere: bottles to choose from, points in words, when only the way back is left."""
    tank.ask("calibrate.begin", **PH)
    take(tank, "7.00")
    take(tank, "4.01")
    look = tank.ask("calibrate.look", **PH)
    assert [said.split(" taken")[0] for said in look["points"]] == ["7.00", "4.01"]
    assert {"4.01", "7.00", "10.01"} <= set(look["bottles"])
    assert look["kept"] is False
    tank.ask("calibrate.finish", **PH)
    look = tank.ask("calibrate.look", **PH)
    assert (look["kept"], look["points"]) == (True, [])
