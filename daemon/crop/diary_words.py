"""A diary's entry as one line for people. Pure."""

from __future__ import annotations

from typing import Any

from daemon.crop.diary import Line


def entry(line: Line) -> str:
    """`transplanted spring-3: heads 5, reservoir bed1`."""
    fields = line.event.model_dump(exclude_none=True, exclude_defaults=True)
    batch = fields.pop("batch", "")
    rest = ", ".join(f"{key.replace('_', ' ')} {_short(value)}" for key, value in fields.items())
    return f"{f'{line.kind} {batch}'.strip()}{f': {rest}' if rest else ''}"


def _short(value: Any) -> str:
    if isinstance(value, tuple | list):
        return "; ".join(_short(each) for each in value)
    if isinstance(value, dict):
        return " ".join(str(each) for each in value.values())
    return f"{value:g}" if isinstance(value, float) else str(value)
