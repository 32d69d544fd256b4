"""The whole program put together: what it opens, in which order, and what it leaves when it cannot."""

from __future__ import annotations

import re
import sqlite3
import threading
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime, timedelta
from math import inf
from pathlib import Path
from typing import Any

import pytest

from config.load import load
from config.settings import Settings
from daemon.desk.requests import Origin, Request
from daemon.link.client import ControlClient, NoDaemon
from daemon.link.trust import MqttSettingsError
from daemon.lock import StateLockError
from daemon.measure.book import BookError
from daemon.measure.normal import afresh
from daemon.runs import BAD_ENDS
from daemon.service import CANNOT_START, Service, settings_with
from daemon.store.trend import opened
from daemon.values import Condition, Quantity, Role, State
from drivers.rig import RigError
from sim_hw.bench import Bench, open_rig
from sim_hw.from_settings import bench_table
from tests.at_the_tank import PASS_S, RIGS, TO_A_DOSE, AtTheTank, at_the_tank, one_bed, raw_settings
from tests.hazards.kept import keep

QUARTER = 90  # passes of a quarter of an hour


def a_bench(settings: Settings | None = None) -> Bench:
    """A stepped bench wired as the settings say."""
    return open_rig(bench_table(settings or one_bed(), seed=1))


def a_service(folder: Path, bench: Bench, **changes: Any) -> Service:
    """The school garden on this bench, with no links."""
    return Service(one_bed(), rig=bench, state_folder=folder, **({"control": False, "mqtt": False} | changes))


def turned_on(bench: Bench) -> bool:
    """Whether any line was ever high."""
    return any(edge.on for edge in bench.edges)


# starting


def test_every_pump_line_is_driven_low_before_the_first_look(tmp_path: Path) -> None:
    """From the moment it is put together, both lines are low and held so."""
    bench = a_bench()
    with a_service(tmp_path, bench):
        assert {(edge.line, edge.on) for edge in bench.edges} == {(17, False), (27, False)}


def spoil_ledger(folder: Path) -> None:
    (folder / "ledger.db").write_bytes(b"this is no ledger" * 100)


def spoil_a_figure(folder: Path) -> None:
    with at_the_tank(folder) as at:
        at.passes(TO_A_DOSE)
    with closing(sqlite3.connect(folder / "ledger.db")) as db:
        db.execute("UPDATE entries SET ml = 0.1")
        db.commit()


def test_a_book_that_cannot_be_read_stops_the_start_with_the_next_step(tmp_path: Path) -> None:
    """No pump turns, the bad file is left as it is, and the folder is free for the start after it is mended."""
    book = tmp_path / "calibrations.toml"
    book.write_text("[reservoir.bed1.ph]\nslope_percent = 970.0\n")
    before, bench = book.read_bytes(), a_bench()
    with pytest.raises(BookError, match=r"calibrations\.toml") as caught:
        a_service(tmp_path, bench)
    assert isinstance(caught.value, CANNOT_START)
    assert not turned_on(bench)
    assert book.read_bytes() == before
    book.unlink()
    a_service(tmp_path, a_bench()).close()


@pytest.mark.parametrize(("spoil", "says"), [(spoil_ledger, "is not a ledger"), (spoil_a_figure, "is damaged")])
def test_a_ledger_that_cannot_be_read_locks(tmp_path: Path, spoil: Callable[[Path], None], says: str) -> None:
    """It measures, no pump turns, the bad file is left as it is, and a person is told what to do."""
    spoil(tmp_path)
    before = (tmp_path / "ledger.db").read_bytes()
    with at_the_tank(tmp_path) as at:
        at.passes(TO_A_DOSE)
        assert at.runs() == []
        assert at.bed().condition is Condition.LOCKED
        assert "the ledger could not be read" in at.bed().condition_reason
        assert says in at.alarms()["ledger"].text
    assert (tmp_path / "ledger.db").read_bytes() == before


def test_a_second_start_on_the_same_folder_touches_no_line(tmp_path: Path) -> None:
    """It says who holds the folder, and the first goes on."""
    with at_the_tank(tmp_path) as at:
        second = a_bench()
        with pytest.raises(StateLockError, match=r"in use by process \d+.*stop that daemon"):
            a_service(tmp_path, second)
        assert second.edges == ()
        at.passes(TO_A_DOSE)
        assert len(at.runs()) == 1


@pytest.mark.parametrize(
    ("named", "says"),
    [
        ("no_such_module:open_rig", "no_such_module cannot be imported"),
        ("drivers.rig:no_such_function", "has no function no_such_function"),
    ],
)
def test_a_rig_that_cannot_be_found_stops_the_start(tmp_path: Path, named: str, says: str) -> None:
    """By the name in the settings."""
    settings = settings_with(one_bed(), rig={"open": named})
    with pytest.raises(RigError, match=says):
        Service(settings, state_folder=tmp_path, control=False, mqtt=False)
    a_service(tmp_path, a_bench()).close()


def test_the_settings_rig_is_opened_where_none_is_handed_in(tmp_path: Path) -> None:
    """By name, as anyone's rig is; `run` for a while goes through it."""
    table = {"time_factor": 0.0, "socket": str(tmp_path / "bench.sock")}
    with Service(
        settings_with(one_bed(), rig=table), state_folder=tmp_path, control=False, mqtt=False
    ) as service:
        service.run(120.0)
        assert service.loop.state is not None
        assert service.loop.state.passes == 12


def test_a_missing_password_stops_the_start(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Credentials that are named but not there: said, with no pump turned, before anything is connected."""
    monkeypatch.delenv("CREDENTIALS_DIRECTORY", raising=False)
    settings = settings_with(one_bed(), mqtt={"username": "x", "password_credential": "mqtt-password"})
    bench = a_bench()
    with pytest.raises(MqttSettingsError):
        Service(settings, rig=bench, state_folder=tmp_path, control=False)
    assert not turned_on(bench)


# running


def test_the_watching_view_sees_every_snapshot(tmp_path: Path) -> None:
    """In order, one a pass."""
    seen: list[State] = []
    with a_service(tmp_path, a_bench(), watch=seen.append) as service:
        service.run(100.0)
    assert [state.passes for state in seen] == list(range(1, 11))


def test_the_service_manager_hears_of_start_passes_and_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ready first, alive after each completed pass, stopping last; nothing else feeds the watchdog."""
    told: list[str] = []
    monkeypatch.setattr("daemon.notify.tell", lambda *said: told.extend(said))
    monkeypatch.delenv("WATCHDOG_USEC", raising=False)
    with a_service(tmp_path, a_bench()) as service:
        assert told == []
        service.run(30.0)
    assert told == ["READY=1", "WATCHDOG=1", "WATCHDOG=1", "WATCHDOG=1", "STOPPING=1"]


def test_requests_may_come_from_any_thread(tmp_path: Path) -> None:
    """They are answered on the loop's, in the next pause."""
    answered: list[tuple[int, Any]] = []

    def ask() -> None:
        answer: Callable[[Any], None] = lambda result: answered.append((threading.get_ident(), result))  # noqa: E731
        service.submit(Request("hold", {"reason": "from a thread"}, Origin.REMOTE, answer))

    with a_service(tmp_path, a_bench()) as service:
        asking = threading.Thread(target=ask)
        asking.start()
        asking.join()
        assert answered == []
        service.run(20.0)
        assert service.loop.state is not None
        assert service.loop.state.reservoirs["bed1"].condition is Condition.HELD
    ((thread, result),) = answered
    assert thread == threading.get_ident()
    assert "paused" in result["said"]


def test_people_reach_it_by_the_control_socket_until_it_ends(tmp_path: Path) -> None:
    """The snapshot is there without troubling the loop; afterwards nobody answers."""
    with a_service(tmp_path, a_bench(), control=True) as service:
        service.run(20.0)
        assert ControlClient(tmp_path).call("status")["passes"] == 2
    with pytest.raises(NoDaemon):
        ControlClient(tmp_path).call("status")


def test_no_broker_is_told_after_five_minutes_and_stops_no_dose(tmp_path: Path) -> None:
    """Dosing goes on by its own rules; the alarm says where it looked."""
    mqtt = {"port": 1}  # tcpmux: nothing listens there
    settings = settings_with(one_bed(), mqtt=mqtt)
    bench = a_bench()
    with Service(settings, rig=bench, state_folder=tmp_path, control=False) as service:
        service.run(400.0)
        assert service.loop.state is not None
        (broker,) = (alarm for alarm in service.loop.state.alarms if alarm.kind == "broker")
        assert broker.key == "mqtt-broker"
        assert "127.0.0.1:1" in broker.text
        assert all(alarm.kind in ("broker", "calibration") for alarm in service.loop.state.alarms)


def test_mqtt_that_the_settings_switch_off_is_not_missed(tmp_path: Path) -> None:
    """No link, no alarm."""
    settings = settings_with(one_bed(), mqtt={"enabled": False})
    with Service(settings, rig=a_bench(), state_folder=tmp_path, control=False) as service:
        service.run(400.0)
        assert service.loop.state is not None
        assert "broker" not in {alarm.kind for alarm in service.loop.state.alarms}


@pytest.mark.parametrize(
    ("control", "mqtt", "within_s"), [(True, False, 1.0), (False, True, 1.0), (False, False, inf)]
)
def test_who_can_be_asked_answers_within_a_second(
    tmp_path: Path, control: bool, mqtt: bool, within_s: float
) -> None:
    """By the socket or over the broker; where nobody can ask it need not wake between passes."""
    with a_service(tmp_path, a_bench(), control=control, mqtt=mqtt) as service:
        assert service.loop.answers_within_s == within_s


# keeping


def test_caps_hold_across_a_restart(tmp_path: Path) -> None:
    """Whatever was dosed before counts after; so does the wait since the last dose."""
    with at_the_tank(tmp_path) as at:
        at.passes(TO_A_DOSE)
        assert len(at.runs()) == 1
    with at_the_tank(tmp_path, start_utc=at.clock.utc() + timedelta(seconds=PASS_S)) as again:
        bed = again.passes(TO_A_DOSE).reservoirs["bed1"]
        assert bed.caps[Role.PH_DOWN].last_hour_ml == pytest.approx(8.0)
        assert "mixing" in bed.waiting_for
        assert again.runs() == []
        assert len(bed.last_doses) == 1


def test_a_restart_loop_gives_no_fresh_allowance(tmp_path: Path) -> None:
    """Twenty starts within the minute, each long enough for a dose on its own: one dose in all."""
    doses, now = 0, datetime(2026, 4, 1, 6, 0, tzinfo=UTC)
    for _ in range(20):
        with at_the_tank(tmp_path, start_utc=now) as at:
            at.passes(TO_A_DOSE)
            doses += len(at.runs())
        now += timedelta(seconds=3)
    assert doses == 1


def test_restarts_by_a_person_are_no_bad_ends(tmp_path: Path) -> None:
    """However many there are, the reservoir goes on being kept."""
    for _ in range(BAD_ENDS + 2):
        with at_the_tank(tmp_path) as at:
            assert at.passes(2).reservoirs["bed1"].condition is Condition.KEEPING


def test_the_ledger_is_copied_every_night(tmp_path: Path) -> None:
    """One whole file for each day of the week, that opens as a ledger."""
    with at_the_tank(tmp_path, start_utc=datetime(2026, 4, 2, 3, 5, tzinfo=UTC)) as at:
        at.passes(TO_A_DOSE)
        assert not (tmp_path / "backup").exists()
        at.passes(30)
        (copy,) = (tmp_path / "backup").iterdir()
        assert copy.name == "ledger-thu.db"
        with closing(sqlite3.connect(copy)) as db:
            assert db.execute("SELECT count(*) FROM entries").fetchone() == (1,)


def test_a_backup_that_cannot_be_written_does_not_stop_the_loop(tmp_path: Path) -> None:
    """A full disk or a file in its place costs the copy, never the water."""
    (tmp_path / "backup").write_text("in the way")
    with at_the_tank(tmp_path, start_utc=datetime(2026, 4, 2, 3, 9, tzinfo=UTC)) as at:
        at.passes(30)
        assert len(at.runs()) >= 1
        assert str(tmp_path / "backup") in at.alarms()["ledger-backup"].text
        (tmp_path / "backup").unlink()
        at.clock.set_off = timedelta(days=1)
        at.passes(2)
        assert at.alarms().keys() <= {"bed1-ph-calibration"}
        assert len(list((tmp_path / "backup").iterdir())) == 1


# ending


def test_closing_twice_is_harmless_and_leaves_the_lines_low(tmp_path: Path) -> None:
    """Nothing of it stays open."""
    bench = a_bench()
    service = a_service(tmp_path, bench)
    service.run(200.0)
    service.close()
    service.close()
    last = {edge.line: edge.on for edge in bench.edges}
    assert not any(last.values())
    assert service.ledger.fault is not None


def test_an_exception_in_the_view_ends_it_with_all_pumps_off(tmp_path: Path) -> None:
    """It is not swallowed, and the lines are low."""

    def fall_over(_state: State) -> None:
        raise RuntimeError("the view fell over")

    bench = a_bench()
    with pytest.raises(RuntimeError, match="fell over"), a_service(tmp_path, bench, watch=fall_over) as service:
        service.run(100.0)
    assert not turned_on(bench)
    a_service(tmp_path, a_bench()).close()


def test_stop_before_any_pass_is_harmless(tmp_path: Path) -> None:
    """From a signal that comes early; the keeper is asked, and nothing runs."""
    bench = a_bench()
    with a_service(tmp_path, bench) as service:
        service.stop()
        service.stop()
        service.run()
    assert not turned_on(bench)


# settings with changes


def test_settings_with_changes_only_what_is_named() -> None:
    """The rest of the table and of the file stays, and the result is checked."""
    own = load(RIGS / "quince-lane.toml")
    changed = settings_with(own, rig={"seed": 3})
    assert changed.rig_table() == {**own.rig_table(), "seed": 3}
    assert changed.reservoir == own.reservoir
    with pytest.raises(ValueError, match="pass_every_s"):
        settings_with(own, site={"pass_every_s": 0.0})


def test_a_restart_still_knows_what_the_water_usually_does(tmp_path: Path) -> None:
    """Kept as the program ends, and four times a day; where the water stood is looked at anew."""
    with at_the_tank(tmp_path) as at:
        at.passes(400)
        before = at.loop.reservoirs["bed1"].instruments.normals
    assert before[Quantity.PH].seen_s > 0.0
    with at_the_tank(tmp_path) as at:
        assert at.loop.reservoirs["bed1"].instruments.normals == {of: afresh(it) for of, it in before.items()}
        (tmp_path / "normals.json").unlink()
        at.clock.sleep(6.5 * 3600.0)
        at.passes(1)
        assert (tmp_path / "normals.json").exists()


def test_normals_that_cannot_be_read_are_told(tmp_path: Path) -> None:
    """A note, no lock: it is learned again."""
    (tmp_path / "normals.json").write_text("{")
    with at_the_tank(tmp_path) as at:
        notes = at.passes(1).notes
    assert any("normals.json" in note for note in notes)


# the history


def test_what_is_read_is_kept(tmp_path: Path) -> None:
    """A row for each minute, in the state folder; old ones go by the calendar."""
    bench = a_bench()
    with a_service(tmp_path, bench) as service:
        service.run(for_s=30 * 60.0)
        now = bench.clock.utc()
    with opened(tmp_path) as trends:
        rows = list(trends.rows(("bed1", "temperature"), now - timedelta(hours=1), now))
    assert len(rows) == pytest.approx(30, abs=2)


def test_a_history_that_cannot_be_kept_calls_and_stops_nothing(tmp_path: Path) -> None:
    """A folder in its place: dosing goes on, and an alarm tells."""
    (tmp_path / "history.db").mkdir()
    with a_service(tmp_path, a_bench()) as service:
        service.run(for_s=45 * 60.0)
        state = service.loop.state
        assert service.ledger.fault is None
    assert state is not None
    assert "history" in {alarm.key for alarm in state.alarms}


# who is at the box


def with_signal() -> Settings:
    """The school garden with a lamp."""
    return Settings.model_validate({**raw_settings(), "signal": {"line": 24}})


def is_lit(at: AtTheTank) -> bool:
    """Whether the lamp is on."""
    return [edge.on for edge in at.bench.edges if edge.line == 24][-1:] == [True]


def test_a_lamp_is_on_while_a_grave_alarm_is_unheard(tmp_path: Path) -> None:
    """Acknowledged it goes out; the lock stays."""
    with at_the_tank(tmp_path, with_signal()) as at:
        at.passes(2)
        assert not is_lit(at)
        at.loop.reservoirs["bed1"].lock("the hose came off", at.loop.stamp())
        at.passes(1)
        assert is_lit(at)
        at.ask("ack")
        at.passes(2)
        assert not is_lit(at)


def test_the_day_is_summed_up_at_its_hour(tmp_path: Path) -> None:
    """With the range of the day from the history; it stays until the next."""
    with at_the_tank(tmp_path) as at:
        assert at.passes(1).summary == ""
        keep(at, 25.0)
        state = at.passes(1)
    assert re.search(r"Bed 1 is keeping: pH \d\.\d\d \(\d\.\d\d to \d\.\d\d\); EC", state.summary)
    assert "Alarms: " in state.summary
