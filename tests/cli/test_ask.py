"""Commands that ask a running daemon, against the whole program on a stepped bench."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from daemon.cli.ask import _alarm_lines_of, _status_lines
from daemon.cli.main import main
from daemon.desk.reach import Reach
from daemon.dose.usual import Usual
from daemon.link.plain import plain
from daemon.values import AlarmState, Condition, Quantity, Role
from daemon.words import unusual
from tests.at_the_tank import TO_A_DOSE, AtTheTank, at_the_tank, two_beds
from tests.link.states import alarm, state

Evenwater = Callable[..., int]


@pytest.fixture
def tank(tmp_path: Path) -> Iterator[AtTheTank]:
    """The school garden after its first dose, listening on its control socket."""
    with at_the_tank(tmp_path, control=True) as at:
        at.passes(TO_A_DOSE)
        yield at


def test_status_shows_values_bands_caps_and_doses(
    evenwater: Evenwater, capsys: pytest.CaptureFixture[str]
) -> None:
    """A line for each probe with its verdict, for each pump, and for the last doses."""
    assert evenwater("status") == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].endswith("· rig sim_hw.bench:open_rig")
    assert "Bed 1 [bed1]: keeping (corrects by itself)" in lines
    by_name = {line[2:16].strip(): line for line in lines if line.startswith("  ")}
    assert "band 5.5 to 6.5" in by_name["pH"]
    assert "good: fine" in by_name["pH"]
    assert "mS/cm" in by_name["EC"]
    assert "enough" in by_name["level"]
    assert "  pH down       hour 8.0 of 60 mL, 24 h 8.0 of 150 mL, bottle 992 mL left" in lines
    assert any("8.0 mL pH down, pH 7.2" in line for line in lines)
    assert lines[-3:-1] == ["no alarm", ""]
    assert lines[-1].startswith("It calls nobody: neither [mqtt] nor [notify] is on")


def test_status_tells_each_way_it_calls_by(
    evenwater: Evenwater, tank: AtTheTank, capsys: pytest.CaptureFixture[str]
) -> None:
    """And whether it works: who leaves for a fortnight looks here first."""
    tank.service.loop.reach = lambda: (
        Reach("MQTT at b:8883", True, "connected for 3 h"),
        Reach("way 1 (json)", None, "nothing sent"),
    )
    assert evenwater("status") == 0
    assert capsys.readouterr().out.splitlines()[-2:] == [
        "calls by MQTT at b:8883: works; connected for 3 h",
        "calls by way 1 (json): not shown to work yet; nothing sent",
    ]


def test_status_as_json_is_the_whole_snapshot(evenwater: Evenwater, capsys: pytest.CaptureFixture[str]) -> None:
    """One value, and nothing else on standard output."""
    assert evenwater("status", "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert told["passes"] >= TO_A_DOSE
    assert told["reservoirs"]["bed1"]["condition"] == "keeping"


def test_status_says_notes_holds_and_alarms() -> None:
    """What a person has to know before anything else."""
    held = replace(
        state().reservoirs["bed1"], condition=Condition.HELD, condition_reason="cleaning", last_doses=()
    )
    shown = replace(state(1, held, alarms=(alarm(),)), notes=("dose 3 ended unseen",), next_task="today: sow")
    lines = list(_status_lines(json.loads(json.dumps(plain(shown)))))
    assert "  note: dose 3 ended unseen" in lines
    assert "  garden: today: sow (evenwater crop today)" in lines
    assert "Bed1 [bed1]: held (dosing paused by a person): cleaning" in lines
    assert lines[-2:] == [
        "high   bed1-ph-probe  since 2026-03-01 06:30:00, unacknowledged",
        "       pH probe gone",
    ]


def test_the_ledger_lists_doses_with_their_reasons(
    evenwater: Evenwater, tank: AtTheTank, capsys: pytest.CaptureFixture[str]
) -> None:
    """Newest first, as many as asked for; as JSON for programs."""
    tank.until(lambda _: len(tank.runs()) == 3, within=180)
    assert evenwater("ledger", "--last", "2") == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line.split()[0] for line in lines] == ["3", "2"]
    assert all("bed1" in line and "mL pH down, pH" in line for line in lines)
    assert evenwater("ledger", "--json") == 0
    assert [line["number"] for line in json.loads(capsys.readouterr().out)] == [3, 2, 1]


def test_an_empty_ledger_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Before the first dose."""
    with at_the_tank(tmp_path, control=True, calibrated=False) as at:
        at.passes(1)
        assert at.while_answering(lambda: main(["ledger", "--state", str(tmp_path)])) == 0
    assert capsys.readouterr().out == "no dose yet\n"


def test_alarms_are_listed_acknowledged_and_stay(
    evenwater: Evenwater, tank: AtTheTank, capsys: pytest.CaptureFixture[str]
) -> None:
    """With what to do; a key that is not there is refused."""
    assert evenwater("alarms") == 0
    assert capsys.readouterr().out == "no alarm\n"
    tank.bench.play("unplug", probe="ph")
    tank.passes(2)
    assert evenwater("alarms") == 0
    said = capsys.readouterr().out
    assert said.startswith("medium bed1-ph-probe  since ")
    assert "put it back in the water" in said
    assert evenwater("ack", "bed1-toast") == 1
    assert "no such alarm: bed1-toast" in capsys.readouterr().err
    assert evenwater("ack") == 0
    assert capsys.readouterr().out == "acknowledged: bed1-ph-probe\n"
    tank.passes(1)
    assert tank.alarms()["bed1-ph-probe"].state is AlarmState.ACKNOWLEDGED


def test_hold_and_release(evenwater: Evenwater, tank: AtTheTank, capsys: pytest.CaptureFixture[str]) -> None:
    """Paused with its reason, then going on; as JSON too."""
    assert evenwater("hold", "cleaning", "--hours", "2") == 0
    assert capsys.readouterr().out == "Bed 1: dosing paused for 2 h or until released (cleaning)\n"
    tank.passes(1)
    assert (tank.bed().condition, tank.bed().condition_reason) == (Condition.HELD, "cleaning")
    assert evenwater("release", "--json") == 0
    assert "keeping" in json.loads(capsys.readouterr().out)["said"]
    tank.passes(1)
    assert tank.bed().condition is Condition.KEEPING


@pytest.mark.parametrize("hours", ["0", "-1", "721"])
def test_hours_out_of_range_hold_nothing(
    evenwater: Evenwater, tank: AtTheTank, hours: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """The daemon says what is allowed; zero hours are not for ever."""
    assert evenwater("hold", "cleaning", "--hours", hours) == 1
    assert "hours" in capsys.readouterr().err
    tank.passes(1)
    assert tank.bed().condition is Condition.KEEPING


def test_clear(evenwater: Evenwater, tank: AtTheTank, capsys: pytest.CaptureFixture[str]) -> None:
    """A person at the tank ends a lock; without one it says so."""
    assert evenwater("clear") == 0
    assert capsys.readouterr().out == "Bed 1: was not locked\n"
    tank.loop.reservoirs["bed1"].lock("split tube", tank.loop.stamp())
    assert evenwater("clear") == 0
    assert capsys.readouterr().out.startswith("lock cleared; Bed 1 is keeping")


def test_clear_asks_for_a_measurement(
    evenwater: Evenwater, tank: AtTheTank, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where the probe is in doubt: from a script an option, at a terminal a question; Enter leaves it locked."""
    reason = unusual(Role.PH_DOWN, Usual(back_ph=0.9, most_ph=0.5, usual_ph=0.2))
    tank.passes(30)
    tank.loop.reservoirs["bed1"].lock(reason, tank.loop.stamp())
    reads = tank.passes(1).reservoirs["bed1"].verdicts[Quantity.PH].reading
    assert reads is not None
    assert evenwater("clear") == 1
    assert evenwater("clear", "--measured-ph", "9", "--json") == 1
    assert "hand meter" in capsys.readouterr().out
    typed = iter(["", f"{reads.value:.2f}"])
    monkeypatch.setattr(sys.stdin, "isatty", lambda: True, raising=False)
    monkeypatch.setattr("builtins.input", lambda question: next(typed))
    assert evenwater("clear") == 1
    assert evenwater("clear") == 0
    assert "lock cleared; Bed 1 is keeping" in capsys.readouterr().out


def test_bottle(evenwater: Evenwater, tank: AtTheTank, capsys: pytest.CaptureFixture[str]) -> None:
    """Counted as full; a pump that is not there is refused."""
    assert evenwater("bottle", "ph_down") == 0
    assert capsys.readouterr().out == "pH down bottle counted as full: 1000 mL\n"
    tank.passes(1)
    assert tank.bed().caps[Role.PH_DOWN].bottle_left_ml == 1000.0
    assert evenwater("bottle", "stock_a") == 1
    assert capsys.readouterr().err == "evenwater bottle: Bed 1 has no stock A pump\n"


def test_a_reservoir_is_named_with_an_option(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Where there are several."""
    with at_the_tank(tmp_path, two_beds(), control=True) as at:
        at.passes(1)

        def asked(*words: str) -> int:
            return at.while_answering(lambda: main([*words, "--state", str(tmp_path)]))

        assert asked("clear") == 1
        assert "which reservoir?" in capsys.readouterr().err
        assert asked("hold", "planting", "--reservoir", "bed2") == 0
        conditions: dict[str, Any] = {name: bed.condition for name, bed in at.passes(1).reservoirs.items()}
        assert conditions == {"bed1": Condition.KEEPING, "bed2": Condition.HELD}


def test_status_bears_a_probe_that_does_not_answer(
    evenwater: Evenwater, tank: AtTheTank, capsys: pytest.CaptureFixture[str]
) -> None:
    """A dash, and where to look."""
    tank.bench.play("fault", name="chip_silent", target="bed1/ph")
    tank.passes(2)
    assert tank.bed().verdicts[Quantity.PH].reading is None
    assert evenwater("status") == 0
    (line,) = (line for line in capsys.readouterr().out.splitlines() if line.startswith("  pH   "))
    assert "–" in line
    assert "0x48" in line


def test_each_kind_of_alarm_is_explained_without_a_daemon(capsys: pytest.CaptureFixture[str]) -> None:
    """One, or all; as JSON too; an unknown one names those there are."""
    assert main(["alarms", "--explain", "leak"]) == 0
    assert "leak\n  priority: high\n  you have: minutes" in capsys.readouterr().out
    assert main(["alarms", "--explain", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["locked"]["latches"] == "until it is cleared at the tank"
    assert main(["alarms", "--explain", "toast"]) == 2
    assert "there are: probe, " in capsys.readouterr().err


def test_what_follows_from_another_alarm_is_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    """Below it; how long a person has stands with the first."""
    follower = replace(alarm("bed1-ph-out-of-band"), because_of="bed1-ph-probe", state=AlarmState.SUPPRESSED)
    shelved = replace(alarm("x"), state=AlarmState.SHELVED, until_utc=datetime(2026, 3, 1, 9, tzinfo=UTC))
    lines = list(_alarm_lines_of((replace(alarm(), within="hours"), follower, shelved)))
    assert lines[2:4] == ["       You have hours.", "       follows from bed1-ph-probe: bed1-ph-out-of-band"]
    assert lines[4].endswith("shelved until 2026-03-01 09:00 UTC")
