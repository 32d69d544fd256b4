"""What has been written is made to outlast a power cut; what is read may be anything."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from contextlib import suppress
from math import isfinite
from pathlib import Path
from typing import Any, TypeVar

T = TypeVar("T")


def sync(path: Path) -> None:
    """Have the kernel put this file, or this folder's list of names, on the disk. Raises OSError."""
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def write_whole(path: Path, text: str) -> None:
    """Put this text in the file's place, whole and on the disk. Raises OSError, or UnicodeEncodeError for what is
    no text; then what stood there stays.
    """
    new = path.with_name(path.name + ".new")
    try:
        new.write_text(text, encoding="utf-8")
        sync(new)
        os.replace(new, path)
        sync(path.parent)
    except (OSError, UnicodeEncodeError):
        with suppress(OSError):
            new.unlink(missing_ok=True)
        raise


def recalled(path: Path, parse: Callable[[Any], T], empty: T) -> tuple[T, Exception | None]:
    """What `parse` makes of the JSON in a file; `empty` where there is none, or where it fails, with the fault.

    parse: raises ValueError, TypeError, KeyError or AttributeError for what it cannot have written.
    """
    try:
        return parse(json.loads(path.read_text(encoding="utf-8"))), None
    except FileNotFoundError:
        return empty, None
    except (OSError, ValueError, TypeError, KeyError, AttributeError) as fault:
        return empty, fault


def number(value: Any) -> float:
    """A finite number as JSON had it. Raises ValueError or TypeError for anything else."""
    read = float(value)
    if not isfinite(read):
        raise ValueError(f"{value!r} is no number")
    return read


def keep_if_may_be(path: Path, raw: Any) -> None:
    """Write this as JSON in the file's place, whole. Never raises: for what is only missed at the next start."""
    with suppress(OSError, ValueError):
        write_whole(path, json.dumps(raw, allow_nan=False))
