"""`evenwater away`: the whole program, what it prints, and its exit code."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from daemon.away.items import BEYOND, Mark
from daemon.cli.away import FINE, SEE_TO_IT, lines
from daemon.cli.main import main
from daemon.crop.diary_file import FILE_NAME
from daemon.desk.reach import Reach
from daemon.service import Service
from tests.at_the_tank import AtTheTank
from tests.away.test_items import found

Evenwater = Callable[..., int]


def test_a_garden_of_a_minute_has_much_to_see_to(
    evenwater: Evenwater, tank: AtTheTank, capsys: pytest.CaptureFixture[str]
) -> None:
    """Place by place, each with what to do; a sum at the end."""
    tank.passes(5)
    assert evenwater("away") == SEE_TO_IT
    said = capsys.readouterr().out.splitlines()
    assert said[0] == "Quince Lane school kitchen garden (invented), left alone for 14 days, until 2026-04-15"
    assert said[2] == "Bed 1"
    assert "  ● keeping (corrects by itself)" in said
    assert "  ● pH probe, calibrated on 2026-04-01: good until 2026-05-31" in said
    few = "what it takes of this water is known for 0 days, too few to tell for 14"
    place = said.index(f"  ◌ not known: pH down: 1000 mL left; {few}")
    assert said[place + 1] == "      fill it, then: `evenwater bottle ph_down`"
    assert said[said.index("The box, and all else") + 1].startswith("  ✕ see to it: It calls nobody")
    assert "to see to, " in said[-1]


def test_the_days_are_chosen_and_programs_get_json(
    evenwater: Evenwater, tank: AtTheTank, capsys: pytest.CaptureFixture[str]
) -> None:
    """Six days of pH down at its cap of 150 mL are in the bottle, seven are not."""
    tank.service.loop.reach = lambda: (Reach("MQTT at b:8883", True, "connected"),)
    for days, mark in (("6", Mark.LASTS), ("7", Mark.UNKNOWN)):
        evenwater("away", days, "--json")
        told = json.loads(capsys.readouterr().out)
        assert told["days"] == int(days)
        (bottle,) = (item for item in told["items"] if item["said"].startswith("pH down: 1000 mL left"))
        assert bottle["mark"] == mark
        (calls,) = (item for item in told["items"] if "it calls by MQTT" in item["said"])
        assert calls["mark"] == "lasts"


def test_what_cannot_be_read_is_not_known(
    evenwater: Evenwater, tank: AtTheTank, capsys: pytest.CaptureFixture[str]
) -> None:
    """A diary that is none."""
    (tank.service.folder / FILE_NAME).write_bytes(b"\xff\xfe\n\n{}\n")
    assert evenwater("away") == SEE_TO_IT
    said = capsys.readouterr().out
    assert "◌ not known: what is to do in the garden is not known: " in said


def test_where_all_lasts_it_says_so() -> None:
    """And who else is needed."""
    all_of_it = [item for item in found() if item.mark is Mark.LASTS]
    assert list(lines(all_of_it, "Garden"))[-1] == f"all 2 last. {BEYOND}"
    assert FINE == 0


def test_without_a_daemon_the_next_step_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """As every command that asks it."""
    assert main(["away", "--state", str(tmp_path)]) == 1
    assert "evenwater away: " in capsys.readouterr().err


@pytest.mark.parametrize("days", ["0", "61", "-1", "1.5", "a week", "nan"])
def test_days_are_a_whole_number_up_to_sixty(days: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Longer nothing lasts."""
    with pytest.raises(SystemExit) as ended:
        main(["away", "--", days])
    assert ended.value.code == 2
    assert "must be a whole number of days from 1 to 60" in capsys.readouterr().err


def test_a_daemon_of_another_version_is_told(
    evenwater: Evenwater, tank: AtTheTank, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Not a trace of the program."""
    monkeypatch.setattr(type(tank.service.settings), "model_dump", lambda self: {"site": 1})
    assert evenwater("away") == 1
    assert "of another version than this command: restart it" in capsys.readouterr().err
    assert isinstance(tank.service, Service)
