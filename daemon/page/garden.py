"""What the page shows of the garden beside its plan: its calendar, how heads grow, the book. Reads only."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from datetime import datetime
from pathlib import Path

from config.settings import Settings
from config.toml_file import SettingsError
from daemon.crop.diary import Line, batches
from daemon.crop.garden import calendar_of, day_of
from daemon.crop.harvest_book import book, season
from daemon.growing import LightUnknownError
from daemon.page.markup import Markup
from daemon.page.views.growth import Standing, growth
from daemon.prospects import Places, prospect_in, set_out
from daemon.store.history import FILE as HISTORY_FILE
from daemon.store.trend import HistoryError, Trends, opened


def calendar(settings: Settings, lines: Sequence[Line], now: datetime) -> str:
    """All tasks as `evenwater crop calendar` writes them. now: with the box's time zone. Raises SettingsError."""
    return calendar_of(settings, day_of(settings, lines, now.date()), now).decode()


def grown(settings: Settings, lines: Sequence[Line], folder: Path, now: datetime) -> Markup:
    """How each batch that stands does, and the harvest book. now: with the box's time zone."""
    return growth(list(_standing(settings, lines, folder, now)), list(book(lines).values()), season(lines))


def _standing(settings: Settings, lines: Sequence[Line], folder: Path, now: datetime) -> Iterator[Standing]:
    known, places = batches(lines), Places(settings)
    with ExitStack() as keep:
        try:
            trends = _trends(folder, keep)
        except HistoryError as unread:
            yield from (Standing(batch.name, None, str(unread)) for batch in set_out(known))
            return
        for batch in set_out(known):
            try:
                found = places.room(batch), prospect_in(places, batch, known, trends, now)
            except (LightUnknownError, HistoryError, SettingsError, ValueError) as why:
                yield Standing(batch.name, None, str(why))
            else:
                yield Standing(batch.name, found)


def _trends(folder: Path, keep: ExitStack) -> Trends | None:
    return keep.enter_context(opened(folder)) if (folder / HISTORY_FILE).exists() else None
