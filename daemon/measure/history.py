"""Every calibration that was accepted, one line of JSON each, only ever added to: `calibrations-made.jsonl`.

A line that a power cut tore, or a person spoiled, is passed over and counted; no other line suffers by it.
"""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import UTC, datetime
from math import isfinite
from pathlib import Path
from typing import Any

from daemon.measure.ageing import Made
from daemon.measure.calibrate import Point
from daemon.measure.convert import Calibration
from daemon.values import Quantity

NAME = "calibrations-made.jsonl"
_NO_NUMBERS = ("day", "stop_gap")  # of a calibration


class HistoryError(OSError):
    """A line could not be added; the calibration itself is kept."""


@dataclass(frozen=True, slots=True)
class Past:
    """What was made of one probe, oldest first, and how many lines of the file could not be read."""

    made: tuple[Made, ...] = ()
    damaged: int = 0


class CalibrationHistory:
    """The file. A missing one is an empty history."""

    def __init__(self, path: Path) -> None:
        self.path = Path(path)

    def add(
        self, reservoir: str, quantity: Quantity, calibration: Calibration, points: Sequence[Point], utc: datetime
    ) -> None:
        """One more, made durable. Raises HistoryError."""
        numbers = {
            each.name: getattr(calibration, each.name)
            for each in fields(calibration)
            if each.name not in _NO_NUMBERS
        }
        settled = [point.settled_s for point in points if point.settled_s is not None]
        row = {
            "utc": utc.astimezone(UTC).isoformat(),
            "reservoir": reservoir,
            "quantity": quantity.value,
            "numbers": numbers,
            "stop_gap": bool(getattr(calibration, "stop_gap", False)),
            "standards": [point.standard for point in points],
            "settled_s": max(settled) if settled else None,
        }
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            with self.path.open("ab") as file:
                torn = file.tell() > 0 and not _ends_a_line(self.path)
                file.write((("\n" if torn else "") + json.dumps(row, ensure_ascii=False) + "\n").encode())
                file.flush()
                os.fsync(file.fileno())
        except OSError as error:
            raise HistoryError(f"{self.path}: cannot be written ({error})") from error

    def of(self, reservoir: str, quantity: Quantity) -> Past:
        """What was made of one probe. A file that cannot be read counts as one damaged line."""
        try:
            lines = self.path.read_bytes().splitlines()
        except FileNotFoundError:
            return Past()
        except OSError:
            return Past((), 1)
        rows = [_row(line) for line in lines if line.strip()]
        mine = (row for row in rows if row is not None and row[:2] == (reservoir, quantity.value))
        made = sorted((row[2] for row in mine), key=lambda one: one.utc)
        return Past(tuple(made), sum(row is None for row in rows))


def _ends_a_line(path: Path) -> bool:
    with path.open("rb") as file:
        file.seek(-1, os.SEEK_END)
        return file.read(1) == b"\n"


def _row(line: bytes) -> tuple[str, str, Made] | None:
    """Whose it is, and what was made; None where the line does not say."""
    try:
        row: dict[str, Any] = json.loads(line)
        settled = row["settled_s"]
        made = Made(
            utc=_moment(row["utc"]),
            numbers={str(key): _finite(value) for key, value in row["numbers"].items()},
            standards=tuple(str(name) for name in row["standards"]),
            settled_s=None if settled is None else _finite(settled),
            stop_gap=row["stop_gap"] is True,
        )
        return str(row["reservoir"]), str(row["quantity"]), made
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError, OverflowError):
        return None


def _moment(text: str) -> datetime:
    utc = datetime.fromisoformat(text)
    if utc.tzinfo is None:
        raise ValueError("no time zone")
    return utc


def _finite(value: Any) -> float:
    number = float(value)
    if isinstance(value, bool | str) or not isfinite(number):
        raise ValueError("no number")
    return number
