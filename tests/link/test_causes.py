"""What of the link calls for a person: each once, with the place and what was seen."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from daemon.alarm.kinds import Kind
from daemon.link.causes import causes
from daemon.link.gate import Ignored
from daemon.link.mqtt import LinkStatus

NOW = datetime(2026, 3, 1, 6, 30, tzinfo=UTC)
WELL = LinkStatus(
    connected=True,
    since_s=60.0,
    heartbeat_age_s=1.0,
    dropped=0,
    refused=0,
    ignored={},
    many_ignored=False,
    test_missed=False,
    problem="",
)


def told(**changes: Any) -> dict[Kind, str]:
    """The causes at this moment, by kind."""
    return {cause.kind: cause.text for cause in causes(replace(WELL, **changes), "b:8883", "quince-lane", NOW)}


def test_a_link_that_is_well_calls_nobody() -> None:
    """Also with a certificate that is good for a month, and one stranger that may have been just ending."""
    assert told(certificate_ends=NOW + timedelta(days=30), strangers=1) == {}


@pytest.mark.parametrize(
    ("changes", "kind", "text"),
    [
        ({"connected": False}, Kind.BROKER, "No MQTT broker at b:8883: not connected."),
        ({"connected": False, "problem": "asleep"}, Kind.BROKER, "No MQTT broker at b:8883: asleep."),
        ({"test_missed": True}, Kind.BROKER, "did not take today's test alert"),
        ({"problem": "too large"}, Kind.BROKER, "The MQTT broker at b:8883: too large."),
        ({"certificate_ends": NOW + timedelta(days=29)}, Kind.CERTIFICATE, "ends on 2026-03-30 06:30 UTC"),
        ({"strangers": 2}, Kind.SAME_ID, 'as "quince-lane": seen 2 times in an hour'),
        ({"many_ignored": True, "ignored": {Ignored.RETAINED: 3}}, Kind.COMMANDS, "retained 3"),
    ],
)
def test_what_is_wrong_is_told_with_what_was_seen(changes: dict[str, Any], kind: Kind, text: str) -> None:
    """One cause for each."""
    (found,) = told(**changes).items()
    assert found[0] is kind
    assert text in found[1]
