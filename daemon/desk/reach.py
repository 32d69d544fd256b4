"""How it reaches whoever looks after the garden: each way, whether it works, and what is known of it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from daemon.desk.asked import Nothing
from daemon.desk.requests import Request
from daemon.link.plain import plain
from daemon.words import ago, lasting

if TYPE_CHECKING:
    from daemon.link.mqtt import LinkStatus
    from daemon.loop import Loop
    from daemon.ways.herald import Standing, WaysStatus


CALLS_NOBODY = (
    "It calls nobody: neither [mqtt] nor [notify] is on, so what is wrong is seen only by who looks here. "
    "How to set one up: docs/mqtt.md, `evenwater notify --help`."
)
WORKS = {True: "works", False: "fails", None: "not shown to work yet"}


@dataclass(frozen=True, slots=True)
class Reach:
    """One way by which people hear of this box. works: None while nothing has shown it."""

    name: str
    works: bool | None
    said: str


def reach(_asked: Nothing, _request: Request, loop: Loop) -> Any:
    """Every way that the settings have; none where nobody is called."""
    return plain(loop.reach())


def by_broker(status: LinkStatus, where: str) -> Reach:
    """How the link does. where: the broker's host and port."""
    name, for_so_long = f"MQTT at {where}", lasting(status.since_s)
    if not status.connected:
        return Reach(name, False, f"not connected for {for_so_long}: {status.problem or 'no answer yet'}")
    if status.test_missed:
        return Reach(name, False, "the broker did not take today's test alert")
    if status.problem:
        return Reach(name, False, status.problem)
    taken_s = status.heartbeat_age_s
    heard = "no heartbeat taken yet" if taken_s is None else f"last heartbeat taken {ago(taken_s)}"
    return Reach(name, taken_s is not None, f"connected for {for_so_long}, {heard}")


def by_services(status: WaysStatus) -> Iterator[Reach]:
    """How each of the other ways does, since the program started."""
    yield from (Reach(one.way, _works(one), _counted(one)) for one in status.ways)


def _works(one: Standing) -> bool | None:
    if one.in_a_row:
        return False
    return True if one.delivered else None


def _counted(one: Standing) -> str:
    if not (one.delivered or one.failed):
        return "nothing sent since the program started; `evenwater notify --test` tries it"
    counts = f"{one.delivered} went, {one.failed} failed since the program started"
    return f"{counts}; the last: {one.said}" if one.in_a_row else counts
