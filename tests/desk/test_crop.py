"""What comes of requests about the crop: the whole program, and its diary."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from daemon.crop.diary import Emerged, Walked
from daemon.crop.diary_file import FILE_NAME, event_of, read, write
from daemon.crop.garden import day_of
from daemon.desk.requests import Origin, RequestRefused
from tests.at_the_tank import AtTheTank

SOWN = {"batch": "spring-1", "crop": "lettuce", "variety": "butterhead", "plugs": 6}
WRITTEN = datetime(2026, 4, 1, 6, 0, tzinfo=UTC)


@pytest.fixture
def sown(tank: AtTheTank) -> AtTheTank:
    """The school garden, six plugs sown a week ago."""
    write(tank.service.folder / FILE_NAME, event_of("sown", SOWN), date(2026, 3, 25), WRITTEN)
    return tank


def tasks(at: AtTheTank) -> set[str]:
    """Ids of what is to do."""
    lines = read(at.service.folder / FILE_NAME).lines
    today = at.clock.utc().astimezone().date()
    return {task.id for task in day_of(at.service.settings, lines, today).tasks}


def test_a_task_that_was_done_is_written_down_with_what_the_plan_cannot_know(sown: AtTheTank) -> None:
    """Five of six are up; then it is to do no more."""
    said = sown.ask("crop.did", task="look-spring-1", plugs=5)["said"]
    assert said == "written down: emerged spring-1: plugs 5"
    newest = read(sown.service.folder / FILE_NAME).lines[-1]
    assert newest.event == Emerged(batch="spring-1", plugs=5)
    assert abs(newest.at - sown.clock.utc()) < timedelta(minutes=1)
    assert "look-spring-1" not in tasks(sown)


@pytest.mark.parametrize(
    ("params", "why"),
    [
        ({"task": "look-spring-2"}, "did you mean look-spring-1"),
        ({"task": "look-spring-1", "plugs": 7}, "batch spring-1 has 6 plugs sown"),
        ({"task": "look-spring-1"}, "plugs"),
        ({"task": "look-spring-1", "plugs": 5, "heads": 5}, "heads"),
        ({"task": "walk-26w14"}, "what was found belongs to it"),
    ],
)
def test_what_cannot_be_is_refused_and_not_written(sown: AtTheTank, params: dict[str, Any], why: str) -> None:
    """With what is wrong."""
    with pytest.raises(RequestRefused, match=why):
        sown.ask("crop.did", **params)
    assert len(read(sown.service.folder / FILE_NAME).lines) == 1


def test_a_walk_is_written_down_with_what_to_try_first(sown: AtTheTank) -> None:
    """Advice for what was found, none for the rest."""
    lines = read(sown.service.folder / FILE_NAME).lines
    looks = day_of(sown.service.settings, lines, date(2026, 4, 1)).looks
    found = {look.what: "none" for look in looks} | {looks[0].what: "few"}
    answer = sown.ask("crop.walk", where="bed1", found=found)
    assert answer["advice"] == [f"{looks[0].what}: {looks[0].first}."]
    assert answer["advice"][0] in answer["said"]
    newest = read(sown.service.folder / FILE_NAME).lines[-1].event
    assert isinstance(newest, Walked)
    assert len(newest.findings) == len(looks)


@pytest.mark.parametrize(
    ("where", "found", "why"),
    [("bed9", {}, "there is bed1, nursery"), ("bed1", {"dragons": "few"}, "dragons: is not looked for")],
)
def test_a_walk_elsewhere_or_for_something_else_is_refused(
    sown: AtTheTank, where: str, found: dict[str, str], why: str
) -> None:
    """With the places and the names that there are."""
    with pytest.raises(RequestRefused, match=why):
        sown.ask("crop.walk", where=where, found=found)


def test_a_diary_that_cannot_be_read_is_told(sown: AtTheTank) -> None:
    """And nothing is added to it."""
    (sown.service.folder / FILE_NAME).write_text("no diary\nat all\n")
    with pytest.raises(RequestRefused, match=FILE_NAME):
        sown.ask("crop.did", task="look-spring-1", plugs=5)


@pytest.mark.parametrize("method", ["crop.did", "crop.walk"])
def test_nobody_writes_in_it_over_mqtt(sown: AtTheTank, method: str) -> None:
    """The stages of a reservoir count by it."""
    with pytest.raises(RequestRefused, match="only for a person at the tank"):
        sown.ask(method, Origin.SIGNED, task="look-spring-1", where="bed1")
