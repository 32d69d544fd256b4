"""How boxes elsewhere are, by what they publish: gone, hung, silent, or well. No network and no clock here.

A last will tells that a box died or lost the network. It cannot tell that its loop hangs while the connection
lives, nor that broker and box lost power together and the broker came back alone with an old `ready`. So only a
heartbeat that moves while it is watched is a sign of life; one that the broker kept is none.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import StrEnum

HEARTBEATS_MISSED = 3
GRAVE = "hi-"  # how the id of an alert of high priority begins


class Standing(StrEnum):
    """How a box is."""

    WELL = "well"
    GONE = "gone"  # it said goodbye, or its last will did
    HUNG = "hung"  # `ready`, and its heartbeat stands still
    SILENT = "silent"  # named, and never heard
    UNKNOWN = "unknown"  # this watcher hears nothing itself, or not for long enough


WHAT_TO_DO = {
    Standing.WELL: "",
    Standing.GONE: "look at its power and network; at the box: systemctl status evenwater",
    Standing.HUNG: "its program no longer makes passes: look at the pumps, then restart the service at the box",
    Standing.SILENT: "is it switched on, on this broker, and spelled so in its settings ([site] device_id)?",
    Standing.UNKNOWN: "",
}


@dataclass(frozen=True, slots=True)
class Change:
    """Something a person should hear of. alert: an alert's id, where it is about one ("" with no text: over)."""

    box: str
    standing: Standing
    text: str
    alert: str = ""


@dataclass(slots=True)
class _Box:
    state: str = ""
    heartbeat: str = ""
    moved_s: float | None = None  # when the heartbeat last moved before our eyes
    watched_s: float = 0.0  # since when we have been listening to it
    told: Standing = Standing.UNKNOWN
    alerts: dict[str, str] = field(default_factory=dict)
    told_alerts: dict[str, str] = field(default_factory=dict)


class Fleet:
    """The boxes at one broker. `take` each message, `look` now and then, `cut_off` when the connection ends.

    expected: boxes that must be there; heartbeat_s: as their settings have it.
    """

    def __init__(self, expected: tuple[str, ...] = (), heartbeat_s: float = 30.0) -> None:
        self._patience_s = HEARTBEATS_MISSED * heartbeat_s
        self._boxes = {name: _Box() for name in expected}
        self._connected_s: float | None = None

    def connected(self, now_s: float) -> None:
        """Listening from now on: nothing heard before is life."""
        self._connected_s = now_s
        for box in self._boxes.values():
            box.moved_s, box.watched_s, box.heartbeat = None, now_s, ""

    def cut_off(self) -> None:
        """Nothing is heard any more: nobody knows how the boxes are."""
        self._connected_s = None
        for box in self._boxes.values():
            box.told = Standing.UNKNOWN

    def take(self, box: str, path: str, text: str, now_s: float, *, retained: bool) -> None:
        """One message of a box, by its topic below the device's own. retained: the broker had kept it."""
        of = self._boxes.get(box)
        if of is None:
            of = self._boxes[box] = _Box(watched_s=now_s)
        if path == "$state":
            of.state = text
        elif path == "box/heartbeat":
            if not retained and text != of.heartbeat:
                of.moved_s = now_s
            of.heartbeat = text
        elif path.startswith("$alert/"):
            alert = path.removeprefix("$alert/")
            if text:
                of.alerts[alert] = text
            else:
                of.alerts.pop(alert, None)

    def look(self, now_s: float) -> Iterator[Change]:
        """What has changed since the last look. Nothing while cut off."""
        if self._connected_s is None:
            return
        for name, box in self._boxes.items():
            standing = self._standing(box, now_s)
            if standing is not box.told and standing is not Standing.UNKNOWN:
                box.told = standing
                yield Change(name, standing, _said(box, standing, now_s))
            yield from _alerts(name, box)

    def standings(self, now_s: float) -> dict[str, Standing]:
        """How each box is now."""
        if self._connected_s is None:
            return dict.fromkeys(self._boxes, Standing.UNKNOWN)
        return {name: self._standing(box, now_s) for name, box in self._boxes.items()}

    def _standing(self, box: _Box, now_s: float) -> Standing:
        long_enough = now_s - box.watched_s > self._patience_s
        if not box.state:
            return Standing.SILENT if long_enough else Standing.UNKNOWN
        if box.state in ("lost", "disconnected"):
            return Standing.GONE
        if box.moved_s is None:
            return Standing.HUNG if long_enough else Standing.UNKNOWN
        return Standing.WELL if now_s - box.moved_s <= self._patience_s else Standing.HUNG


def _said(box: _Box, standing: Standing, now_s: float) -> str:
    if standing is Standing.WELL:
        return "well"
    if standing is Standing.GONE:
        how = (
            "said goodbye"
            if box.state == "disconnected"
            else "is lost: no power, no network, or its program died"
        )
        return f"{how}; {WHAT_TO_DO[standing]}"
    if standing is Standing.HUNG:
        since_s = now_s - (box.watched_s if box.moved_s is None else box.moved_s)
        return (
            f"says it is {box.state}, but has given no sign of life for {since_s:.0f} s; {WHAT_TO_DO[standing]}"
        )
    return f"was never heard; {WHAT_TO_DO[standing]}"


def _alerts(name: str, box: _Box) -> Iterator[Change]:
    """Grave alerts that are new, and those that are over."""
    grave = {alert: text for alert, text in box.alerts.items() if alert.startswith(GRAVE)}
    for alert, text in grave.items():
        if box.told_alerts.get(alert) != text:
            yield Change(name, box.told, text, alert)
    for alert in box.told_alerts.keys() - grave.keys():
        yield Change(name, box.told, "over", alert)
    box.told_alerts = grave
