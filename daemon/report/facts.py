"""What a report tells: values only, gathered in `daemon.report.gather`, shown in page, table and lines. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from config.crop import CropStage
from daemon.crop.costs import Amounts, Costs
from daemon.crop.diary import Line as Entry
from daemon.crop.harvest_book import Record, Season
from daemon.page.chart import Line
from daemon.values import Role


@dataclass(frozen=True, slots=True)
class Plot:
    """One quantity over the days in which heads stood. in_band: share of sound hours, None where not known."""

    line: Line
    in_band: float | None


@dataclass(frozen=True, slots=True)
class Called:
    """What called for a person, an alarm by its key or dosing that stood still: how often, and first."""

    key: str
    times: int
    first: datetime
    text: str


@dataclass(frozen=True, slots=True)
class Stay:
    """A batch in one reservoir. doses: how many, and mL in all, of everybody's that stood there meanwhile."""

    reservoir: str
    title: str
    begin: datetime
    end: datetime
    plots: tuple[Plot, ...]
    doses: Mapping[Role, tuple[int, float]]
    called: tuple[Called, ...]


@dataclass(frozen=True, slots=True)
class BatchFacts:
    """One batch.

    stages: of its crop's file, as far as it came; diary: its own entries that count; walks: those through its
    places while it stood.
    """

    record: Record
    costs: Costs
    stages: tuple[CropStage, ...]
    stays: tuple[Stay, ...]
    diary: tuple[Entry, ...]
    walks: tuple[Entry, ...]


@dataclass(frozen=True, slots=True)
class Facts:
    """All that a report tells. nobodys: used while no head stood; notes: what is to be known of the figures."""

    site: str
    written: date
    currency: str
    batches: tuple[BatchFacts, ...]
    season: Season
    nobodys: Amounts
    notes: tuple[str, ...] = ()
