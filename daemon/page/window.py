"""Which stretch of time a trend shows, and the ways from it to others. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

SPANS: Mapping[str, timedelta] = {
    "hours": timedelta(hours=6),
    "day": timedelta(days=1),
    "week": timedelta(days=7),
    "month": timedelta(days=30),
    "season": timedelta(days=120),
}
"""Stretches that end now, by their names."""
SHORTEST, LONGEST = timedelta(minutes=30), timedelta(days=4000)
YEARS = range(2000, 2200)
FIELD = "%Y-%m-%dT%H:%M"  # as a field for a moment has it


class WindowError(ValueError):
    """No stretch of time can be made of what was asked. The message says what to give."""


@dataclass(frozen=True, slots=True)
class Window:
    """From `begin` up to `end`, looked at at `now`. span: its name in SPANS where it ends now, else ""."""

    begin: datetime
    end: datetime
    now: datetime
    span: str = ""

    @property
    def length(self) -> timedelta:
        """How long it is."""
        return self.end - self.begin

    @property
    def query(self) -> dict[str, str]:
        """By what it is asked for again: one that ends now moves on with it."""
        if self.span:
            return {"span": self.span}
        return {"from": f"{self.begin:{FIELD}}", "to": f"{self.end:{FIELD}}"}

    def ways(self) -> dict[str, Window]:
        """Others beside it, by what they are called: those that make sense."""
        half, middle = self.length / 2, self.begin + self.length / 2
        ways = {"Earlier": self._of(self.begin - half, self.length)}
        if self.end < self.now:
            ways["Later"] = self._of(self.begin + half, self.length)
        if half >= SHORTEST:
            ways["Closer"] = self._of(middle if self.end >= self.now else middle - half / 2, half)
        if self.length * 2 <= LONGEST:
            ways["Wider"] = self._of(self.begin - half, self.length * 2)
        return ways

    def _of(self, begin: datetime, length: timedelta) -> Window:
        """So long, and not beyond now."""
        begin = min(begin, self.now - length)
        return Window(begin, begin + length, self.now)


def window(asked: Mapping[str, str], now: datetime) -> Window:
    """What a query asks for: `from` and `to` in UTC, else `span`, else the last day.

    Raises WindowError, with what to give.
    """
    if asked.get("from") or asked.get("to"):
        end = _moment(asked, "to") if asked.get("to") else now
        begin = _moment(asked, "from") if asked.get("from") else end - SPANS["day"]
        if not SHORTEST <= end - begin <= LONGEST:
            raise WindowError(
                f"from {begin:%d %b %Y %H:%M} to {end:%d %b %Y %H:%M}: `from` must be at least half an hour "
                "before `to`, and at most 4000 days"
            )
        return Window(begin, end, now)
    name = asked.get("span", "day")
    if name not in SPANS:
        raise WindowError(f"a span is one of {', '.join(SPANS)}, not {name!r}")
    return Window(now - SPANS[name], now, now, name)


def _moment(asked: Mapping[str, str], name: str) -> datetime:
    try:
        moment = datetime.fromisoformat(asked[name])
    except ValueError:
        moment = datetime.min
    if moment.year not in YEARS:
        raise WindowError(f"`{name}` is a day or a moment in UTC, as 2026-03-01T06:30, not {asked[name]!r}")
    return moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)
