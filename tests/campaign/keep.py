"""Months that are over, kept in a file as soon as they are: a campaign that was ended goes on where it was.

    {"code": "3f0c…", "days": 30.0, "month": {"seed": 1, …}}     one line a month, without its story

Only months of the same code and length belong together; a file of others is refused, never mixed.
"""

from __future__ import annotations

import fcntl
import hashlib
import json
import os
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Self

from tests.campaign.report import Month

TOP = Path(__file__).parents[2]
WHAT_RUNS = (
    "config",
    "daemon",
    "drivers",
    "sim_hw",
    "tests/campaign",
    "tests/at_the_tank.py",
    "requirements.lock",
)
SUFFIXES = (".py", ".toml", ".lock")
COUNTED = ("faults", "happened", "beyond_by", "unseen")
LISTED = ("violations", "beyond_first", "locks", "false_latches", "hand_latches", "missed")


class KeepError(ValueError):
    """The file of months cannot be gone on with; the message says why and what to do."""


def fingerprint(top: Path = TOP) -> str:
    """Names all code and settings that a month is made of, tests aside: a change of any gives another."""
    whole = hashlib.sha256()
    for path in sorted(_sources(top)):
        text = path.read_bytes()
        whole.update(f"{path.relative_to(top)} {len(text)}\n".encode() + text)
    return whole.hexdigest()[:16]


def _sources(top: Path) -> Iterator[Path]:
    for name in WHAT_RUNS:
        paths = (top / name).rglob("*") if (top / name).is_dir() else (top / name,)
        yield from (p for p in paths if p.suffix in SUFFIXES and p.is_file() and _belongs(p))


def _belongs(path: Path) -> bool:
    """Not a test, nor a grower's own settings, which are no part of the program."""
    return not path.name.startswith("test_") and path.name != "site.toml"


def plain(month: Month) -> dict[str, Any]:
    """A month as plain values, without its story."""
    return {key: getattr(month, key) for key in Month.__slots__ if key != "story"}


def month_of(plain_month: dict[str, Any]) -> Month:
    """The month that `plain` told, after a way through JSON."""
    counted = {key: Counter(plain_month[key]) for key in COUNTED}
    listed = {key: tuple(plain_month[key]) for key in LISTED}
    delays_s = tuple((kind, delay_s) for kind, delay_s in plain_month["delays_s"])
    return Month(**{**plain_month, **counted, **listed, "delays_s": delays_s})


class Kept:
    """The file, locked while it is open. months: those that it holds, by seed.

    A last line that was cut off in the writing is taken out. Raises KeepError where the file cannot be had, is in
    use, holds months of other code or of another length, or something else.
    """

    def __init__(self, path: Path, days: float) -> None:
        self.months: dict[int, Month] = {}
        self._path = path
        self._head = {"code": fingerprint(), "days": days}
        try:
            self._file = path.open("a+b")
        except OSError as error:
            raise KeepError(f"{path} cannot be used ({error.strerror}): name one you may write") from error
        try:
            self._take_for_us()
            self._read()
        except BaseException:
            self._file.close()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._file.close()

    def add(self, month: Month) -> None:
        """On disk when it returns."""
        self._file.write(json.dumps({**self._head, "month": plain(month)}).encode() + b"\n")
        self._file.flush()
        os.fsync(self._file.fileno())
        self.months[month.seed] = month

    def _take_for_us(self) -> None:
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            raise KeepError(
                f"{self._path} is in use by another campaign: wait for it, or name another file"
            ) from error

    def _read(self) -> None:
        self._file.seek(0)
        whole = 0
        for number, line in enumerate(self._file, start=1):
            if not line.endswith(b"\n"):
                self._file.truncate(whole)
                return
            whole += len(line)
            month = self._month(number, line)
            self.months[month.seed] = month

    def _month(self, number: int, line: bytes) -> Month:
        where = f"{self._path}, line {number}"
        try:
            told = json.loads(line)
            head = {key: told[key] for key in self._head}
            if head == self._head:
                return month_of(told["month"])
        except (ValueError, TypeError, KeyError, AttributeError) as error:
            raise KeepError(f"{where} is not a month of a campaign: name another file") from error
        raise KeepError(
            f"{where} is of code {head['code']} and {head['days']} days, not of this code ({self._head['code']}) "
            f"and {self._head['days']} days: months of different code do not add up; name another file"
        )
