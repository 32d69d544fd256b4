"""A season lived day by day by plan and diary: what is told is done, late as people are, and it works out."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from daemon.crop.diary import Event, Line, Lost, batches, objection
from daemon.crop.diary_file import event_of
from daemon.crop.plan import Kind, Plan, monday_of, plan
from daemon.crop.tasks import Task, entry_of, tasks
from tests.crop.test_plan import BUTTERHEAD, WINDOWSILL

BEGIN = date(2027, 1, 6)  # a Wednesday
SEASON_DAYS = 190


@dataclass
class Season:
    """A gardener with a diary. late_days: the most that work is late, not eating; share_lost: a day."""

    kind: Kind
    late_days: int = 0
    share_lost: float = 0.0
    lines: list[Line] = field(default_factory=list)
    picked: Counter[date] = field(default_factory=Counter)
    most_standing: int = 0
    most_plugs: int = 0

    def live(self, seed: int) -> None:
        """Day by day to the end of the season."""
        chance = random.Random(seed)
        for number in range(SEASON_DAYS):
            self.one_day(BEGIN + timedelta(days=number), chance)

    def one_day(self, today: date, chance: random.Random) -> None:
        for task in self._due(today):
            late_days = 0 if task.verb == "harvest" else chance.randint(0, self.late_days)
            if today >= task.due + timedelta(days=late_days):
                self.do(task, today)
        for batch in batches(self.lines).values() if self.share_lost else ():
            if (batch.heads or batch.seedlings) and not batch.over and chance.random() < self.share_lost:
                self.add(Lost(batch=batch.name, heads=1, cause="slugs"), today)
        standing = [batch for batch in batches(self.lines).values() if not batch.over]
        self.most_standing = max(self.most_standing, sum(batch.heads for batch in standing))
        self.most_plugs = max(self.most_plugs, sum(b.seedlings for b in standing if not b.planted))

    def plan(self, today: date) -> Plan:
        return plan([self.kind], WINDOWSILL, batches(self.lines), today)

    def _due(self, today: date) -> Iterator[Task]:
        return (task for task in tasks(self.plan(today), self.lines, "friday") if task.is_due(today))

    def do(self, task: Task, today: date) -> None:
        """As planned; of a harvest what one day's table takes, until the last good day, then all."""
        kind, fields = entry_of(task)
        if kind == "walked":
            fields = {"where": "bed1"}
        if kind == "emerged":
            fields["plugs"] = self._standing(fields["batch"])
        if kind == "transplanted":
            fields["heads"] = min(fields["heads"], self._standing(fields["batch"]))
        if kind == "picked":
            fields["heads"] = 1 if today < monday_of(today) + timedelta(days=6) else fields["heads"]
            self.picked[monday_of(today)] += fields["heads"]
        self._write(kind, fields, today)

    def _standing(self, name: str) -> int:
        batch = batches(self.lines)[name]
        return batch.seedlings if batch.emerged is None else min(batch.plugs, batch.seedlings)

    def _write(self, kind: str, fields: dict[str, Any], today: date) -> None:
        self.add(event_of(kind, fields), today)

    def add(self, event: Event, today: date) -> None:
        assert objection(self.lines, event, today) is None
        at = datetime.combine(today, datetime.min.time(), UTC)
        self.lines.append(Line(len(self.lines) + 1, at, today, event))


def lived(season: Season, seed: int = 1) -> Season:
    season.live(seed)
    return season


@pytest.fixture(scope="module")
def as_told() -> Season:
    """Done on its day, all of it."""
    return lived(Season(BUTTERHEAD))


def weeks_of(season: Season) -> list[int]:
    """Heads picked in each week from the first that can be fed on."""
    return [
        season.picked[monday_of(BEGIN) + timedelta(weeks=number)] for number in range(9, SEASON_DAYS // 7 - 1)
    ]


def test_done_as_told_it_supplies_the_table_evenly(as_told: Season) -> None:
    """Three or four of 24 places each week; no place and no plug is ever taken twice."""
    weeks = weeks_of(as_told)
    assert set(weeks) <= {3, 4}
    assert {sum(weeks[first : first + 7]) for first in range(len(weeks) - 6)} == {24}
    assert as_told.most_standing <= BUTTERHEAD.places
    assert as_told.most_plugs <= WINDOWSILL.plugs


def test_a_season_is_ten_batches_and_more(as_told: Season) -> None:
    """Each with its whole course in the diary, by the names of the plan."""
    over = [batch for batch in batches(as_told.lines).values() if batch.over]
    assert len(over) >= 10
    for batch in over:
        assert batch.name.startswith("salad-27w")
        assert batch.thinned_on is not None
        assert batch.transplanted_on is not None
        assert batch.picked == batch.planted


@pytest.mark.parametrize("seed", [1, 2])
def test_done_late_and_with_losses_it_still_supplies_most_weeks(seed: int) -> None:
    """Up to two days late with all work, a plant lost now and then: nothing piles up, and few weeks go short."""
    season = lived(Season(BUTTERHEAD, late_days=2, share_lost=0.01), seed)
    weeks = weeks_of(season)
    assert sum(heads >= 2 for heads in weeks) >= 0.8 * len(weeks)
    assert max(weeks) <= 5
    assert season.most_standing <= BUTTERHEAD.places
    assert season.most_plugs <= WINDOWSILL.plugs
