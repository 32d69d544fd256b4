"""What is done about requests about the crop: what was done goes into the diary, by the plan of the day."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from config.complaint import nearest
from config.toml_file import SettingsError
from daemon.crop.diary import Finding, Line
from daemon.crop.diary_file import FILE_NAME, DiaryError, NotWrittenError, event_of, read, write
from daemon.crop.diary_words import entry
from daemon.crop.garden import day_of
from daemon.crop.scouting import Remedy, advice
from daemon.crop.tasks import entry_of
from daemon.desk.asked import Did, Walk
from daemon.desk.requests import Request, RequestRefused

if TYPE_CHECKING:
    from daemon.loop import Loop

NURSERY = "nursery"
CANNOT = (SettingsError, DiaryError, NotWrittenError)


def did(asked: Did, _request: Request, loop: Loop) -> Any:
    """A task of the plan was done."""
    try:
        return _did(asked, loop)
    except CANNOT as trouble:
        raise RequestRefused(str(trouble)) from trouble


def _did(asked: Did, loop: Loop) -> dict[str, Any]:
    today = _today(loop)
    plan = day_of(loop.site.settings, read(_path(loop)).lines, today)
    tasks = {task.id: task for task in plan.tasks}
    task = tasks.get(asked.task)
    if task is None:
        near = nearest(asked.task, tasks)
        raise NotWrittenError(f"{asked.task}: is done, or never was a task{near}; look again at what is to do")
    if task.verb == "walk":
        raise NotWrittenError(f"{asked.task}: what was found belongs to it")
    kind, planned = entry_of(task)
    return _written(kind, planned | asked.model_dump(exclude={"task"}, exclude_none=True), today, loop)


def walk(asked: Walk, _request: Request, loop: Loop) -> Any:
    """Somebody walked past every plant; what they found, and what to try first."""
    try:
        return _walk(asked, loop)
    except CANNOT as trouble:
        raise RequestRefused(str(trouble)) from trouble


def _walk(asked: Walk, loop: Loop) -> dict[str, Any]:
    settings, today = loop.site.settings, _today(loop)
    places = (*settings.reservoir, NURSERY)
    if asked.where not in places:
        raise NotWrittenError(f"{asked.where}: is no place to walk past; there is {', '.join(places)}")
    lines = read(_path(loop)).lines
    remedies = {
        look.what: Remedy(look.first, look.then, look.tank) for look in day_of(settings, lines, today).looks
    }
    if unknown := sorted(set(asked.found) - set(remedies)):
        raise NotWrittenError(
            f"{', '.join(unknown)}: is not looked for; what is: {', '.join(remedies) or 'nothing'}"
        )
    findings = [Finding(what=what, how_much=how_much) for what, how_much in asked.found.items()]
    told = advice(asked.where, findings, remedies, lines)
    found = [finding.model_dump() for finding in findings]
    written = _written("walked", {"where": asked.where, "findings": found, "advice": told}, today, loop)
    return written | {"said": " ".join([f"written down: walked {asked.where}.", *told]), "advice": list(told)}


def _written(kind: str, fields: Mapping[str, Any], today: date, loop: Loop) -> dict[str, Any]:
    line: Line = write(_path(loop), event_of(kind, fields), today, loop.clock.utc())
    return {"said": f"written down: {entry(line)}", "entry": line.number}


def _path(loop: Loop) -> Path:
    return loop.site.folder / FILE_NAME


def _today(loop: Loop) -> date:
    """By the calendar of this box."""
    return loop.clock.utc().astimezone().date()
