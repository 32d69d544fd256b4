"""One pass and what it leaves behind: the order of a dose, what stops it, and what is told."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from datetime import datetime, timedelta
from itertools import pairwise
from math import inf
from pathlib import Path

import pytest

from daemon.alarm.kinds import Kind
from daemon.alarm.life import Cause
from daemon.alarm.table import TABLE
from daemon.desk.requests import Origin, Request
from daemon.jobs import Calendar, Job
from daemon.loop import ANSWERS_WITHIN_S, REOPEN_EVERY_S, SETTLE_AFTER_RUN_S
from daemon.values import AlarmState, Cap, Condition, Outcome, Quantity, Refusal, Role, State, VerdictReason
from sim_hw.ads1115_chip import Input
from sim_hw.pins import BenchPin
from tests.at_the_tank import (
    PASS_S,
    PH_DOWN_LINE,
    TO_A_DOSE,
    AtTheTank,
    at_the_tank,
    one_bed,
    pump_settings,
    two_beds,
)

QUARTER = 90  # passes of a quarter of an hour


@pytest.fixture
def tank(tmp_path: Path) -> Iterator[AtTheTank]:
    """The school garden, calibrated, its water at pH 7.2."""
    with at_the_tank(tmp_path) as at:
        yield at


def outcomes(path: Path) -> list[str]:
    """The outcomes as they stand in the ledger's file, read by a stranger."""
    with sqlite3.connect(f"file:{path}?mode=ro", uri=True) as db:
        found = [str(row[0]) for row in db.execute("SELECT outcome FROM entries ORDER BY number")]
    db.close()
    return found


# the order of a dose


def test_a_dose_is_on_disk_as_intent_while_its_pump_runs_and_settled_after(
    tank: AtTheTank, tmp_path: Path
) -> None:
    """Another reader of the file sees the open line for the whole run, and its outcome once the pump is off."""
    seen: set[tuple[str, ...]] = set()

    def look() -> None:
        if tank.pump_is_on():
            seen.add(tuple(outcomes(tmp_path / "ledger.db")))

    tank.clock.during_sleep = look
    tank.passes(TO_A_DOSE)
    assert seen == {(Outcome.OPEN,)}
    assert outcomes(tmp_path / "ledger.db") == [Outcome.DONE]


def test_the_pump_runs_as_long_as_the_ledger_says(tank: AtTheTank) -> None:
    """From edge to edge on its line, to a few hundredths of a second."""
    (entry,) = tank.passes(TO_A_DOSE).reservoirs["bed1"].last_doses
    on_s, off_s = (edge.at_s for edge in tank.bench.edges if edge.line == PH_DOWN_LINE and edge.at_s > 1.0)
    assert off_s - on_s == pytest.approx(entry.run_s, abs=0.05)
    assert entry.at_s == pytest.approx(on_s, abs=0.05)
    assert entry.ml == pytest.approx(entry.run_s * 1.0)


def test_no_probe_is_looked_at_within_five_seconds_after_a_run(tmp_path: Path) -> None:
    """The bed that comes next in the same pass waits, and so does a pass that is due at once."""
    with at_the_tank(tmp_path, two_beds()) as at:
        looks_s: list[float] = []
        for address in (0x48, 0x49):
            inputs = at.bench.i2c(1).chips[address].inputs
            for channel, probe in enumerate(list(inputs)):

                def noting(now_s: float, lasting_s: float, probe: Input = probe) -> float:
                    looks_s.append(now_s)
                    return probe(now_s, lasting_s)

                inputs[channel] = noting
        at.service.run(for_s=150.0)
        ends_s = [edge.at_s for edge in at.bench.edges if not edge.on and edge.at_s > 1.0]
        soonest_s = [min(at_s - end_s for at_s in looks_s if at_s > end_s) for end_s in ends_s]
        assert len(soonest_s) == 2
        assert all(SETTLE_AFTER_RUN_S <= gap_s < SETTLE_AFTER_RUN_S + 0.1 for gap_s in soonest_s[:1])
        assert min(soonest_s) >= SETTLE_AFTER_RUN_S


def test_a_ledger_that_cannot_be_written_means_no_pump_edge(tank: AtTheTank, tmp_path: Path) -> None:
    """The first dose is due, its intent cannot be kept: nothing runs, and a person is called in the same pass."""
    (tmp_path / "ledger.db").rename(tmp_path / "elsewhere.db")
    state = tank.until(lambda state: state.reservoirs["bed1"].last_decision is not None, within=TO_A_DOSE)
    decision = state.reservoirs["bed1"].last_decision
    assert isinstance(decision, Refusal)
    assert decision.cap is Cap.LEDGER
    assert "ledger" in tank.alarms()
    assert state.reservoirs["bed1"].condition is Condition.KEEPING
    tank.passes(QUARTER)
    assert tank.runs() == []
    assert "ledger" in tank.bed().waiting_for


def test_a_ledger_that_comes_back_is_opened_again_and_dosing_goes_on(tank: AtTheTank, tmp_path: Path) -> None:
    """At the next try, and the alarm goes."""
    kept, elsewhere = tmp_path / "ledger.db", tmp_path / "elsewhere.db"
    kept.rename(elsewhere)
    tank.passes(TO_A_DOSE)
    elsewhere.rename(kept)
    tank.passes(5)
    assert "ledger" in tank.alarms()  # not tried again at every pass
    tank.passes(round(REOPEN_EVERY_S / PASS_S) + TO_A_DOSE)
    assert tank.alarms()["ledger"].state is AlarmState.RETURNED  # a grave one waits until somebody has seen it
    tank.ask("ack")
    tank.passes(1)
    assert tank.alarms() == {}
    assert len(tank.runs()) == 1
    assert [entry.outcome for entry in tank.bed().last_doses] == [Outcome.DONE]


def test_a_ledger_broken_after_the_run_charges_the_dose_in_full(tank: AtTheTank, tmp_path: Path) -> None:
    """Its outcome cannot be kept: all counts as spent, and the open intent once it can be read again."""
    kept, elsewhere = tmp_path / "ledger.db", tmp_path / "elsewhere.db"

    def take_away() -> None:
        if tank.pump_is_on() and kept.exists():
            kept.rename(elsewhere)

    tank.clock.during_sleep = take_away
    tank.passes(TO_A_DOSE + QUARTER)
    assert len(tank.runs()) == 1
    use = tank.bed().caps[Role.PH_DOWN]
    assert use.last_hour_ml == use.max_per_hour_ml
    tank.clock.during_sleep = lambda: None
    elsewhere.rename(kept)
    tank.until(
        lambda _: tank.alarms()["ledger"].state is AlarmState.RETURNED, within=2 * round(REOPEN_EVERY_S / PASS_S)
    )
    bed = tank.bed()
    assert bed.last_doses[-1].outcome is Outcome.OPEN
    assert bed.caps[Role.PH_DOWN].last_hour_ml == pytest.approx(sum(entry.ml for entry in bed.last_doses))


def test_an_intent_left_open_is_noted_and_counted_at_the_next_start(tmp_path: Path) -> None:
    """A program that ends in the middle of a dose finds it in its ledger, charged in full."""

    class Killed(BaseException):
        """Ends everything at once."""

    with at_the_tank(tmp_path) as at:

        def die() -> None:
            if at.pump_is_on():
                raise Killed

        at.clock.during_sleep = die
        with pytest.raises(Killed):
            at.passes(TO_A_DOSE)
        at.clock.during_sleep = lambda: None
    with at_the_tank(tmp_path) as again:
        state = again.passes(1)
    (note,) = state.notes
    assert "dose 1 (8.0 mL" in note
    assert "counted in full" in note
    bed = state.reservoirs["bed1"]
    assert bed.caps[Role.PH_DOWN].last_hour_ml == pytest.approx(8.0)
    assert (bed.last_doses[0].outcome, bed.last_doses[0].note) == (Outcome.CUT_SHORT, "ended unseen")
    assert again.runs() == []
    with at_the_tank(tmp_path) as later:
        assert later.passes(1).notes == ()
        assert later.bed().caps[Role.PH_DOWN].last_hour_ml == pytest.approx(8.0)


# a bad end


def standing_still_while_it_runs(at: AtTheTank) -> None:
    """The rig's clock stops with the pump on: the keeper gives up on it."""

    def stop_the_clock() -> None:
        at.clock.stands = at.pump_is_on()

    at.clock.during_sleep = stop_the_clock


def test_a_run_that_ends_badly_locks_the_reservoir(tank: AtTheTank) -> None:
    """In the same pass, with the keeper's reason, an alarm, and no second run."""
    standing_still_while_it_runs(tank)
    state = tank.until(lambda state: bool(state.reservoirs["bed1"].last_doses), within=TO_A_DOSE)
    bed = state.reservoirs["bed1"]
    assert bed.condition is Condition.LOCKED
    assert "stands still" in bed.condition_reason
    assert bed.last_doses[0].outcome is Outcome.CUT_SHORT
    assert "bed1-locked" in tank.alarms()
    tank.clock.stands, tank.clock.during_sleep = False, lambda: None
    tank.passes(QUARTER)
    assert len(tank.runs()) == 1
    assert not tank.pump_is_on()


def test_a_keeper_that_ended_between_doses_locks_within_a_pass(
    tank: AtTheTank, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With its successor's words; nothing ran and is charged, and nothing runs until a person clears it."""
    tank.passes(1)
    assert tank.bed().condition is Condition.KEEPING
    told = iter(["the pump keeper stopped"])
    monkeypatch.setattr(tank.loop.keeper, "tend", lambda: next(told, ""))
    bed = tank.passes(1).reservoirs["bed1"]
    assert (bed.condition, bed.condition_reason) == (Condition.LOCKED, "the pump keeper stopped")
    assert tank.passes(QUARTER).reservoirs["bed1"].last_doses == ()
    assert "bed1-locked" in tank.alarms()
    assert tank.runs() == []


def test_a_keeper_that_ends_while_stopping_locks_nothing(
    tank: AtTheTank, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The signal that ends the daemon may reach its keeper as well."""

    def ended() -> str:
        tank.loop.stopping.set()
        return "the pump keeper stopped"

    tank.passes(1)
    monkeypatch.setattr(tank.loop.keeper, "tend", ended)
    assert tank.passes(1).reservoirs["bed1"].condition is Condition.KEEPING


def test_a_lock_survives_a_restart_until_a_person_clears_it(tmp_path: Path) -> None:
    """With its first reason; cleared, the reservoir keeps itself again."""
    with at_the_tank(tmp_path) as at:
        standing_still_while_it_runs(at)
        at.passes(TO_A_DOSE)
        reason = at.bed().condition_reason
    with at_the_tank(tmp_path, start_utc=at.clock.utc() + timedelta(hours=1)) as again:
        again.passes(QUARTER)
        assert (again.bed().condition, again.bed().condition_reason) == (Condition.LOCKED, reason)
        assert again.runs() == []
        again.ask("clear")
        again.passes(QUARTER)
        assert again.bed().condition is Condition.KEEPING
        assert again.runs() != []


def test_a_pump_line_that_cannot_be_driven_low_locks(tank: AtTheTank) -> None:
    """The keeper raises, the dose counts as failed and in full, and its words say where to look."""
    pin = tank.bench.pin_factory().pin(PH_DOWN_LINE)

    class StuckPin(BenchPin):
        """Once high, it stays so."""

        def _set_state(self, value: object) -> None:
            super()._set_state(value or self._state)

    pin.__class__ = StuckPin
    bed = tank.until(lambda state: bool(state.reservoirs["bed1"].last_doses), TO_A_DOSE).reservoirs["bed1"]
    assert bed.condition is Condition.LOCKED
    pin.__class__ = BenchPin
    assert "cannot be driven low" in bed.condition_reason
    assert bed.last_doses[0].outcome is Outcome.FAILED
    assert bed.caps[Role.PH_DOWN].last_hour_ml == pytest.approx(8.0)


def test_time_that_passes_without_a_dose_is_proven_too(tmp_path: Path) -> None:
    """After a crash all but the last quarter of an hour of it counts."""
    with at_the_tank(tmp_path, one_bed(start="watching")) as at:
        at.passes(3 * QUARTER)
        passed_s = at.clock.monotonic_s()
    with at_the_tank(tmp_path, one_bed(start="watching")) as again:
        proven_s = again.service.ledger.proven_s(again.loop.stamp())
    assert 2 * QUARTER * PASS_S - PASS_S <= proven_s <= passed_s


# stopping


def test_stop_cuts_a_run_short_and_does_not_lock(tmp_path: Path) -> None:
    """As a signal does: pumps off within the second, the loop ends, and the next start keeps the water."""
    with at_the_tank(tmp_path) as at:
        asked_s: list[float] = []

        def stop_once() -> None:
            if at.pump_is_on() and not asked_s:
                asked_s.append(at.clock.monotonic_s())
                at.service.stop()
                assert not at.pump_is_on()

        at.clock.during_sleep = stop_once
        at.service.run(3600.0)
        off_s = max(edge.at_s for edge in at.bench.edges if edge.line == PH_DOWN_LINE and not edge.on)
        assert off_s - asked_s[0] <= 1.0
        bed = at.bed()
        assert bed.condition is Condition.KEEPING
        assert bed.last_doses[0].outcome is Outcome.CUT_SHORT
        assert bed.caps[Role.PH_DOWN].last_hour_ml == pytest.approx(8.0)
        assert len(at.runs()) == 1
    with at_the_tank(tmp_path) as again:
        assert again.passes(1).reservoirs["bed1"].condition is Condition.KEEPING


def test_no_dose_begins_once_stopping(tank: AtTheTank) -> None:
    """A pass that goes on after a signal only looks."""
    tank.loop.stopping.set()
    tank.passes(QUARTER)
    assert tank.runs() == []
    assert tank.service.ledger.recent(5) == ()


def test_a_stopped_loop_makes_no_pass(tank: AtTheTank) -> None:
    """Told to stop before it began, it ends at once."""
    tank.service.stop()
    tank.service.run(60.0)
    assert tank.loop.state is None


def test_run_ends_by_itself_after_its_time(tank: AtTheTank) -> None:
    """So many passes as fit, at their pace, by the rig's clock."""
    begun_s = tank.clock.monotonic_s()
    tank.service.run(300.0)
    assert tank.loop.state is not None
    assert tank.loop.state.passes == 30
    assert 290.0 <= tank.clock.monotonic_s() - begun_s <= 300.0


def test_a_pass_that_took_long_is_not_made_up_for(tank: AtTheTank) -> None:
    """After a standstill of ten minutes the passes go on at their pace, without a burst."""
    at_s: list[float] = []
    dozed = False

    def doze_once() -> None:
        nonlocal dozed
        if not dozed and tank.clock.monotonic_s() > 60.0:
            dozed = True
            tank.clock.spend(600.0)

    tank.clock.during_sleep = doze_once
    tank.loop.tell = lambda state: at_s.append(state.at_s)
    tank.service.run(900.0)
    gaps = [later - earlier for earlier, later in pairwise(at_s)]
    assert max(gaps) > 590.0
    assert sum(gap < 1.0 for gap in gaps) <= 1


# requests


def test_a_request_waits_a_second_at_most(tank: AtTheTank) -> None:
    """No sleep between passes is longer, and what is asked during one is answered before the next."""
    woke_s: list[float] = []
    asked: list[float] = []
    answered: list[float] = []

    def ask_once() -> None:
        woke_s.append(tank.clock.monotonic_s())
        if not asked and woke_s[-1] > 23.0:
            asked.append(woke_s[-1])
            answer = Request("alarms", {}, Origin.REMOTE, lambda _: answered.append(tank.clock.monotonic_s()))
            tank.service.submit(answer)

    tank.clock.during_sleep = ask_once
    tank.loop.answers_within_s = ANSWERS_WITHIN_S
    tank.service.run(60.0)
    assert answered == asked
    assert max(later - earlier for earlier, later in pairwise(woke_s)) <= 1.1


def test_where_nobody_can_ask_each_pass_comes_at_the_same_moment(tmp_path: Path) -> None:
    """A rehearsal waits in one go, to the very moment to which a box waits that answers meanwhile."""
    moments: list[list[float]] = [[], []]
    for answers_within_s, at_s in zip((ANSWERS_WITHIN_S, inf), moments, strict=True):
        folder = tmp_path / f"{answers_within_s}"
        folder.mkdir()
        with at_the_tank(folder) as tank:
            tank.loop.answers_within_s = answers_within_s
            tank.loop.tell = lambda state, at_s=at_s: at_s.append(state.at_s)  # type: ignore[misc]
            tank.service.run(3600.0)
    assert len(moments[0]) > 300
    assert moments[0] == moments[1]


def test_each_request_is_answered_once_in_its_turn(tank: AtTheTank) -> None:
    """A refused one between two others holds up neither."""
    answers: list[object] = []
    for method in ("alarms", "juggle", "alarms"):
        tank.service.submit(Request(method, {}, Origin.LOCAL, answers.append))
    tank.loop.answer_requests()
    tank.loop.answer_requests()
    assert [type(answer).__name__ for answer in answers] == ["list", "UnknownMethod", "list"]


# a probe


def test_an_unplugged_probe_stops_dosing_and_calls_then_all_is_well_again(tank: AtTheTank) -> None:
    """Within one pass, alarm and all; plugged back, the alarm goes and dosing begins anew."""
    tank.passes(TO_A_DOSE)
    before = len(tank.runs())
    tank.bench.play("unplug", probe="ph")
    state = tank.passes(1)
    assert not state.reservoirs["bed1"].verdicts[Quantity.PH].usable
    assert "bed1-ph-probe" in tank.alarms()
    tank.passes(QUARTER)
    assert len(tank.runs()) == before
    tank.bench.play("plug", probe="ph")
    tank.until(lambda state: not state.alarms, within=2 * QUARTER)
    tank.until(lambda _: len(tank.runs()) > before, within=TO_A_DOSE)


def test_a_returned_alarm_says_so_before_it_goes(tank: AtTheTank) -> None:
    """Unacknowledged and returned, until its off-delay has passed."""
    tank.passes(6)
    tank.bench.play("unplug", probe="temperature")
    tank.passes(2)
    assert tank.alarms()["bed1-temperature-probe"].state is AlarmState.UNACKNOWLEDGED
    tank.bench.play("plug", probe="temperature")
    tank.until(lambda _: tank.alarms()["bed1-temperature-probe"].state is AlarmState.RETURNED, within=20)
    tank.until(lambda state: not state.alarms, within=20)


def test_low_water_stops_dosing(tank: AtTheTank) -> None:
    """The float switch says low: refused by level, and a person is called after a minute."""
    tank.bench.play("drain", litres=40.0)
    state = tank.until(lambda state: state.reservoirs["bed1"].last_decision is not None, within=TO_A_DOSE)
    decision = state.reservoirs["bed1"].last_decision
    assert isinstance(decision, Refusal)
    assert decision.cap is Cap.LEVEL
    tank.passes(QUARTER)
    assert tank.runs() == []
    assert "bed1-level-level-low" in tank.alarms()


def test_an_unplugged_level_switch_counts_as_low(tmp_path: Path) -> None:
    """A contact that never closes says low, so nothing is dosed."""
    with at_the_tank(tmp_path, tank={"probe": [p for p in _bench_probes() if p["kind"] != "float_switch"]}) as at:
        at.passes(QUARTER)
        assert at.runs() == []
        assert "bed1-level-level-low" in at.alarms()


def _bench_probes() -> list[dict[str, object]]:
    probes: list[dict[str, object]] = one_bed().rig_table()["tank"]["bed1"]["probe"]
    return probes


# clocks


@pytest.mark.parametrize("hours", [-87600, -1, 2, 48])
def test_a_wall_clock_that_jumps_frees_no_allowance(tmp_path: Path, hours: int) -> None:
    """The hour's cap is spent; after the jump it still is."""
    with at_the_tank(tmp_path, pump_settings(max_per_hour_ml=8.0)) as at:
        at.passes(TO_A_DOSE)
        assert len(at.runs()) == 1
        at.clock.set_off = timedelta(hours=hours)
        at.passes(QUARTER)
        assert len(at.runs()) == 1


def test_a_wall_clock_that_jumps_does_not_run_a_job_twice(tmp_path: Path) -> None:
    """Ten missed nights run once, and a small correction back over the hour runs nothing again."""
    start = datetime.fromisoformat("2026-04-02T03:09:00+00:00")
    with at_the_tank(tmp_path, start_utc=start) as at:
        ran: list[datetime] = []
        backup, *_ = at.service._jobs()
        at.loop.calendar = Calendar([Job("counted", backup.trigger, ran.append)], at.clock.utc())
        at.passes(8)
        assert len(ran) == 1
        at.clock.set_off = timedelta(seconds=-30)
        at.passes(8)
        assert len(ran) == 1
        at.clock.set_off = timedelta(days=10)
        at.passes(8)
        assert len(ran) == 2


def test_far_ahead_the_calibration_has_expired_and_nothing_is_dosed(tank: AtTheTank) -> None:
    """A wall clock years ahead makes it dose less, not more."""
    tank.clock.set_off = timedelta(days=3650)
    tank.passes(QUARTER)
    assert tank.bed().verdicts[Quantity.PH].reason is VerdictReason.CALIBRATION_OLD
    assert not tank.bed().verdicts[Quantity.PH].usable
    assert tank.runs() == []


# the snapshot


def test_every_pass_tells_one_whole_snapshot(tank: AtTheTank) -> None:
    """To whoever listens, after the dose of the same pass, and the loop keeps the newest."""
    told: list[State] = []
    tank.loop.tell = told.append
    tank.passes(TO_A_DOSE)
    assert [state.passes for state in told] == list(range(1, TO_A_DOSE + 1))
    assert tank.loop.state is told[-1]
    assert all(earlier.at_s < later.at_s for earlier, later in pairwise(told))
    with_dose = [state for state in told if state.reservoirs["bed1"].last_doses]
    (edge,) = tank.runs()
    assert with_dose[0].at_s - edge.at_s < PASS_S


def test_a_snapshot_is_complete_from_the_first_pass(tank: AtTheTank) -> None:
    """Every probe has a verdict, every pump its caps, every band is there, and it says what it waits for."""
    state = tank.passes(1)
    bed = state.reservoirs["bed1"]
    assert list(bed.verdicts) == [Quantity.PH, Quantity.EC, Quantity.TEMPERATURE, Quantity.LEVEL]
    assert set(bed.bands) == {Quantity.PH, Quantity.EC, Quantity.TEMPERATURE}
    assert set(bed.caps) == {Role.PH_DOWN, Role.PH_UP}
    use = bed.caps[Role.PH_DOWN]
    assert (use.last_hour_ml, use.max_per_hour_ml, use.max_per_day_ml, use.bottle_left_ml) == (0, 60, 150, 1000)
    assert bed.waiting_for
    assert state.rig == "sim_hw.bench:open_rig"
    assert state.started_utc <= state.utc
    assert state.version
    assert state.notes == ()


def test_when_it_started_stays(tank: AtTheTank) -> None:
    """The first pass's moment, in every later snapshot."""
    assert tank.passes(1).started_utc == tank.passes(30).started_utc


def test_other_causes_are_asked_for_each_pass(tank: AtTheTank) -> None:
    """What the links know of themselves becomes an alarm like any other."""
    tank.loop.more_causes = lambda: [Cause(Kind.BROKER, "", "mqtt", "No broker.")]
    tank.passes(10)
    assert "mqtt-broker" not in tank.alarms()
    tank.passes(round(TABLE[Kind.BROKER].on_delay_s / PASS_S))
    assert "mqtt-broker" in tank.alarms()
