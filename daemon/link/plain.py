"""Values of the house as JSON can say them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import UTC, date, datetime
from enum import Enum
from pathlib import PurePath
from typing import Any


def plain(value: Any) -> Any:
    """The same thing in dicts, lists, strings, numbers, booleans and None.

    Dataclasses become objects by field name, enums their value (as keys too), moments ISO 8601 in UTC
    ending in Z, days ISO 8601, a set its sorted list. A number that is not finite becomes None: JSON has no
    word for it. Raises TypeError for anything else.
    """
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, Enum):
        return plain(value.value)
    if isinstance(value, str | int):
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return _plain_compound(value)


def _plain_compound(value: Any) -> Any:
    if isinstance(value, datetime):
        return utc_text(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Mapping):
        return {str(plain(key)): plain(each) for key, each in value.items()}
    if isinstance(value, list | tuple | frozenset):
        return [plain(each) for each in (sorted(value) if isinstance(value, frozenset) else value)]
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, PurePath):
        return str(value)
    raise TypeError(f"{type(value).__name__} cannot be said in JSON")


def utc_text(moment: datetime) -> str:
    """`2026-03-01T06:30:00.000Z`: ISO 8601, UTC, to the millisecond. Raises ValueError without a time zone."""
    if moment.tzinfo is None:
        raise ValueError(f"{moment.isoformat()} has no time zone")
    return moment.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
