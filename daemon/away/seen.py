"""What there is to look at before one leaves: from the daemon's answers, its history and the crop's diary."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path
from typing import Any, Protocol, TypeVar

from pydantic import TypeAdapter

from config.settings import Settings
from config.toml_file import SettingsError
from daemon.away.items import Seen
from daemon.crop.diary_file import FILE_NAME, DiaryError, read
from daemon.crop.garden import day_of
from daemon.crop.tasks import Task
from daemon.desk.box import Box
from daemon.desk.reach import Reach
from daemon.store.trend import HistoryError, opened
from daemon.values import Entry, Quantity, State

LEVEL_DAYS = 4  # of which the mean level is compared
MOST_ENTRIES = 1000
T = TypeVar("T")


class Ask(Protocol):
    """A question to the daemon that changes nothing. Raises ClientError."""

    def __call__(self, kind: TypeAdapter[T], method: str, **params: Any) -> T: ...


def seen_now(folder: Path, state: State, settings: Settings, ask: Ask, today: date) -> Seen:
    """All of it; what cannot be read is told in it. today: by the calendar of the garden. Raises ClientError."""
    unread: list[str] = []
    return Seen(
        state=state,
        settings=settings,
        entries=ask(TypeAdapter(tuple[Entry, ...]), "ledger", last=MOST_ENTRIES),
        ways=ask(TypeAdapter(tuple[Reach, ...]), "reach"),
        barriers=ask(TypeAdapter(Box), "box").barriers,
        levels=_levels(folder, state, unread),
        tasks=_tasks(folder, settings, today, unread),
        unread=unread,
    )


def _tasks(folder: Path, settings: Settings, today: date, unread: list[str]) -> tuple[Task, ...]:
    try:
        return day_of(settings, read(folder / FILE_NAME).lines, today).tasks
    except (DiaryError, SettingsError) as why:
        unread.append(f"what is to do in the garden is not known: {why}")
        return ()


def _levels(folder: Path, state: State, unread: list[str]) -> dict[str, list[float]]:
    """The mean level of each of the last days, by reservoir; of fewer where the history is younger."""
    begin = state.utc - timedelta(days=LEVEL_DAYS)
    try:
        with opened(folder) as trends:
            every = {
                name: trends.buckets((name, Quantity.LEVEL.value), begin, state.utc, LEVEL_DAYS)
                for name in state.reservoirs
            }
    except HistoryError as why:
        unread.append(f"how far the water falls in a day is not known: {why}")
        return {}
    return {name: [each.mean for each in buckets] for name, buckets in every.items()}
