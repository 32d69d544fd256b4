"""What may be asked of the loop, by whom, and what comes of it."""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daemon.desk.methods import METHODS
from daemon.desk.requests import Origin, Request, RequestRefused, UnknownMethod, WrongParams
from daemon.values import AlarmState, Condition
from tests.at_the_tank import TO_A_DOSE, AtTheTank, at_the_tank, one_bed, two_beds

QUARTER = 90  # passes of a quarter of an hour
PH: dict[str, Any] = {"quantity": "ph"}
LOOKING_AND_PAUSING = {"alarms", "calibrate.history", "ledger", "hold"}
SILENCING = {"ack", "shelve", "unshelve"}
AT_THE_TANK_ONLY: dict[str, dict[str, Any]] = {
    "release": {},
    "clear": {},
    "ack": {},
    "shelve": {"key": "bed1-ph-probe"},
    "unshelve": {},
    "out_of_service": {"quantity": "ph"},
    "in_service": {"quantity": "ph"},
    "bottle": {"pump": "ph_down"},
    "prime": {"pump": "ph_down", "ml": 2.0},
    "poured": {"pump": "ph_down", "ml": 2.0},
    "tube": {"pump": "ph_down"},
    "calibrate_pump.run": {"pump": "ph_down"},
    "calibrate_pump.look": {"pump": "ph_down"},
    "calibrate_pump.finish": {"pump": "ph_down", "measured_ml": [8.0, 8.0]},
    "calibrate_pump.cancel": {"pump": "ph_down"},
    "change_out.begin": {},
    "change_out.done": {},
    "crop.did": {"task": "sow-salad-27w05"},
    "crop.walk": {"where": "bed1", "found": {}},
    "settings": {},
    "box": {},
    "reach": {},
    "calibrate.begin": PH,
    "calibrate.look": PH,
    "calibrate.point": {**PH, "standard": "7.00"},
    "calibrate.result": PH,
    "calibrate.finish": PH,
    "calibrate.back": PH,
    "calibrate.cancel": PH,
}


# who may


def test_every_request_is_either_harmless_or_for_a_person_at_the_tank() -> None:
    """Nothing is left out of the two lists that these tests go through."""
    least = {name: least for name, (_, least, _) in METHODS.items()}
    assert {name for name, of in least.items() if of is Origin.REMOTE} == LOOKING_AND_PAUSING
    assert {name for name, of in least.items() if of is Origin.VOUCHED} == SILENCING
    assert {name for name, of in least.items() if of is Origin.SIGNED} == {"release"}
    assert {name for name, of in least.items() if of is not Origin.REMOTE} == AT_THE_TANK_ONLY.keys()


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


# alarms


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


# locks


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


# silencing, and probes out of service


def test_an_alarm_of_low_priority_can_be_shelved_for_a_day_at_most(tank: AtTheTank) -> None:
    """It says until when; a graver one is refused with what there is."""
    tank.bench.play("unplug", probe="ph")
    tank.passes(2)
    with pytest.raises(RequestRefused, match="only an alarm of low priority"):
        tank.ask("shelve", key="bed1-ph-probe", hours=1.0)
    tank.until(lambda _: "bed1-ph-down-rate-old" in tank.alarms(), within=500)
    with pytest.raises(WrongParams, match="hours"):
        tank.ask("shelve", key="bed1-ph-down-rate-old", hours=25.0)
    assert "silent until" in tank.ask("shelve", key="bed1-ph-down-rate-old", hours=2.0)["said"]
    tank.passes(1)
    assert tank.alarms()["bed1-ph-down-rate-old"].state is AlarmState.SHELVED
    assert tank.ask("unshelve")["said"] == "told again: bed1-ph-down-rate-old"
    assert tank.ask("unshelve")["said"] == "no such alarm is shelved"
    tank.passes(1)
    assert tank.alarms()["bed1-ph-down-rate-old"].state is AlarmState.UNACKNOWLEDGED


def test_nothing_is_dosed_by_a_probe_out_of_service(tmp_path: Path) -> None:
    """Nor after a restart; it calls nobody for what is wrong with it, and is listed as out of service."""
    with at_the_tank(tmp_path) as tank:
        tank.ask("out_of_service", quantity="ph")
        tank.bench.play("unplug", probe="ph")
        tank.passes(TO_A_DOSE + 5)
        assert tank.runs() == []
        assert tank.alarms().keys() == {"bed1-ph-out-of-service"}
        with pytest.raises(RequestRefused, match="has no"):
            tank.ask("out_of_service", quantity="light")
    with at_the_tank(tmp_path) as tank:
        tank.passes(TO_A_DOSE + 5)
        assert tank.runs() == []
        assert "is in service" in tank.ask("in_service", quantity="ph")["said"]
        tank.passes(TO_A_DOSE + 5)
        assert len(tank.runs()) == 1
        assert tank.alarms() == {}


def test_an_acknowledged_alarm_stays_so_over_a_restart(tmp_path: Path) -> None:
    """It is not raised anew at each start."""
    with at_the_tank(tmp_path) as tank:
        tank.bench.play("unplug", probe="ph")
        tank.passes(2)
        tank.ask("ack")
        tank.passes(1)
        raised_utc = tank.alarms()["bed1-ph-probe"].raised_utc
    with at_the_tank(tmp_path) as tank:
        tank.bench.play("unplug", probe="ph")
        tank.passes(5)
        alarm = tank.alarms()["bed1-ph-probe"]
        assert alarm.state is AlarmState.ACKNOWLEDGED
        assert abs(alarm.raised_utc - raised_utc) < timedelta(milliseconds=1)
