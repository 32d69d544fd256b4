"""How people are reached: each way, whether it works, and what is known of it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from daemon.desk.reach import Reach, by_broker, by_services
from daemon.desk.requests import Origin, RequestRefused
from daemon.ways.herald import Standing, WaysStatus
from tests.at_the_tank import AtTheTank
from tests.link.test_causes import WELL


@pytest.mark.parametrize(
    ("changes", "works", "said"),
    [
        ({}, True, "connected for 60 s, last heartbeat taken 1 s ago"),
        (
            {"since_s": 9000.0, "heartbeat_age_s": 150.0},
            True,
            "connected for 2 h, last heartbeat taken 2 min ago",
        ),
        ({"heartbeat_age_s": None}, False, "connected for 60 s, no heartbeat taken yet"),
        ({"connected": False, "problem": "refused"}, False, "not connected for 60 s: refused"),
        ({"connected": False}, False, "not connected for 60 s: no answer yet"),
        ({"test_missed": True}, False, "the broker did not take today's test alert"),
        ({"problem": "too large"}, False, "too large"),
    ],
)
def test_the_broker_counts_where_it_takes_what_is_told(changes: dict[str, Any], works: bool, said: str) -> None:
    """With where it is; a link that only stands open shows nothing."""
    assert by_broker(replace(WELL, **changes), "b:8883") == Reach("MQTT at b:8883", works, said)


def test_each_service_tells_what_went_since_the_start() -> None:
    """One that was never used has shown nothing; one whose last message failed fails."""
    ways = (
        Standing("way 1 (json)"),
        Standing("way 2 (json)", delivered=3, failed=1),
        Standing("way 3 (json)", delivered=3, failed=1, in_a_row=1, said="asleep"),
    )
    unused, used, failing = by_services(WaysStatus(ways, none_works=False, waiting=0))
    assert unused.works is None
    assert "`evenwater notify --test`" in unused.said
    assert used == Reach("way 2 (json)", True, "3 went, 1 failed since the program started")
    assert failing == Reach("way 3 (json)", False, "3 went, 1 failed since the program started; the last: asleep")


def test_whom_it_calls_is_told_at_the_tank_only(tank: AtTheTank) -> None:
    """Without a broker and a service: nobody."""
    assert tank.ask("reach") == []
    with pytest.raises(RequestRefused, match="only for a person at the tank"):
        tank.ask("reach", Origin.SIGNED)
