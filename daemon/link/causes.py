"""What of the link calls for a person: from how it is doing to causes of alarms. Pure."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

from daemon.alarm.kinds import Kind
from daemon.alarm.life import Cause
from daemon.link.mqtt import LinkStatus

ENDS_SOON = timedelta(days=30)
STRANGERS = 2  # signs of another under our name: one may be a program that was just ending


def causes(status: LinkStatus, where: str, device_id: str, utc: datetime) -> Iterator[Cause]:
    """Everything that is true now. where: the broker's host and port; utc: the box's clock."""
    if text := _of_the_broker(status):
        yield Cause(Kind.BROKER, "", "mqtt", text.format(where=where, problem=status.problem or "not connected"))
    ends = status.certificate_ends
    if ends is not None and ends - utc < ENDS_SOON:
        text = f"The certificate of the MQTT broker at {where} ends on {ends:%Y-%m-%d %H:%M} UTC."
        yield Cause(Kind.CERTIFICATE, "", "mqtt", text)
    if status.strangers >= STRANGERS:
        text = f'Somebody else is at the MQTT broker as "{device_id}": seen {status.strangers} times in an hour.'
        yield Cause(Kind.SAME_ID, "", "mqtt", text)
    if status.many_ignored:
        counts = ", ".join(f"{reason.value.replace('_', ' ')} {n}" for reason, n in status.ignored.items())
        text = f"Commands over MQTT were not acted on (since the start: {counts})."
        yield Cause(Kind.COMMANDS, "", "mqtt", text)


def _of_the_broker(status: LinkStatus) -> str:
    if not status.connected:
        return "No MQTT broker at {where}: {problem}."
    if status.test_missed:
        return "The MQTT broker at {where} did not take today's test alert."
    return "The MQTT broker at {where}: {problem}." if status.problem else ""
