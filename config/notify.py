"""The table `[notify]`: by which alerts leave the box besides MQTT, and how many."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from config.table import Table

PriorityName = Literal["high", "medium", "low"]


class Notify(Table):
    """Alerts by services of the grower's choice besides MQTT. Their addresses are secrets: never in this file."""

    enabled: bool = Field(default=False, description="whether alerts go out by other ways than MQTT")
    urls_file: str | None = Field(
        default=None,
        description="the file with the addresses, one a line, mode 0600; none: the credential notify-urls",
    )
    priorities: tuple[PriorityName, ...] = Field(
        default=("high",), strict=False, description="which alarms go out: high, medium, low"
    )
    reminders: bool = Field(
        default=True, description="whether a grave one that nobody has acknowledged goes out again each hour"
    )
    ends: bool = Field(default=True, description="whether it is told when one that went out is over")
    daily_summary: bool = Field(default=False, description="whether the day's summary goes out")
    most_per_hour: int = Field(default=6, ge=1, le=60, description="the most messages in an hour")
    most_per_day: int = Field(default=30, ge=1, le=500, description="the most messages in 24 hours")
    quiet_from_hour: int = Field(
        default=21, ge=0, le=23, description="the hour, in UTC, at which the quiet ones begin"
    )
    quiet_to_hour: int = Field(
        default=6, ge=0, le=23, description="the hour at which they end; the same hour: there are none"
    )
    quiet_priorities: tuple[PriorityName, ...] = Field(
        default=("low",),
        strict=False,
        description="which alarms wait for the end of the quiet hours; that one is over waits as a low one",
    )
