"""How the program's runs began and ended, kept beside the ledger: after too many bad ends it only watches.

    begun      a run before that did not say that it ended: an abnormal end (crash, power cut, watchdog)
    3 such ends within 10 minutes of proven time      `watching` until a person clears it
    another version than the run before               `watching` for an hour
    settings far from those of the run before (daemon.altered)      `watching` until a person clears it

Proven time (daemon.dose.windows) moves on only while something vouches for it, so a restart or a wrong
clock cannot make bad ends look longer ago than they are. A file that cannot be read or written counts as
too many bad ends.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from enum import StrEnum
from math import isfinite
from pathlib import Path
from types import MappingProxyType
from typing import Any

from daemon.altered import Altered, altered
from daemon.disk import recalled, write_whole

BAD_ENDS = 3
WITHIN_S = 600.0
AFTER_UPDATE_S = 3600.0
NOTHING: Mapping[str, float] = MappingProxyType({})


class Watch(StrEnum):
    """Why the program only watches."""

    BAD_ENDS = "bad_ends"  # ended abnormally too often
    UPDATED = "updated"  # another version than before
    SETTINGS = "settings"  # a number that doses rest on is far from what it was
    FILE = "file"  # its own record cannot be read or written


@dataclass(frozen=True, slots=True)
class Record:
    """What is known of the runs.

    running: a run has begun and not said that it ended. version: of that run. bad_ends_s: proven times at which
    abnormal ends were found, oldest first. latched: too many of them, until a person clears it.
    new_until_s: proven time until which a new version only watches. dose_numbers: of the settings, as last
    run by or cleared by a person; what is no longer set stays as it last was.
    """

    running: bool = False
    version: str = ""
    bad_ends_s: tuple[float, ...] = ()
    latched: bool = False
    new_until_s: float | None = None
    dose_numbers: Mapping[str, float] = field(default_factory=dict)


def begun(before: Record, proven_s: float, version: str, dose_numbers: Mapping[str, float]) -> Record:
    """The record once another run has begun. Pure. Numbers far from those before are not taken over yet."""
    ends_s = (*before.bad_ends_s, proven_s) if before.running else before.bad_ends_s
    ends_s = tuple(end_s for end_s in ends_s if not proven_s - end_s > WITHIN_S)
    kept = {**before.dose_numbers, **dose_numbers}
    updated = before.version not in ("", version)
    return Record(
        running=True,
        version=version,
        bad_ends_s=ends_s,
        latched=before.latched or len(ends_s) >= BAD_ENDS,
        new_until_s=proven_s + AFTER_UPDATE_S if updated else before.new_until_s,
        dose_numbers=before.dose_numbers if altered(before.dose_numbers, dose_numbers) else kept,
    )


class Runs:
    """The record at `path`, with this run begun. Never raises: what goes wrong with the file means `watching`.

    dose_numbers: of the settings of this run (daemon.altered). altered: those far from what they were.
    """

    def __init__(
        self, path: Path, proven_s: float, version: str, dose_numbers: Mapping[str, float] = NOTHING
    ) -> None:
        self._path = path
        before, fault = recalled(path, _record, Record())
        self._readable = fault is None
        self._dose_numbers = dose_numbers
        self._record = begun(before, proven_s, version, dose_numbers)
        self.altered: tuple[Altered, ...] = altered(self._record.dose_numbers, dose_numbers)
        self._written = self._write()

    def watch(self, proven_s: float) -> Watch | None:
        """Why the program only watches now, None where it need not."""
        if self.altered:
            return Watch.SETTINGS
        if not (self._readable and self._written):
            return Watch.FILE
        if self._record.latched:
            return Watch.BAD_ENDS
        until_s = self._record.new_until_s
        return None if until_s is None or proven_s >= until_s else Watch.UPDATED

    @property
    def bad_ends(self) -> int:
        """How many abnormal ends count."""
        return len(self._record.bad_ends_s)

    def clear(self) -> None:
        """A person has looked at what `watch` says: the settings; else all that was before."""
        if self.altered:
            kept = {**self._record.dose_numbers, **self._dose_numbers}
            self._record, self.altered = replace(self._record, dose_numbers=kept), ()
        else:
            self._record = replace(self._record, bad_ends_s=(), latched=False, new_until_s=None)
            self._readable = True
        self._written = self._write()

    def end(self) -> None:
        """This run ends as it should."""
        self._record = replace(self._record, running=False)
        self._write()

    def _write(self) -> bool:
        """Whether it is on the disk, whole."""
        try:
            write_whole(self._path, json.dumps(asdict(self._record)))
        except OSError:
            return False
        return True


def _record(raw: Any) -> Record:
    """Raises ValueError, TypeError, KeyError or AttributeError where it is not what `_write` writes."""
    running, version, latched, until_s = raw["running"], raw["version"], raw["latched"], raw["new_until_s"]
    ends_s = tuple(float(end_s) for end_s in raw["bad_ends_s"])
    new_until_s = None if until_s is None else float(until_s)
    dose_numbers = {str(key): float(number) for key, number in raw.get("dose_numbers", {}).items()}
    times_s = ends_s if new_until_s is None else (*ends_s, new_until_s)
    if not (isinstance(running, bool) and isinstance(latched, bool) and isinstance(version, str)):
        raise TypeError("running and latched must be true or false, version text")
    if not all(map(isfinite, (*times_s, *dose_numbers.values()))):
        raise ValueError("times and settings must be finite")
    return Record(running, version, ends_s, latched, new_until_s, dose_numbers)
