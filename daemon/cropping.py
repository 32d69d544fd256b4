"""What the crop's diary says to the running daemon: the next task, and from when a reservoir's stages count.

The diary is read where the file or the day has changed, else only looked at. One that cannot be read stops
nothing: it is told in place of the next task, and the stages go on from what was known.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta
from math import ceil
from pathlib import Path

from config.crop import load_crop
from config.gardening import own_crops
from config.settings import Settings
from config.toml_file import SettingsError
from daemon.crop.diary import Batch, batches
from daemon.crop.diary_file import DiaryError, read
from daemon.crop.garden import day_of
from daemon.crop.tasks import next_task

CANNOT_FOLLOW = (DiaryError, SettingsError, OSError, ArithmeticError)

Seen = tuple[date, int, int]


class Cropping:
    """The crop of all reservoirs. next_task: one line, "" where nothing is to do. counts_from: by reservoir."""

    def __init__(self, settings: Settings, path: Path) -> None:
        self.next_task = ""
        self.counts_from: Mapping[str, date] = {}
        self._settings = settings
        self._path = path
        self._seen: Seen | None = None

    def look(self, today: date) -> bool:
        """Whether anything may be new since the last look. Never raises."""
        seen = (today, *self._size_and_time())
        if seen == self._seen:
            return False
        self._seen = seen
        try:
            self._follow(today)
        except CANNOT_FOLLOW as trouble:
            self.next_task = f"the crop cannot be followed: {trouble}"
        return True

    def _size_and_time(self) -> tuple[int, int]:
        try:
            found = self._path.stat()
        except OSError:
            return 0, 0
        return found.st_size, found.st_mtime_ns

    def _follow(self, today: date) -> None:
        """Raises CANNOT_FOLLOW."""
        lines = read(self._path).lines
        if not (lines or self._settings.garden.want):
            self.next_task, self.counts_from = "", {}
            return
        self.counts_from = self._begun(batches(lines))
        self.next_task = next_task(day_of(self._settings, lines, today).tasks, today)

    def _begun(self, known: Mapping[str, Batch]) -> dict[str, date]:
        """What each reservoir's stages count from: as if its youngest batch had been planted on the usual day."""
        begun = {}
        for name, reservoir in self._settings.reservoir.items():
            planted_on = None if reservoir.crop is None else youngest(known, name, reservoir.crop)
            if reservoir.crop is not None and planted_on is not None:
                crop = load_crop(reservoir.crop, own_crops(self._settings))
                begun[name] = planted_on - timedelta(days=ceil(crop.transplant_on_day))
        return begun


def youngest(known: Mapping[str, Batch], reservoir: str, crop: str) -> date | None:
    """The day on which the youngest batch of this crop that stands there was planted, None where none stands.

    Young roots bear less than old ones do: what suits the youngest harms none.
    """
    days = [
        batch.transplanted_on
        for batch in known.values()
        if batch.crop == crop and batch.heads > 0 and reservoir in dict(batch.reservoirs)
    ]
    return max((day for day in days if day is not None), default=None)
