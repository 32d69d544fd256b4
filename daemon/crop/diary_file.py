"""The crop diary on the disk: `crop-diary.jsonl` in the state folder, one entry a line, only ever added to.

    {"number": 7, "at": "2026-03-01T06:30:00.000Z", "day": "2026-03-01", "kind": "thinned", "batch": "spring-3"}

A line is added under a lock on the file itself and is on the disk before it is told as kept. What a power cut
leaves of a last line is passed over and told; the next entry closes it off with TORN. Any other line that
cannot be read stops the reading: a diary with a hole would count plants wrongly.

    DiaryError (a ValueError)     the diary cannot be read or written; the text says which line, and what to do
    NotWrittenError (a ValueError)     an entry that cannot be; nothing was written
"""

from __future__ import annotations

import fcntl
import json
import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from config.complaint import complaints_of, nearest
from daemon.crop.diary import KINDS, Event, Line, objection
from daemon.disk import sync
from daemon.link.plain import plain, utc_text

FILE_NAME = "crop-diary.jsonl"
TORN = b" (torn)"
EARLIEST = date(2000, 1, 1)
MODE = 0o664  # a person in the service's group may add to it


class DiaryError(ValueError):
    """The diary cannot be read or written."""


class NotWrittenError(ValueError):
    """What was to be written down cannot be. The text says what is allowed."""


@dataclass(frozen=True, slots=True)
class Diary:
    """All entries, oldest first. torn: what is to be said of lines that a power cut left unfinished."""

    lines: tuple[Line, ...] = ()
    torn: tuple[str, ...] = ()


def read(path: Path) -> Diary:
    """The diary in this file; an empty one where there is none. Raises DiaryError."""
    try:
        raw = path.read_bytes()
    except FileNotFoundError:
        return Diary()
    except OSError as error:
        raise DiaryError(_closed(path, error)) from error
    return _parsed(path, raw)


def event_of(kind: str, fields: Mapping[str, Any]) -> Event:
    """An entry of this kind with these fields, typed or read. Raises NotWrittenError with each complaint."""
    if kind not in KINDS:
        raise NotWrittenError(
            f"{kind}: is no kind of entry{nearest(kind, KINDS)} (known are: {', '.join(KINDS)})"
        )
    try:
        return KINDS[kind].model_validate(fields)
    except ValidationError as error:
        said = complaints_of(error, KINDS[kind])
        raise NotWrittenError("; ".join(f"{kind}: {one.text}" for one in said)) from error


def write(path: Path, event: Event, day: date, at: datetime) -> Line:
    """Add an entry and have it on the disk; the line as it was written.

    day: when it happened. at: now, in UTC. Raises DiaryError; NotWrittenError where it cannot be after all that.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        new = not path.exists()
        file = os.open(path, os.O_RDWR | os.O_APPEND | os.O_CREAT | os.O_CLOEXEC, MODE)
    except OSError as error:
        raise DiaryError(_closed(path, error)) from error
    try:
        fcntl.flock(file, fcntl.LOCK_EX)
        line = _added(path, file, event, day, at)
        if new:
            sync(path.parent)
    except OSError as error:
        raise DiaryError(f"{_closed(path, error)}; the entry was not kept") from error
    finally:
        os.close(file)
    return line


def _added(path: Path, file: int, event: Event, day: date, at: datetime) -> Line:
    """Raises OSError, DiaryError, NotWrittenError. The file is locked, and open to add to."""
    raw = _whole(file)
    if not _believable(day, at):
        raise NotWrittenError(f"day = {day}: must be from {EARLIEST} to today")
    lines = _parsed(path, raw).lines
    if (why := objection(lines, event, day)) is not None:
        raise NotWrittenError(why)
    line = Line(lines[-1].number + 1 if lines else 1, at.astimezone(UTC), day, event)
    written = f"{_end_of_last(raw)}{_text(line)}\n".encode()
    while written:
        written = written[os.write(file, written) :]
    os.fsync(file)
    return line


def _whole(file: int) -> bytes:
    return b"".join(iter(lambda: os.read(file, 65536), b""))


def _end_of_last(raw: bytes) -> str:
    """What ends the last line where it is not ended."""
    if raw.endswith(b"\n") or not raw:
        return ""
    last = raw.rpartition(b"\n")[2]
    return "\n" if _is_json(last) else f"{TORN.decode()}\n"


def _is_json(raw: bytes) -> bool:
    try:
        json.loads(raw)
    except ValueError:
        return False
    return True


def _text(line: Line) -> str:
    table = {"number": line.number, "at": utc_text(line.at), "day": line.day.isoformat(), "kind": line.kind}
    said = {key: value for key, value in plain(line.event.model_dump()).items() if value is not None}
    return json.dumps(table | said, ensure_ascii=False, allow_nan=False)


def _parsed(path: Path, raw: bytes) -> Diary:
    pieces = raw.split(b"\n")
    lines, torn = list[Line](), list[str]()
    for place, piece in enumerate(pieces, start=1):
        if piece.endswith(TORN) or (place == len(pieces) and piece and not _is_json(piece)):
            torn.append(f"{path} line {place}: was not written to its end (a power cut?) and does not count")
        elif piece:
            lines.append(_line(path, place, piece, after=lines[-1].number if lines else 0))
    return Diary(tuple(lines), tuple(torn))


def _line(path: Path, place: int, piece: bytes, after: int) -> Line:
    """Raises DiaryError where a line is not what `_text` writes, or not the next."""
    try:
        table = json.loads(piece)
        number, kind = table.pop("number"), table.pop("kind")
        at, day = datetime.fromisoformat(table.pop("at")), date.fromisoformat(table.pop("day"))
        if type(number) is not int or not number > after or at.tzinfo is None:
            raise ValueError(f"number {number} must follow {after}, and `at` have a time zone")
        if not _believable(day, at):
            raise ValueError(f"day {day} must be from {EARLIEST} to the day it was written, {at:%Y-%m-%d}")
        return Line(number, at.astimezone(UTC), day, event_of(kind, table))
    except (ValueError, TypeError, KeyError, AttributeError) as wrong:
        raise DiaryError(
            f"{path} line {place} is damaged ({_said(wrong)}); nothing was changed. Keep a copy of the file, "
            f"then put that line right by hand, or end it with{TORN.decode()} so that it counts no more"
        ) from wrong


def _believable(day: date, at: datetime) -> bool:
    """Whether something that was written down then can have happened on that day, anywhere on Earth."""
    return EARLIEST <= day <= at.date() + timedelta(days=1)


def _said(wrong: Exception) -> str:
    return f"{wrong} is missing" if isinstance(wrong, KeyError) else str(wrong)


def _closed(path: Path, error: OSError) -> str:
    hint = "; use sudo, or join the group of the service" if isinstance(error, PermissionError) else ""
    return f"{path} cannot be used ({error.strerror}){hint}"


def lines_as_json(lines: tuple[Line, ...]) -> Iterator[dict[str, Any]]:
    """The entries for programs, as they stand in the file."""
    return (json.loads(_text(line)) for line in lines)
