"""The calendar file, read back by the icalendar library."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

from icalendar import Calendar

from daemon.crop.ical import calendar_file
from daemon.crop.plan import plan
from daemon.crop.tasks import Task, tasks
from tests.crop.test_plan import BUTTERHEAD, TODAY, WINDOWSILL

AT = datetime(2027, 3, 1, 6, tzinfo=UTC)


def some(today: date = TODAY) -> tuple[Task, ...]:
    return tasks(plan([BUTTERHEAD], WINDOWSILL, {}, today), (), "friday")


def read_back(open_ones: tuple[Task, ...]) -> Calendar:
    return Calendar.from_ical(calendar_file(open_ones, "quince-lane", "Garden; beds, pots", AT))


def test_every_task_is_an_event_of_its_day() -> None:
    """For the whole day, with how it is done, and free to be busy in."""
    calendar, open_ones = read_back(some()), some()
    events = calendar.walk("VEVENT")
    assert len(events) == len(open_ones) > 50
    for event, task in zip(events, open_ones, strict=True):
        assert event.decoded("dtstart") == task.due
        assert event.decoded("dtend") == task.due + timedelta(days=1)
        assert str(event["summary"]).lower() == task.what.lower()
        assert all(sentence in str(event["description"]) for sentence in task.how)
        assert f"evenwater crop did {task.id}" in str(event["description"])
    assert calendar["x-wr-calname"] == "Garden; beds, pots"
    assert calendar["version"] == "2.0"
    assert calendar["prodid"]


def test_uids_are_unique_and_stay() -> None:
    """A task keeps its UID on another day, so that a calendar moves it instead of showing it twice."""
    first, later = (
        [str(event["uid"]) for event in read_back(some(day)).walk("VEVENT")]
        for day in (TODAY, TODAY + timedelta(days=1))
    )
    assert len(set(first)) == len(first)
    assert "sow-salad-27w17@quince-lane" in first
    assert len(set(first) & set(later)) > 0.9 * len(first)


def test_lines_are_folded_and_end_as_the_standard_says() -> None:
    """RFC 5545, 3.1: at most 75 octets, CR and LF."""
    raw = calendar_file(some(), "quince-lane", "Garden", AT)
    assert raw.endswith(b"END:VCALENDAR\r\n")
    assert max(map(len, raw.split(b"\r\n"))) <= 75
    assert b"\n" not in raw.replace(b"\r\n", b"")


def test_an_empty_calendar_is_one() -> None:
    """Without events."""
    assert read_back(()).walk("VEVENT") == []
