"""`evenwater crop plan`, `today`, `did TASK`, `walk` and `calendar`, as the school types them."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from icalendar import Calendar

from daemon.cli.main import main
from daemon.crop.diary_file import FILE_NAME, read

RIGS = Path(__file__).parents[2] / "config" / "rigs"
Crop = Callable[..., int]


@pytest.fixture
def crop(tmp_path: Path) -> Crop:
    """A `crop` command of the school, on a state folder of its own."""
    own = ["--state", str(tmp_path), "--settings", str(RIGS / "quince-lane.toml")]
    return lambda *words: main(["crop", *words, *own])


@pytest.fixture
def told(crop: Crop, capsys: pytest.CaptureFixture[str]) -> Callable[..., str]:
    """What such a command prints, once it went well."""

    def _told(*words: str) -> str:
        assert crop(*words) == 0
        return capsys.readouterr().out

    return _told


def answers(monkeypatch: pytest.MonkeyPatch, *typed: str) -> None:
    """A terminal at which this is typed, line by line; then it is hung up."""
    lines: Iterator[str] = iter(typed)

    def typing(_prompt: str = "") -> str:
        try:
            return next(lines)
        except StopIteration:
            raise EOFError from None

    monkeypatch.setattr("builtins.input", typing)
    monkeypatch.setattr("sys.stdin.isatty", lambda: True)


def test_the_plan_says_what_places_hold_and_which_weeks_are_empty(told: Callable[..., str]) -> None:
    """18 places hold 2.6 heads a week; three would take 21."""
    said = told("plan", "--day", "2027-03-01")
    assert "sown every week, 7 batches in the water at once: 2.6 a week" in said
    assert "18 places hold no more; 3 a week would take 21 places" in said
    assert "salad-27w17  2027-03-01" in said
    assert "salad: 2027-03-01 to 2027-04-25: nothing: too late to sow for it" in said


def test_the_plan_is_json_for_programs(told: Callable[..., str]) -> None:
    """Wants, sowings and weeks."""
    plan = json.loads(told("plan", "--day", "2027-03-01", "--weeks", "4", "--json"))
    assert plan["wants"]["salad"]["places_wanted"] == 21
    assert plan["wants"]["salad"]["bound"] == "few_places"
    assert plan["sowings"][0]["sow_on"] == "2027-03-01"
    assert plan["weeks"][0] == {
        **{"monday": "2027-03-01", "want": "salad", "heads": 0, "why": "too_late"},
        "share": plan["weeks"][0]["share"],
    }
    assert len(plan["weeks"]) == 12


def test_today_says_what_to_do_and_how(told: Callable[..., str]) -> None:
    """What is due with its sentences, what is next with its day."""
    said = told("today", "--day", "2027-03-01")
    assert said.startswith("Monday, 2027-03-01: 2 to do")
    assert "* Sow " in said
    assert "dust mask" in said
    assert "Done? evenwater crop did sow-salad-27w17" in said
    assert "Fri 2027-03-05  look whether salad-27w17 is up" in said
    tasks = json.loads(told("today", "--day", "2027-03-02", "--json"))["tasks"]
    assert tasks[0]["is_due"]
    assert {"id", "due", "until", "what", "how", "done_by", "is_late"} <= tasks[0].keys()


def test_a_task_done_is_in_the_diary_with_the_numbers_of_the_plan(
    told: Callable[..., str], crop: Crop, tmp_path: Path
) -> None:
    """And gone from what is to do."""
    sow = next(task["id"] for task in json.loads(told("today", "--json"))["tasks"] if task["verb"] == "sow")
    batch = sow.removeprefix("sow-")
    assert f"sown {batch}: crop lettuce, variety butterhead, plugs" in told("did", sow)
    assert told("did", f"look-{batch}", "--plugs", "3")
    assert told("did", f"transplant-{batch}", "--heads", "2")
    assert told("did", f"harvest-{batch}", "--heads", "1", "--grams", "150.5")
    assert [line.kind for line in read(tmp_path / FILE_NAME).lines] == [
        *("sown", "emerged", "transplanted", "picked")
    ]
    assert sow not in [task["id"] for task in json.loads(told("today", "--json"))["tasks"]]
    assert crop("did", sow) == 2


def test_a_walk_by_options_is_kept_with_its_advice(told: Callable[..., str], tmp_path: Path) -> None:
    """Everything on the list counts as looked at."""
    said = told("walk", "--where", "bed1", "--found", "aphids=few", "--found", "brown roots=many")
    assert "walked bed1: aphids few, brown roots many" in said
    assert "rinse them off with water" in said
    assert "evenwater change-out begin --reservoir bed1" in said
    (line,) = read(tmp_path / FILE_NAME).lines
    assert line.event.model_dump()["advice"]
    assert len(line.event.model_dump()["findings"]) == 6
    assert "nothing found" in told("walk", "--where", "nursery", "--all-clear")


def test_a_walk_may_be_asked_through(
    told: Callable[..., str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A slip is asked again; where it was found is asked too."""
    answers(monkeypatch, "", "some", "f", "third row", "", "", "", "")
    assert "1 of 6: aphids (leaves)" in (said := told("walk", "--where", "bed1"))
    assert "Type none, few or many" in said
    findings = read(tmp_path / FILE_NAME).lines[0].event.model_dump()["findings"]
    assert [f["what"] for f in findings if f["how_much"] == "few"] == ["thrips"]
    assert findings[1]["note"] == "third row"
    assert "walked bed1: thrips few (third row)" in said


def test_a_walk_that_ends_early_is_not_written(
    crop: Crop, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Half a look says nothing of the rest."""
    answers(monkeypatch, "", "")
    assert crop("walk", "--where", "bed1") == 2
    assert "nothing was written" in capsys.readouterr().err
    assert not (tmp_path / FILE_NAME).exists()


WRONG = [
    (["did", "sow-salad-99w17"], "is done, or never was a task"),
    (["did", "walk-27w09"], "is done, or never was a task"),
    (["walk", "--where", "bed7", "--all-clear"], "must be one of bed1, nursery"),
    (["walk", "--where", "bed1", "--found", "aphid=few"], "did you mean aphids"),
    (["walk", "--where", "bed1", "--found", "aphids"], "must end with =few or =many"),
    (["walk", "--where", "bed1"], "needs a terminal"),
    (["walk", "--where", "bed1", "--all-clear", "--day", "2999-01-01"], "is yet to come"),
]


@pytest.mark.parametrize(("words", "why"), WRONG, ids=[" ".join(row[0]) for row in WRONG])
def test_what_is_asked_wrongly_is_two(
    crop: Crop, words: list[str], why: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With what is allowed, and nothing written."""
    assert crop(*words) == 2
    assert why in capsys.readouterr().err
    assert not (tmp_path / FILE_NAME).exists()


def test_the_calendar_is_a_file_that_others_read(told: Callable[..., str], tmp_path: Path) -> None:
    """Made anew, what was there is replaced."""
    file = tmp_path / "garden.ics"
    for _ in range(2):
        said = told("calendar", str(file), "--day", "2027-03-01")
    events = Calendar.from_ical(file.read_bytes()).walk("VEVENT")
    assert said == f"{len(events)} tasks in {file}\n"
    assert "sow-salad-27w17@quince-lane" in [str(event["uid"]) for event in events]


def test_a_calendar_that_cannot_be_written_is_one(crop: Crop, capsys: pytest.CaptureFixture[str]) -> None:
    """With the file's name."""
    assert crop("calendar", "/nowhere/garden.ics") == 1
    assert "/nowhere/garden.ics" in capsys.readouterr().err


def test_without_settings_it_says_how_to_name_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """By option or by the environment."""
    monkeypatch.delenv("EVENWATER_SETTINGS", raising=False)
    monkeypatch.setattr("daemon.cli.crop_settings.USUAL", tmp_path / "none.toml")
    assert main(["crop", "plan", "--state", str(tmp_path)]) == 2
    assert "name it with --settings FILE, or set $EVENWATER_SETTINGS" in capsys.readouterr().err
    monkeypatch.setenv("EVENWATER_SETTINGS", str(RIGS / "quince-lane.toml"))
    assert main(["crop", "plan", "--state", str(tmp_path)]) == 0


def test_a_garden_that_wants_nothing_says_what_to_add(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """By the table's name."""
    own = ["--state", str(tmp_path), "--settings", str(RIGS / "quince-lane-fed.toml")]
    for command in ("plan", "today"):
        assert main(["crop", command, *own]) == 0
        assert "add a table [garden.want.NAME]" in capsys.readouterr().out
    assert main(["crop", "walk", "--where", "bed1", "--all-clear", *own]) == 2
    assert "no crop is wanted or stands" in capsys.readouterr().err


def test_settings_that_cannot_be_read_are_one(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With each complaint."""
    (tmp_path / "site.toml").write_text("[site]\n")
    assert main(["crop", "plan", "--state", str(tmp_path), "--settings", str(tmp_path / "site.toml")]) == 1
    assert "site.toml" in capsys.readouterr().err
