"""Diaries for tests, written as a grower would have."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

from daemon.crop.diary import Event, Line, Picked, Sown, Transplanted

SOWING = date(2026, 3, 2)


def day(number: int) -> date:
    """So many days after the sowing."""
    return SOWING + timedelta(days=number)


def diary(*entries: tuple[int, Event]) -> tuple[Line, ...]:
    """Entries by the days after the sowing, written down in this order."""
    return tuple(
        Line(number, datetime.combine(day(after), time(18), UTC), day(after), event)
        for number, (after, event) in enumerate(entries, start=1)
    )


def sown(batch: str, plugs: int) -> Sown:
    """Butterhead, two seeds a plug."""
    return Sown(batch=batch, crop="lettuce", variety="butterhead", plugs=plugs)


def transplanted(batch: str, heads: int, reservoir: str = "bed1") -> Transplanted:
    """Into bed 1, where nothing else is said."""
    return Transplanted(batch=batch, heads=heads, reservoir=reservoir)


def picked(batch: str, heads: int, grams: float | None = None) -> Picked:
    """Whole heads."""
    return Picked(batch=batch, heads=heads, grams=grams)
