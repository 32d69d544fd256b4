"""A diary's entry as one line for people. Pure."""

from __future__ import annotations

from typing import Any

from daemon.crop.diary import Line, Walked


def entry(line: Line) -> str:
    """`transplanted spring-3: heads 5, reservoir bed1`, `walked bed1: aphids few (third row)`."""
    if isinstance(line.event, Walked):
        return f"walked {line.event.where}: {_found(line.event)}"
    fields = line.event.model_dump(exclude_none=True, exclude_defaults=True)
    batch = fields.pop("batch", "")
    rest = ", ".join(f"{key.replace('_', ' ')} {_short(value)}" for key, value in fields.items())
    return f"{f'{line.kind} {batch}'.strip()}{f': {rest}' if rest else ''}"


def _found(walked: Walked) -> str:
    """What was found, without what was not, and without the advice of that day."""
    there = (each for each in walked.findings if each.how_much != "none")
    told = (f"{each.what} {each.how_much}{f' ({each.note})' if each.note else ''}" for each in there)
    return ", ".join(told) or "nothing found"


def _short(value: Any) -> str:
    if isinstance(value, tuple | list):
        return "; ".join(_short(each) for each in value)
    if isinstance(value, dict):
        return " ".join(str(each) for each in value.values())
    return f"{value:g}" if isinstance(value, float) else str(value)
