"""What may be asked of the loop, by whom, and what comes of it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daemon.desk import METHODS
from daemon.measure.convert import EcCalibration, PhCalibration
from daemon.requests import Origin, Request, RequestRefused, UnknownMethod, WrongParams
from daemon.values import AlarmState, Condition, Quantity, Role, VerdictReason
from tests.at_the_tank import PASS_S, TO_A_DOSE, AtTheTank, at_the_tank, one_bed, two_beds

QUARTER = 90  # passes of a quarter of an hour
PH: dict[str, Any] = {"quantity": "ph"}
LOOKING_AND_PAUSING = {"alarms", "ledger", "hold"}
AT_THE_TANK_ONLY: dict[str, dict[str, Any]] = {
    "release": {},
    "clear": {},
    "ack": {},
    "bottle": {"pump": "ph_down"},
    "prime": {"pump": "ph_down", "ml": 2.0},
    "tube": {"pump": "ph_down"},
    "calibrate_pump.run": {"pump": "ph_down"},
    "calibrate_pump.finish": {"pump": "ph_down", "measured_ml": [8.0, 8.0]},
    "calibrate_pump.cancel": {"pump": "ph_down"},
    "change_out.begin": {},
    "change_out.done": {},
    "calibrate.begin": PH,
    "calibrate.look": PH,
    "calibrate.point": {**PH, "standard": "7.00"},
    "calibrate.finish": PH,
    "calibrate.back": PH,
    "calibrate.cancel": PH,
}


@pytest.fixture
def tank(tmp_path: Path) -> Iterator[AtTheTank]:
    """The school garden after its first pass, calibrated, its water at pH 7.2."""
    with at_the_tank(tmp_path) as at:
        at.passes(1)
        yield at


# who may


def test_every_request_is_either_harmless_or_for_a_person_at_the_tank() -> None:
    """Nothing is left out of the two lists that these tests go through."""
    assert {name for name, (_, local_only, _) in METHODS.items() if not local_only} == LOOKING_AND_PAUSING
    assert {name for name, (_, local_only, _) in METHODS.items() if local_only} == AT_THE_TANK_ONLY.keys()


@pytest.mark.parametrize(("method", "params"), AT_THE_TANK_ONLY.items())
def test_from_afar_nothing_can_make_it_dose_more(tank: AtTheTank, method: str, params: dict[str, Any]) -> None:
    """A held and locked reservoir stays both, whatever is asked over the network."""
    tank.ask("hold", reason="cleaning")
    tank.loop.reservoirs["bed1"].lock("split tube", tank.loop.stamp())
    with pytest.raises(RequestRefused, match="person at the tank"):
        tank.ask(method, Origin.REMOTE, **params)
    ledger, stamp = tank.service.ledger, tank.loop.stamp()
    held, standing = ledger.held("bed1", stamp), ledger.standing("bed1", stamp)
    assert held is not None
    assert standing is not None
    assert (held.reason, standing.reason) == ("cleaning", "split tube")
    assert tank.loop.reservoirs["bed1"].instruments.visit is None


@pytest.mark.parametrize("origin", Origin)
def test_anyone_may_hold_and_look(tank: AtTheTank, origin: Origin) -> None:
    """Pausing is free to everyone the links let in."""
    assert tank.ask("alarms", origin) == []
    assert tank.ask("ledger", origin, last=3) == []
    said = tank.ask("hold", origin, reason="cleaning")["said"]
    assert said == "Bed 1: dosing paused until `evenwater release` (cleaning)"
    tank.passes(QUARTER)
    assert tank.bed().condition is Condition.HELD
    assert tank.bed().condition_reason == "cleaning"
    assert tank.runs() == []


def test_an_unknown_request_is_refused_with_those_there_are(tank: AtTheTank) -> None:
    """By its name, from anywhere."""
    with pytest.raises(UnknownMethod, match=r"juggle: not a request; known are ack, alarms"):
        tank.ask("juggle", Origin.REMOTE)


@pytest.mark.parametrize(
    ("method", "params", "says"),
    [
        ("hold", {}, "reason: Field required"),
        ("hold", {"reason": ""}, "reason"),
        ("hold", {"reason": "x", "hours": 0}, "hours"),
        ("hold", {"reason": "x", "hours": -1.0}, "hours"),
        ("hold", {"reason": "x", "hours": float("nan")}, "hours"),
        ("hold", {"reason": "x", "hours": float("inf")}, "hours"),
        ("hold", {"reason": "x", "hours": 721}, "hours"),
        ("hold", {"reason": "x", "until": "noon"}, "until"),
        ("ledger", {"last": 0}, "last"),
        ("bottle", {"pump": "bleach"}, "pump"),
        ("bottle", {}, "pump"),
        ("calibrate.begin", {"quantity": "salt"}, "quantity"),
        (
            "calibrate.point",
            {"quantity": "ph", "standard": "7.00", "temperature_c": float("nan")},
            "temperature_c",
        ),
    ],
)
def test_wrong_parameters_are_refused_by_name(
    tank: AtTheTank, method: str, params: dict[str, Any], says: str
) -> None:
    """Missing, unknown, out of range or no number; nothing is done."""
    with pytest.raises(WrongParams, match=f"{method}: .*{says}"):
        tank.ask(method, **params)
    assert tank.service.ledger.standing("bed1", tank.loop.stamp()) is None


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text() | st.sampled_from(["bed1", "ph", "7.00"]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=5,
)
NAMES = st.sampled_from(
    ["reservoir", "reason", "hours", "last", "keys", "pump", "quantity", "afresh", "standard", "temperature_c"]
)


def test_whatever_is_asked_is_answered_or_refused(tmp_path: Path) -> None:
    """Any JSON as parameters of any request: nothing gets through to the loop, and from afar nothing doses."""
    with at_the_tank(tmp_path, one_bed(start="watching")) as at:
        at.passes(1)

        @settings(max_examples=60)
        @given(
            st.sampled_from(sorted(METHODS)),
            st.sampled_from(Origin),
            st.dictionaries(NAMES | st.text(), JSON, max_size=3),
        )
        def ask_anything(method: str, origin: Origin, params: dict[str, Any]) -> None:
            answers: list[Any] = []
            at.service.submit(Request(method, params, origin, answers.append))
            at.loop.answer_requests()
            (answer,) = answers
            assert isinstance(answer, RequestRefused | dict | list)
            json.dumps(answer if not isinstance(answer, RequestRefused) else str(answer), allow_nan=False)

        ask_anything()
        at.passes(2)
        assert at.runs() == []


# hold, release


def test_a_hold_ends_by_itself_or_by_release(tank: AtTheTank) -> None:
    """A timed one after its time, an open one when a person at the tank says so."""
    tank.ask("hold", Origin.REMOTE, reason="planting", hours=0.25)
    assert tank.passes(QUARTER - 5).reservoirs["bed1"].condition is Condition.HELD
    until = tank.bed().condition_until
    assert until is not None
    assert abs(until - tank.clock.utc()) <= timedelta(seconds=60)
    assert tank.passes(10).reservoirs["bed1"].condition is Condition.KEEPING
    tank.ask("hold", reason="cleaning")
    assert tank.passes(QUARTER).reservoirs["bed1"].condition is Condition.HELD
    assert "Bed 1 is keeping" in tank.ask("release")["said"]
    assert tank.passes(1).reservoirs["bed1"].condition is Condition.KEEPING


def test_a_remote_hold_never_shortens_one_in_force(tank: AtTheTank) -> None:
    """A second hold of a minute leaves the open one as it is."""
    tank.ask("hold", reason="cleaning")
    tank.ask("hold", Origin.REMOTE, reason="oops", hours=1 / 60)
    assert tank.passes(QUARTER).reservoirs["bed1"].condition_reason == "cleaning"


def test_a_hold_survives_a_restart(tmp_path: Path) -> None:
    """Until it is released at the tank."""
    with at_the_tank(tmp_path) as at:
        at.ask("hold", Origin.REMOTE, reason="away")
    with at_the_tank(tmp_path, start_utc=at.clock.utc() + timedelta(days=1)) as again:
        again.passes(QUARTER)
        assert (again.bed().condition, again.bed().condition_reason) == (Condition.HELD, "away")
        assert again.runs() == []


def test_nothing_to_release_or_clear_is_said(tank: AtTheTank) -> None:
    """A repeated command is harmless."""
    assert tank.ask("release")["said"] == "Bed 1: was not held"
    assert tank.ask("clear")["said"] == "Bed 1: was not locked"


def test_release_opens_no_lock_and_clear_ends_no_hold(tank: AtTheTank) -> None:
    """Each of the two undoes only its own."""
    tank.ask("hold", reason="cleaning")
    tank.loop.reservoirs["bed1"].lock("split tube", tank.loop.stamp())
    assert "locked" in tank.ask("release")["said"]
    tank.ask("hold", reason="cleaning")
    assert "held" in tank.ask("clear")["said"]
    assert tank.passes(1).reservoirs["bed1"].condition is Condition.HELD


def test_of_several_reservoirs_one_must_be_named(tmp_path: Path) -> None:
    """To clear or calibrate; hold and release without a name are for all."""
    with at_the_tank(tmp_path, two_beds()) as at:
        at.passes(1)
        for method in ("clear", "bottle", "calibrate.begin"):
            with pytest.raises(RequestRefused, match=r"which reservoir\? .*bed1, bed2"):
                at.ask(method, **AT_THE_TANK_ONLY[method])
        with pytest.raises(RequestRefused, match="no reservoir bed9; there is bed1, bed2"):
            at.ask("hold", reservoir="bed9", reason="x")
        at.ask("hold", reason="all")
        assert {bed.condition for bed in at.passes(1).reservoirs.values()} == {Condition.HELD}
        at.ask("release", reservoir="bed2")
        conditions = {name: bed.condition for name, bed in at.passes(1).reservoirs.items()}
        assert conditions == {"bed1": Condition.HELD, "bed2": Condition.KEEPING}
        at.ask("release")
        assert {bed.condition for bed in at.passes(1).reservoirs.values()} == {Condition.KEEPING}


# looking


def test_the_ledger_is_told_newest_first(tank: AtTheTank) -> None:
    """As plain values, with outcome and reason, no more than asked for."""
    tank.until(lambda _: len(tank.runs()) == 3, within=2 * QUARTER)
    told = tank.ask("ledger", Origin.REMOTE, last=2)
    assert [line["number"] for line in told] == [3, 2]
    assert {line["reason"] for line in told} == {"ph_high"}
    assert {line["outcome"] for line in told} == {"done"}


def test_a_broken_ledger_is_a_refusal_with_the_next_step(tank: AtTheTank, tmp_path: Path) -> None:
    """The asker hears what is wrong with the file; the loop goes on."""
    (tmp_path / "ledger.db").rename(tmp_path / "elsewhere.db")
    with pytest.raises(RequestRefused, match=r"ledger.db is no longer where it was opened.*restart"):
        tank.ask("bottle", pump="ph_down")
    assert tank.passes(1).passes == 2


# alarms and bottles


def test_acknowledging_names_what_it_silenced(tank: AtTheTank) -> None:
    """All, or those named; the cause stays, and an unknown key is refused with nothing done."""
    tank.bench.play("unplug", probe="ph")
    tank.bench.play("unplug", probe="ec")
    tank.passes(2)
    with pytest.raises(RequestRefused, match="no such alarm: bed1-toast"):
        tank.ask("ack", keys=("bed1-ph-probe", "bed1-toast"))
    assert {alarm.state for alarm in tank.alarms().values()} == {AlarmState.UNACKNOWLEDGED}
    assert tank.ask("ack", keys=("bed1-ph-probe",))["said"] == "acknowledged: bed1-ph-probe"
    tank.passes(1)
    assert tank.alarms()["bed1-ph-probe"].state is AlarmState.ACKNOWLEDGED
    assert tank.alarms()["bed1-ec-probe"].state is AlarmState.UNACKNOWLEDGED
    assert "bed1-ec-probe" in tank.ask("ack")["said"]


def test_acknowledging_nothing_is_harmless(tank: AtTheTank) -> None:
    """And says so."""
    assert tank.ask("ack")["said"] == "no alarm to acknowledge"


def test_a_refilled_bottle_counts_from_full(tank: AtTheTank) -> None:
    """What was drawn before is forgotten for the bottle, not for the caps."""
    tank.passes(TO_A_DOSE)
    assert tank.bed().caps[Role.PH_DOWN].bottle_left_ml == pytest.approx(992.0)
    assert tank.ask("bottle", pump="ph_down")["said"] == "pH down bottle counted as full: 1000 mL"
    use = tank.passes(1).reservoirs["bed1"].caps[Role.PH_DOWN]
    assert (use.bottle_left_ml, use.last_hour_ml) == (1000.0, 8.0)
    with pytest.raises(RequestRefused, match="Bed 1 has no stock A pump"):
        tank.ask("bottle", pump="stock_a")


# priming


def test_a_priming_counts_as_a_dose(tank: AtTheTank) -> None:
    """It turns the pump once, for its mL, and is charged in full."""
    tank.ask("hold", reason="priming")
    answer = tank.ask("prime", pump="ph_down", ml=2.0)
    assert (answer["ml"], len(tank.runs())) == (2.0, 1)
    assert "evenwater release" in answer["said"]
    use = tank.passes(1).reservoirs["bed1"].caps[Role.PH_DOWN]
    assert (use.last_hour_ml, use.last_day_ml, use.bottle_left_ml) == (2.0, 2.0, 998.0)
    assert tank.ask("ledger", last=1)[0]["reason"] == "prime"


def test_priming_needs_a_pause(tank: AtTheTank) -> None:
    """While it keeps itself, or is locked, the pump stands, and the next step is said."""
    with pytest.raises(RequestRefused, match="evenwater hold"):
        tank.ask("prime", pump="ph_down", ml=2.0)
    tank.loop.reservoirs["bed1"].lock("split tube", tank.loop.stamp())
    with pytest.raises(RequestRefused, match=r"locked.*evenwater clear"):
        tank.ask("prime", pump="ph_down", ml=2.0)
    assert tank.runs() == []


def test_priming_waits_for_the_last_dose_to_mix(tank: AtTheTank) -> None:
    """A second one at once is refused, as any dose would be."""
    tank.ask("hold", reason="priming")
    tank.ask("prime", pump="ph_down", ml=2.0)
    with pytest.raises(RequestRefused, match="no pH down"):
        tank.ask("prime", pump="ph_down", ml=2.0)
    assert len(tank.runs()) == 1


def test_priming_is_short(tank: AtTheTank) -> None:
    """So that the answer comes while the cup is still there."""
    tank.ask("hold", reason="priming")
    with pytest.raises(RequestRefused, match="longer than 20 s: ask for at most"):
        tank.ask("prime", pump="ph_down", ml=99.0)
    assert tank.runs() == []


def test_a_priming_that_nobody_waits_for_is_not_begun(tank: AtTheTank) -> None:
    """Who gave up may have taken the cup away."""
    tank.ask("hold", reason="priming")
    answers: list[Any] = []
    late = Request("prime", {"pump": "ph_down", "ml": 2.0}, Origin.LOCAL, answers.append)
    late.given_up.set()
    tank.service.submit(late)
    tank.loop.answer_requests()
    assert isinstance(answers[0], RequestRefused)
    assert tank.runs() == []


def test_priming_is_for_people_at_the_tank(tank: AtTheTank) -> None:
    """Never over MQTT, held or not; and only a pump that is there."""
    tank.ask("hold", reason="priming")
    with pytest.raises(RequestRefused, match="only for a person at the tank"):
        tank.ask("prime", Origin.REMOTE, pump="ph_down", ml=2.0)
    with pytest.raises(RequestRefused, match="Bed 1 has no stock A pump"):
        tank.ask("prime", pump="stock_a", ml=2.0)
    assert tank.runs() == []


# calibrating


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


def test_release_waits_for_the_end_of_a_calibration(tank: AtTheTank) -> None:
    """With a hand in the water nobody goes on, by mistake or otherwise."""
    tank.ask("calibrate.begin", **PH)
    with pytest.raises(RequestRefused, match="is being calibrated; put the probe back in the water"):
        tank.ask("release")
    assert tank.service.ledger.held("bed1", tank.loop.stamp()) is not None


def test_swapped_buffers_are_refused_and_the_old_calibration_stays(tank: AtTheTank, tmp_path: Path) -> None:
    """With the reason in words; the file is untouched and nothing doses until it is put right."""
    before, file = tank.service.book.get("bed1", Quantity.PH), (tmp_path / "calibrations.toml").read_text()
    tank.ask("calibrate.begin", **PH)
    take(tank, "7.00", label="4.01")
    take(tank, "4.01", label="7.00")
    tank.bench.play("back", tank="bed1", probe="ph")
    result = tank.ask("calibrate.finish", **PH)
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


def test_only_probes_there_are_and_that_standards_can_tell_are_calibrated(tmp_path: Path) -> None:
    """A thermometer is not dipped in buffers, and a missing probe not at all."""
    probes = {name: table for name, table in one_bed().reservoir["bed1"].probe.items() if name != "ec"}
    with at_the_tank(tmp_path, one_bed(probe={name: table.model_dump() for name, table in probes.items()})) as at:
        at.passes(1)
        with pytest.raises(RequestRefused, match="temperature: only pH and EC"):
            at.ask("calibrate.begin", quantity="temperature")
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


def lock_and_clear(tank: AtTheTank, *after_s: float) -> list[str]:
    """What a person hears who clears each lock; seconds before each."""
    said = []
    for wait_s in after_s:
        tank.clock.sleep(wait_s)
        tank.loop.reservoirs["bed1"].lock("a wet tray", tank.loop.stamp())
        said.append(tank.ask("clear")["said"])
    return said


def test_clearing_a_third_lock_within_ten_minutes_does_not_go_on_dosing(tank: AtTheTank) -> None:
    """It measures only, over passes, until a person who has looked releases it."""
    tank.passes(1)
    first, second, third = lock_and_clear(tank, 0.0, 300.0, 300.0)
    assert "keeping" in first
    assert "keeping" in second
    assert "lock cleared" in third
    assert "3 times within 10 minutes" in third
    tank.passes(2 * TO_A_DOSE)
    assert tank.bed().condition is Condition.HELD
    assert "evenwater release" in tank.bed().condition_reason
    assert tank.runs() == []
    tank.ask("release")
    tank.passes(1)
    assert tank.bed().condition is Condition.KEEPING


def test_locks_further_apart_are_cleared_one_by_one(tank: AtTheTank) -> None:
    """The third a second later than ten minutes after the first."""
    tank.passes(1)
    assert all("keeping" in said for said in lock_and_clear(tank, 0.0, 300.0, 301.0))


def test_a_release_given_before_the_third_clear_does_not_count(tank: AtTheTank) -> None:
    """Nor does a hold that ends by itself stand in for it; a person's own hold stays."""
    tank.passes(1)
    lock_and_clear(tank, 0.0, 1.0)
    tank.ask("hold", reason="looking", hours=0.01)
    tank.loop.reservoirs["bed1"].lock("a wet tray", tank.loop.stamp())
    tank.ask("release")
    tank.ask("clear")
    tank.passes(12)
    assert tank.bed().condition is Condition.HELD
