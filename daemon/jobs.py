"""Work that belongs to the calendar: one table of jobs with APScheduler triggers.

The loop asks the triggers for their next time at each pass, on its own thread and by the rig's
clock, so a stepped clock runs the same jobs, and a wall clock that jumps can neither stall a job nor
pile up a backlog: what was missed runs once.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Protocol

STEP_BACK = timedelta(seconds=60)
JUST_AFTER = timedelta(microseconds=1)


class Trigger(Protocol):
    """An APScheduler trigger: when next, given the last time and now."""

    def get_next_fire_time(self, previous: datetime | None, now: datetime) -> datetime | None: ...


@dataclass(frozen=True, slots=True)
class Job:
    """One line of the table."""

    name: str
    trigger: Trigger
    act: Callable[[datetime], None]


class Calendar:
    """Runs each job when its trigger's time has come."""

    def __init__(self, jobs: Iterable[Job], now: datetime) -> None:
        self._jobs = tuple(jobs)
        self._seen = now
        self._next: dict[str, datetime | None] = {}
        self._plan(now)

    def run_due(self, now: datetime) -> None:
        """Run what is due, once each. A clock set back plans afresh; no backlog is ever run off."""
        if now < self._seen - STEP_BACK:
            self._plan(now)
        self._seen = now
        for job in self._jobs:
            due = self._next[job.name]
            if due is not None and now >= due:
                self._next[job.name] = job.trigger.get_next_fire_time(None, now + JUST_AFTER)
                job.act(now)

    def _plan(self, now: datetime) -> None:
        self._next = {job.name: job.trigger.get_next_fire_time(None, now) for job in self._jobs}
