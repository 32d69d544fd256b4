"""The ways out as the service has them: sees each state, sends what is due, tells what calls for a person.

What was sent is kept in a small file, so that a restart neither repeats an alert nor begins the day's count anew.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from config.notify import Notify
from daemon.alarm.kinds import Kind
from daemon.alarm.life import Cause
from daemon.disk import keep_if_may_be, number, recalled
from daemon.values import State
from daemon.ways.herald import Herald, WaysStatus
from daemon.ways.plan import Memory, Told, due


class WaysOut:
    """Alerts by other services. trouble: why it is not known what was sent before, "" where it is."""

    def __init__(self, settings: Notify, site: str, herald: Herald, file: Path) -> None:
        self.trouble = ""
        self._settings, self._site, self._herald, self._file = settings, site, herald, file
        self._memory, fault = recalled(file, _read, Memory())
        if fault is not None:
            self.trouble = f"what was sent before cannot be read from {file}: alerts may come twice ({fault!r})"

    def see(self, state: State, now_s: float) -> None:
        """At the end of a pass; now_s: proven. Never waits for a service."""
        memory, message = due(self._memory, state, now_s, self._site, self._settings)
        if memory != self._memory:
            self._memory = memory
            keep_if_may_be(self._file, _raw(memory))
        if message is not None:
            self._herald.tell(message)

    def status(self) -> WaysStatus:
        """How the ways do now."""
        return self._herald.status()

    def causes(self) -> Iterator[Cause]:
        """What of them calls for a person."""
        status = self.status()
        if not status.bad:
            return
        told = "; ".join(
            f"{way.way}: {way.said}, {way.failed} failed, {way.delivered} went" for way in status.bad
        )
        which = "No way out works" if status.none_works else "A way out fails"
        yield Cause(Kind.WAYS_OUT, "", "notify", f"{which} ({told}).")

    def close(self) -> None:
        """Send no more. Twice is harmless."""
        self._herald.close()


def _raw(memory: Memory) -> dict[str, Any]:
    told = {key: [one.raised_s, one.at_s] for key, one in memory.told.items()}
    return {"told": told, "over": list(memory.over), "sent_s": list(memory.sent_s), "summary": memory.summary}


def _read(raw: Any) -> Memory:
    """Raises ValueError, TypeError, KeyError or AttributeError where it is not what `_raw` gives."""
    told = {str(key): Told(number(raised_s), number(at_s)) for key, (raised_s, at_s) in raw["told"].items()}
    over = tuple(str(key) for key in raw.get("over", ()))  # an older file has none
    return Memory(told, over, tuple(number(at_s) for at_s in raw["sent_s"]), str(raw["summary"]))
