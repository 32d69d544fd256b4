"""Alarms: what calls for a person, gravest first, with what to do. Pure."""

from __future__ import annotations

from collections.abc import Sequence

from daemon.alarm.describe import explained
from daemon.alarm.kinds import Kind
from daemon.page.markup import Markup, element, joined
from daemon.page.views.forms import offered
from daemon.page.views.signs import GRAVITY
from daemon.page.visitor import Visitor
from daemon.store.trend import Event
from daemon.values import Alarm, State


def alarms(state: State, events: Sequence[Event], visitor: Visitor) -> Markup:
    """What calls for a person, gravest first, with what to do; and what began and ended of late."""
    new = [_alarm(alarm, visitor) for alarm in state.alarms if not alarm.because_of]
    follow = [
        element("li", f"{alarm.key} follows from {alarm.because_of}")
        for alarm in state.alarms
        if alarm.because_of
    ]
    parts: list[str] = [element("h1", "Alarms"), *(new or [element("p", "✓ Nothing calls for you.")])]
    if follow:
        parts += [element("h2", "Explained by another"), element("ul", *follow)]
    if events:
        lines = [element("li", _happened(event)) for event in reversed(events)]
        parts += [element("h2", "The last seven days, newest first"), element("ol", *lines, reversed=True)]
    return joined(*parts)


def _happened(event: Event) -> str:
    return f"{event.at:%d %b %H:%M} {event.key or event.reservoir} {event.what}: {event.text}"


def _alarm(alarm: Alarm, visitor: Visitor) -> Markup:
    until = f" until {alarm.until_utc:%d %b %H:%M}" if alarm.until_utc is not None else ""
    told = {
        "Since": f"{alarm.raised_utc:%d %b %H:%M:%S}, {alarm.state.value.replace('_', ' ')}{until}",
        **_advice(alarm.kind),
        **({"You have": alarm.within} if alarm.within else {}),
    }
    facts = [joined(element("dt", name), element("dd", text)) for name, text in told.items()]
    parts: list[str] = [
        element("h2", f"{GRAVITY[alarm.priority]} {alarm.text}"),
        element("p", f"{alarm.priority.value} priority, {alarm.key}"),
        element("dl", *facts),
    ]
    if alarm.unheard:
        seen = element("p", "This silences it. It clears nothing, and nothing is dosed by it.")
        button = f"I have seen {alarm.key}"
        parts.append(offered(visitor, "/acknowledge", seen, button=button, key=alarm.key))
    return element("section", *parts, id=f"alarm-{alarm.key}", class_=f"alarm {alarm.priority.value}")


def _advice(kind: str) -> dict[str, str]:
    if kind not in set(Kind):
        return {}
    said = explained(Kind(kind))
    return {
        "What you do": said["you"],
        "You have": said["you_have"],
        "The daemon": said["the_daemon"],
        "If nobody comes": said["if_nobody_comes"],
    }
