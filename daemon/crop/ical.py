"""The tasks as a calendar file (RFC 5545), by the icalendar library. Pure.

One event for the whole day of each task. Its UID is the task's id at the box, so that a calendar which reads the
file again moves what has moved, and does not show it twice.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from icalendar import Calendar, Event

from daemon.crop.tasks import Task


def calendar_file(tasks: Iterable[Task], box: str, title: str, at: datetime) -> bytes:
    """The calendar, as the file holds it. box: the name on MQTT. at: now, UTC."""
    calendar = Calendar()
    calendar.add("prodid", "-//Evenwater//crop calendar//EN")
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", title)
    for task in tasks:
        calendar.add_component(_event(task, box, at))
    return bytes(calendar.to_ical())


def _event(task: Task, box: str, at: datetime) -> Event:
    event = Event()
    event.add("uid", f"{task.id}@{box}")
    event.add("dtstamp", at)
    event.add("dtstart", task.due)
    event.add("dtend", task.due + timedelta(days=1))
    event.add("summary", task.what[0].upper() + task.what[1:])
    event.add("description", "\n".join([*task.how, f"Last good day: {task.until}.", f"Done? {told(task)}"]))
    event.add("transp", "TRANSPARENT")
    return event


def told(task: Task) -> str:
    """The command that writes the task down as done."""
    if task.verb == "walk":
        return "evenwater crop walk --where PLACE"
    more = {"look": " --plugs HOW-MANY", "harvest": " --heads HOW-MANY --grams HOW-MUCH"}.get(task.verb, "")
    return f"evenwater crop did {task.id}{more}"
