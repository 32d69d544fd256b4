"""The calendar: jobs run when due, once, whatever the wall clock does."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from apscheduler.triggers.cron import CronTrigger

from daemon.jobs import Calendar, Job

START = datetime(2026, 3, 1, tzinfo=UTC)


def _calendar(ran: list[datetime]) -> Calendar:
    return Calendar([Job("nightly", CronTrigger(hour=3, minute=10, timezone=UTC), ran.append)], START)


def test_a_daily_job_runs_once_a_day() -> None:
    """Four days asked hour by hour give four runs."""
    ran: list[datetime] = []
    calendar = _calendar(ran)
    for hour in range(96):
        calendar.run_due(START + timedelta(hours=hour))
    assert ran == [START + timedelta(hours=4, days=day) for day in range(4)]


def test_a_clock_ten_years_ahead_runs_what_was_missed_once() -> None:
    """No backlog piles up after a jump forward."""
    ran: list[datetime] = []
    calendar = _calendar(ran)
    far = START + timedelta(days=3653)
    for minutes in range(5):
        calendar.run_due(far + timedelta(minutes=minutes))
    assert ran == [far]


def test_a_clock_set_back_plans_afresh() -> None:
    """After a step back of a year the job runs at its next time there, not a year later."""
    ran: list[datetime] = []
    calendar = _calendar(ran)
    calendar.run_due(START + timedelta(hours=1))
    back = START - timedelta(days=365)
    calendar.run_due(back)
    calendar.run_due(back + timedelta(hours=4))
    assert ran == [back + timedelta(hours=4)]
