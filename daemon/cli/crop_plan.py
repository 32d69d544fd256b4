"""`evenwater crop plan`, `today` and `calendar`: what to sow when, what to do now, and it all as a calendar."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from daemon.cli.ask import add_command
from daemon.cli.crop_settings import a_day, add_settings_option, diary_of, or_trouble, settings_of, today
from daemon.crop.garden import Day, calendar_of, day_of
from daemon.crop.ical import told
from daemon.crop.plan import WEEKS_SHOWN, Course
from daemon.crop.plan_words import gaps, of_kind
from daemon.crop.tasks import Task, when
from daemon.disk import write_whole

NEXT_SHOWN = 5
NOTHING_WANTED = (
    "The settings want nothing yet: add a table [garden.want.NAME] with crop, variety, heads_per_week, reservoir "
    "and places (docs/crop.md), or write down what you sow: evenwater crop did --help"
)
PLAN = """\
examples:
  evenwater crop plan --settings config/rigs/quince-lane.toml
  evenwater crop plan --weeks 26
  evenwater crop plan --json | jq .sowings
"""
TODAY = """\
examples:
  evenwater crop today
  evenwater crop today --day 2027-01-04
  evenwater crop today --json | jq .tasks
"""
CALENDAR = """\
example:
  evenwater crop calendar garden.ics        then open it, or let a calendar subscribe to the file

Made anew, it has the same UIDs: what has moved moves, nothing is shown twice.
"""


def add_crop_commands(commands: Any) -> None:
    """plan, today, calendar."""
    plan = add_command(commands, "plan", "what to sow when, and what each week brings to the table", PLAN)
    plan.add_argument(
        "--weeks",
        type=_weeks,
        default=WEEKS_SHOWN,
        help=f"from the first that can be fed (default {WEEKS_SHOWN})",
    )
    now = add_command(commands, "today", "what is late, due and next in the garden, and how it is done", TODAY)
    calendar = add_command(commands, "calendar", "all tasks as an iCalendar file (RFC 5545)", CALENDAR)
    calendar.add_argument(
        "file", type=Path, metavar="FILE.ics", help="where to write it; what was there is replaced"
    )
    for parser, name, act in ((plan, "plan", _plan), (now, "today", _today), (calendar, "calendar", _calendar)):
        add_settings_option(parser)
        parser.add_argument("--day", type=a_day, metavar="DAY", help="as if it were that day (default: today)")
        parser.add_argument("--json", action="store_true", help="print one JSON value for programs")
        parser.set_defaults(act=lambda arguments, name=name, act=act: or_trouble(name, lambda: act(arguments)))


def _weeks(text: str) -> int:
    if not (text.isascii() and text.isdigit() and 1 <= int(text) <= 104):
        raise argparse.ArgumentTypeError(f"{text!r}: must be a whole number from 1 to 104")
    return int(text)


def _day(arguments: argparse.Namespace, weeks: int = WEEKS_SHOWN) -> Day:
    """Raises NoSettingsError, SettingsError, DiaryError."""
    return day_of(settings_of(arguments), diary_of(arguments).lines, arguments.day or today(), weeks)


# plan


def _plan(arguments: argparse.Namespace) -> int:
    day = _day(arguments, arguments.weeks)
    if arguments.json:
        print(json.dumps(_plan_as_json(day), ensure_ascii=False))
        return 0
    for line in _plan_lines(day):
        print(line)
    return 0


def _plan_lines(day: Day) -> Iterator[str]:
    wanted = [kind for kind in day.plan.kinds if kind.heads_per_week > 0]
    if not wanted:
        yield NOTHING_WANTED
    for kind in wanted:
        yield from of_kind(kind, day.plan.steady[kind.name])
    if day.plan.courses:
        yield ""
        yield from _table([_HEADINGS, *(_cells(course) for course in day.plan.courses)])
    told_gaps = list(gaps(day.plan))
    if told_gaps:
        yield from ("", "Weeks with fewer heads than their share, and why:", *(f"  {gap}" for gap in told_gaps))


_HEADINGS = ("batch", "sow", "plugs", "thin", "transplant", "ready", "best until", "heads", "")


def _cells(course: Course) -> tuple[str, ...]:
    thin = "" if course.thin_on is None else course.thin_on.isoformat()
    days = (course.transplant_on, course.ready_on, course.best_until)
    plugs = course.batch.plugs if course.batch else course.plugs
    how_far = "" if course.batch is None else "in the water" if course.batch.planted else "sown"
    return (
        course.name,
        course.sow_on.isoformat(),
        str(plugs),
        thin,
        *(day.isoformat() for day in days),
        str(course.heads),
        how_far,
    )


def _table(rows: list[tuple[str, ...]]) -> Iterator[str]:
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    for row in rows:
        yield "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()


def _plan_as_json(day: Day) -> dict[str, Any]:
    return {
        "today": day.plan.today.isoformat(),
        "wants": {
            kind.name: {
                "heads_per_week_wanted": float(kind.heads_per_week),
                "heads_per_week": round(float(way.per_week), 3),
                "places": kind.places,
                "places_wanted": way.places_wanted,
                "sown_every_weeks": way.every_weeks,
                "bound": way.bound,
            }
            for kind in day.plan.kinds
            for way in [day.plan.steady[kind.name]]
            if kind.heads_per_week > 0
        },
        "sowings": [_course_as_json(course) for course in day.plan.courses],
        "weeks": [
            {"monday": w.monday.isoformat(), "want": w.want, "heads": w.heads, "share": w.share, "why": w.why}
            for w in day.plan.weeks
        ],
    }


def _course_as_json(course: Course) -> dict[str, Any]:
    days = ("sow_on", "look_on", "thin_on", "transplant_on", "ready_on", "best_until")
    return {
        **{"batch": course.name, "variety": course.kind.variety, "crop": course.kind.crop},
        **{"plugs": course.plugs, "heads": course.heads, "sown": course.batch is not None},
        **{name: day and day.isoformat() for name in days for day in [getattr(course, name)]},
    }


# today


def _today(arguments: argparse.Namespace) -> int:
    day = _day(arguments)
    if arguments.json:
        tasks = [_task_as_json(task, day.plan.today) for task in day.tasks]
        print(json.dumps({"today": day.plan.today.isoformat(), "tasks": tasks}, ensure_ascii=False))
        return 0
    for line in _today_lines(day):
        print(line)
    return 0


def _today_lines(day: Day) -> Iterator[str]:
    now = day.plan.today
    due = [task for task in day.tasks if task.is_due(now)]
    later = [task for task in day.tasks if not task.is_due(now)]
    yield f"{now:%A}, {now}: {'nothing is due' if not due else f'{len(due)} to do'}"
    for task in due:
        yield from _with_how(task, now)
    if later:
        yield from ("", "Next:", *(f"  {task.due:%a %Y-%m-%d}  {task.what}" for task in later[:NEXT_SHOWN]))
    if not day.tasks:
        yield NOTHING_WANTED


def _with_how(task: Task, now: date) -> Iterator[str]:
    late = f" ({when(task, now)})" if task.is_late(now) else ""
    yield ""
    yield f"* {task.what[0].upper()}{task.what[1:]}{late}"
    yield from (f"    {sentence}" for sentence in task.how)
    yield f"    Done? {told(task)}"


def _task_as_json(task: Task, now: date) -> dict[str, Any]:
    return {
        **{"id": task.id, "verb": task.verb, "due": task.due.isoformat(), "until": task.until.isoformat()},
        **{"what": task.what, "how": list(task.how), "batch": task.course and task.course.name},
        **{"is_due": task.is_due(now), "is_late": task.is_late(now), "done_by": told(task)},
    }


# calendar


def _calendar(arguments: argparse.Namespace) -> int:
    settings, day = settings_of(arguments), _day(arguments)
    raw = calendar_of(settings, day, datetime.now(UTC))
    write_whole(arguments.file, raw.decode())
    count = len(day.tasks)
    if arguments.json:
        print(json.dumps({"file": str(arguments.file), "tasks": count}))
    else:
        print(f"{count} tasks in {arguments.file}" + ("" if count else f". {NOTHING_WANTED}"))
    return 0
