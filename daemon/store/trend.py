"""What `history.db` holds, read for a picture or a table. Opened for reading only, beside the daemon.

A picture is a few hundred columns wide: each bucket of time keeps its lowest and its highest value, so that a
short excursion stays visible in a season. Long ones are made of the rows of hours.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from daemon.store.history import BUSY_S, FILE, HOUR_S, THOUSANDTHS
from daemon.store.minutes import MINUTE_S, Series

POINTS = 400
BY_HOURS_S = 2400.0  # stretches as long as this, or longer, are made of whole hours
MOST_DOUBTED = 0.5  # share of a stretch, from which on its mean says nothing

_BY_MINUTES = """
SELECT (minute - :first) / :width AS bucket, min(value), max(value), sum(value), count(*), sum(doubted)
FROM minutes WHERE series = :series AND minute >= :first AND minute < :end GROUP BY bucket ORDER BY bucket
"""
_BY_HOURS = """
SELECT (hour - :first) / :width AS bucket, min(low), max(high), sum(total), sum(count), sum(doubted)
FROM hours WHERE series = :series AND hour >= :first AND hour < :end GROUP BY bucket ORDER BY bucket
"""
_NUMBER = "SELECT number FROM series WHERE reservoir = ? AND quantity = ?"
_ROWS = """
SELECT minute, value, doubted FROM minutes WHERE series = ? AND minute >= ? AND minute < ? ORDER BY minute
"""
_BANDS = """
SELECT max(at_s, :begin), low, high FROM bands WHERE series = :series AND at_s < :end AND at_s >= ifnull(
(SELECT max(at_s) FROM bands WHERE series = :series AND at_s <= :begin), 0) ORDER BY at_s
"""
_KEPT = "SELECT count(*) FROM sqlite_master WHERE name = 'bands'"
_EVENTS = """
SELECT at_s, reservoir, what, key, text FROM events WHERE at_s >= ? AND at_s < ? ORDER BY at_s, number
"""


class HistoryError(OSError):
    """The history cannot be read. The message names the file and the next step."""


@dataclass(frozen=True, slots=True)
class Bucket:
    """A stretch of time of one series: its beginning, lowest, highest, mean, and the share doubted (0..1)."""

    begins: datetime
    low: float
    high: float
    mean: float
    doubted: float

    @property
    def is_doubted(self) -> bool:
        """Whether so much of it was doubted that its mean says nothing."""
        return not self.doubted < MOST_DOUBTED


@dataclass(frozen=True, slots=True)
class Row:
    """One minute of one series. doubted: nothing would have been dosed by it."""

    at: datetime
    value: float
    doubted: bool


@dataclass(frozen=True, slots=True)
class Event:
    """What began or ended: an alarm `raised` or `over`, or a reservoir's condition."""

    at: datetime
    reservoir: str
    what: str
    key: str
    text: str


@dataclass(frozen=True, slots=True)
class Band:
    """The band of one series from `begins` on."""

    begins: datetime
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Grid:
    """How a time is cut into stretches of `width` units (minutes or hours), from unit `first` up to `end`."""

    unit_s: float
    first: int
    end: int
    width: int

    @property
    def step(self) -> timedelta:
        """The length of one stretch."""
        return timedelta(seconds=self.width * self.unit_s)


def grid_of(begin: datetime, end: datetime, points: int) -> Grid:
    """At most `points` stretches of equal length, of whole hours where they would be about that long.

    Raises ValueError unless begin lies before end and points is above 0.
    """
    if not begin < end or points < 1:
        raise ValueError(f"{begin} to {end} in {points} points: begin must be before end, points above 0")
    unit_s = HOUR_S if (end - begin).total_seconds() / points >= BY_HOURS_S else MINUTE_S
    first, last = int(begin.timestamp() // unit_s), -int(-end.timestamp() // unit_s)
    return Grid(unit_s, first, last, max(1, -(-(last - first) // points)))


class Trends:
    """The history in a state folder, for one reader. Use `opened`."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db

    def series(self) -> tuple[Series, ...]:
        """What there is: reservoir and quantity."""
        found = self._db.execute("SELECT reservoir, quantity FROM series ORDER BY number")
        return tuple((reservoir, quantity) for reservoir, quantity in found)

    def buckets(self, series: Series, begin: datetime, end: datetime, points: int = POINTS) -> tuple[Bucket, ...]:
        """The series from `begin` up to `end`, in at most `points` stretches of equal length; gaps are left out.

        Raises ValueError unless begin lies before end and points is above 0.
        """
        number, grid = self._number(series), grid_of(begin, end, points)
        if number is None:
            return ()
        asked = {"series": number, "first": grid.first, "end": grid.end, "width": grid.width}
        query = _BY_HOURS if grid.unit_s == HOUR_S else _BY_MINUTES
        return tuple(
            Bucket(
                datetime.fromtimestamp((grid.first + bucket * grid.width) * grid.unit_s, UTC),
                low / THOUSANDTHS,
                high / THOUSANDTHS,
                total / count / THOUSANDTHS,
                doubted / count,
            )
            for bucket, low, high, total, count, doubted in self._db.execute(query, asked)
        )

    def rows(self, series: Series, begin: datetime, end: datetime) -> Iterator[Row]:
        """Each minute of the series from `begin` up to `end`, oldest first."""
        number = self._number(series)
        first, last = begin.timestamp() / MINUTE_S, end.timestamp() / MINUTE_S
        for minute, value, doubted in self._db.execute(_ROWS, (number, first, last)):
            yield Row(datetime.fromtimestamp(minute * MINUTE_S, UTC), value / THOUSANDTHS, bool(doubted))

    def bands(self, series: Series, begin: datetime, end: datetime) -> tuple[Band, ...]:
        """The bands that held from `begin` up to `end`, oldest first; none of before they were kept."""
        number = self._number(series)
        if number is None or not self._db.execute(_KEPT).fetchone()[0]:
            return ()
        asked = {"series": number, "begin": begin.timestamp(), "end": end.timestamp()}
        return tuple(
            Band(datetime.fromtimestamp(at_s, UTC), low / THOUSANDTHS, high / THOUSANDTHS)
            for at_s, low, high in self._db.execute(_BANDS, asked)
        )

    def events(self, begin: datetime, end: datetime) -> tuple[Event, ...]:
        """What began or ended from `begin` up to `end`, oldest first."""
        found = self._db.execute(_EVENTS, (begin.timestamp(), end.timestamp()))
        return tuple(Event(datetime.fromtimestamp(at_s, UTC), *rest) for at_s, *rest in found)

    def _number(self, series: Series) -> int | None:
        found = self._db.execute(_NUMBER, series).fetchone()
        return None if found is None else int(found[0])


@contextmanager
def opened(folder: Path) -> Iterator[Trends]:
    """The history in a state folder. Raises HistoryError, at any time while it is open."""
    path = folder / FILE
    if not path.exists():
        raise HistoryError(
            f"{path} does not exist: has the daemon run in this state folder? Name it with --state"
        )
    try:
        db = sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True, timeout=BUSY_S)
        try:
            yield Trends(db)
        finally:
            db.close()
    except sqlite3.Error as error:
        raise HistoryError(
            f"{path} cannot be read ({error}): it is the daemon's, look at its alarms (`evenwater alarms`)"
        ) from error
