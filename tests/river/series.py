"""Reads the series, sorts what the technician labelled, and tells which samples count as good.

Source: the series published with Jones, Jones & Horsburgh (2022), "Toward automated post processing of aquatic
sensor data", Environmental Modelling & Software, doi:10.1016/j.envsoft.2022.105364. Not shipped: the environment
variable RIVER_DATA names the folder.
"""

from __future__ import annotations

import csv
import gzip
import os
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import Enum
from pathlib import Path

from daemon.values import Quantity

STEP_S = 900.0
DAY_S = 86400.0
AROUND_S = 3600.0  # so long before and after a label a sample is neither good nor bad
SENTINELS = (-9999.0, 7999.0)  # what the loggers wrote when a probe did not answer
SPAN = {Quantity.TEMPERATURE: (-1.0, 40.0), Quantity.EC: (0.01, 5.0), Quantity.PH: (2.0, 12.0)}
"""What fresh water can be: °C, mS/cm, pH."""
_COLUMN = {Quantity.TEMPERATURE: "temp", Quantity.EC: "cond", Quantity.PH: "ph"}
_PER_UNIT = {Quantity.TEMPERATURE: 1.0, Quantity.EC: 1000.0, Quantity.PH: 1.0}  # µS/cm in mS/cm


class Kind(Enum):
    """What the samples of a labelled event show."""

    GROSS = "gross"  # a sentinel, a zero, out of span, or frozen for a day
    SUBTLE = "subtle"  # the raw value departs from the corrected one by more than matters
    UNSEEN = "unseen"  # labelled, but nothing shows


@dataclass(frozen=True, slots=True)
class Event:
    """Samples labelled in a row: from `first` up to, without, `end`; `shows`: the first that shows its kind."""

    kind: Kind
    first: int
    end: int
    shows: int


@dataclass(frozen=True, slots=True)
class Series:
    """One quantity of one site; raw and corrected in its unit, sentinels as they came."""

    raw: tuple[float, ...]
    corrected: tuple[float, ...]
    labelled: tuple[bool, ...]


@dataclass(frozen=True, slots=True)
class Site:
    """One site: when each sample was taken (s, from the first), and its three quantities."""

    name: str
    at_s: tuple[float, ...]
    series: dict[Quantity, Series]

    @property
    def months(self) -> float:
        """How long it was watched."""
        return (self.at_s[-1] - self.at_s[0]) / (365.25 / 12.0 * DAY_S)


def folder() -> Path | None:
    """Where the series lie; None where nothing says so."""
    named = os.environ.get("RIVER_DATA", "")
    return Path(named) if named else None


def sites(of: Path) -> Iterator[Site]:
    """Every site whose series lies in that folder or below, by name."""
    for file in sorted(of.rglob("*.csv.gz")):
        yield read(file)


def read(file: Path) -> Site:
    """One site. Raises OSError, ValueError or KeyError where the file is no such series."""
    with gzip.open(file, "rt", encoding="utf-8", newline="") as text:
        rows = list(csv.DictReader(text))
    times = [datetime.fromisoformat(row["datetime"]).replace(tzinfo=UTC) for row in rows]
    at_s = tuple((time - times[0]).total_seconds() for time in times)
    return Site(file.name.removesuffix(".csv.gz"), at_s, {of: _series(rows, of) for of in _COLUMN})


def _series(rows: list[dict[str, str]], quantity: Quantity) -> Series:
    column = _COLUMN[quantity]
    return Series(
        tuple(_in_unit(float(row[column]), quantity) for row in rows),
        tuple(_in_unit(float(row[f"{column}_cor"]), quantity) for row in rows),
        tuple(row[f"{column}_qual"] != "" for row in rows),
    )


def _in_unit(number: float, quantity: Quantity) -> float:
    return number / _PER_UNIT[quantity]


def events(site: Site, quantity: Quantity) -> list[Event]:
    """Each labelled event of that quantity, sorted by what the samples show."""
    series, found, first = site.series[quantity], [], 0
    while first < len(series.labelled):
        if not series.labelled[first]:
            first += 1
            continue
        end = first
        while end < len(series.labelled) and series.labelled[end]:
            end += 1
        found.append(_sorted(site, quantity, first, end))
        first = end
    return found


def _sorted(site: Site, quantity: Quantity, first: int, end: int) -> Event:
    series = site.series[quantity]
    gross = (
        at
        for at in range(first, end)
        if _is_gross(quantity, series.raw[at]) or _is_frozen(site, quantity, first, at)
    )
    subtle = (at for at in range(first, end) if departs(quantity, series.raw[at], series.corrected[at]))
    if (at := next(gross, None)) is not None:
        return Event(Kind.GROSS, first, end, at)
    if (at := next(subtle, None)) is not None:
        return Event(Kind.SUBTLE, first, end, at)
    return Event(Kind.UNSEEN, first, end, first)


def _is_gross(quantity: Quantity, raw: float) -> bool:
    low, high = SPAN[quantity]
    return raw == 0.0 or not low <= raw <= high or raw * _PER_UNIT[quantity] in SENTINELS


def _is_frozen(site: Site, quantity: Quantity, first: int, at: int) -> bool:
    """Whether it shows, for a day of this event, the one same value."""
    day_ago = at - round(DAY_S / STEP_S)
    return day_ago >= first and len(set(site.series[quantity].raw[day_ago : at + 1])) == 1


def departs(quantity: Quantity, raw: float, corrected: float) -> bool:
    """By more than matters. What the technician threw away altogether departs too."""
    if quantity is Quantity.EC:
        return abs(raw - corrected) > 0.05 * abs(corrected)
    return abs(raw - corrected) > (0.2 if quantity is Quantity.PH else 0.5)


def good(site: Site, quantity: Quantity, *, own_labels_only: bool = False) -> list[bool]:
    """Which samples are good: no label of it, nor of the temperature that it leans on, within an hour."""
    leans_on = {quantity} if own_labels_only else {quantity, Quantity.TEMPERATURE}
    labels = [any(marks) for marks in zip(*(site.series[of].labelled for of in leans_on), strict=True)]
    reach = round(AROUND_S / STEP_S)
    return [not any(labels[max(0, at - reach) : at + reach + 1]) for at in range(len(labels))]
