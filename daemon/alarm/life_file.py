"""Alarms outlast a restart: what was raised when, and what people did about it, in a small file.

Written where something has changed, never at each pass. A file that cannot be read loses no alarm whose cause is
there: each is raised anew, and nobody has acknowledged it.
"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

from daemon.alarm.kinds import Kind
from daemon.alarm.life import Cause, Life, Lives
from daemon.alarm.table import TABLE
from daemon.disk import keep_if_may_be, number, recalled
from daemon.link.plain import utc_text
from daemon.values import Alarm, AlarmState


class LifeFile:
    """The alarms at `path`. trouble: why those of before are not known, "" where they are."""

    def __init__(self, path: Path) -> None:
        self.trouble = ""
        self._path = path
        self.known, fault = recalled(path, _read, dict[str, Life]())
        self._written = _raw(self.known)
        self._seen: Lives = self.known
        if fault is not None:
            self.trouble = f"the alarms of before cannot be read from {path}: each is raised anew ({fault!r})"

    def keep(self, lives: Lives) -> None:
        """Write down what has changed. Never raises: at worst it is raised anew at the next start."""
        if lives == self._seen:
            return
        self._seen, raw = lives, _raw(lives)
        if raw != self._written:
            self._written = raw
            keep_if_may_be(self._path, raw)


def _raw(lives: Lives) -> list[dict[str, Any]]:
    return [_raw_life(life, life.alarm) for life in lives.values() if life.alarm is not None]


def _raw_life(life: Life, alarm: Alarm) -> dict[str, Any]:
    return {
        "kind": life.cause.kind.value,
        "reservoir": life.cause.reservoir,
        "about": life.cause.about,
        "state": alarm.state.value,
        "text": alarm.text,
        "raised": utc_text(alarm.raised_utc),
        "raised_s": alarm.raised_s,
        "shelved_until_s": life.shelved_until_s,
        "until": None if alarm.until_utc is None else utc_text(alarm.until_utc),
    }


def _read(raw: Any) -> dict[str, Life]:
    """Raises ValueError, TypeError, KeyError or AttributeError where it is not what `_raw` gives."""
    lives = (_life(**fields) for fields in raw)
    return {life.cause.key: life for life in lives}


def _life(
    *,
    kind: Any,
    reservoir: Any,
    about: Any,
    state: Any,
    text: Any,
    raised: Any,
    raised_s: Any,
    shelved_until_s: Any,
    until: Any,
) -> Life:
    cause = Cause(Kind(kind), str(reservoir), str(about), str(text))
    row, since_s = TABLE[cause.kind], number(raised_s)
    alarm = Alarm(
        key=cause.key,
        kind=cause.kind.value,
        reservoir=cause.reservoir,
        priority=row.priority,
        state=AlarmState(state),
        text=cause.text,
        raised_utc=datetime.fromisoformat(raised),
        raised_s=since_s,
        within=row.within,
        until_utc=None if until is None else datetime.fromisoformat(until),
    )
    shelved_s = None if shelved_until_s is None else number(shelved_until_s)
    return Life(cause, since_s, alarm=alarm, shelved_until_s=shelved_s, recalled=True)
