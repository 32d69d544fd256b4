"""The life of the device on one connection, a step at a time."""

from __future__ import annotations

from collections import deque
from pathlib import Path
from typing import Any, cast

from daemon.link import homie
from daemon.link.gate import Gate
from daemon.link.session import Memory, Phase, Session
from daemon.link.wire import Acknowledged, Message, Wire
from tests.link.states import alarm, state


class SlowWire:
    """A wire to a broker that has room for all and takes nothing until it is told to."""

    largest_packet = 65_536
    room = True
    problem = ""

    def __init__(self) -> None:
        self.messages: deque[Message] = deque()
        self.acknowledged: deque[Acknowledged] = deque()
        self.waiting: list[str] = []

    @property
    def idle(self) -> bool:
        return not self.waiting

    def send(self, topic: str, payload: bytes, qos: int) -> None:
        self.waiting.append(topic)

    def subscribe(self, topic: str, **how: Any) -> None:
        """Answered at once."""

    def unsubscribe(self, topic: str) -> None:
        """Not answered."""

    def take_all(self) -> list[str]:
        """The broker takes what waits, and sends back what is published to our own state."""
        taken, self.waiting = self.waiting, []
        self.acknowledged += [Acknowledged(topic, "") for topic in taken]
        self.messages += [Message(topic, b"init", True) for topic in taken if topic.endswith("$state")]
        return taken


def test_nothing_overtakes_the_description_and_nothing_is_ready_before_all_is_told(tmp_path: Path) -> None:
    """A value at QoS 1 would overtake a description at QoS 2 that the broker has not released yet."""
    wire, here = SlowWire(), state(1, alarms=(alarm(),))
    session = Session(
        cast(Wire, wire),
        root="homie/5/garden",
        title="Garden",
        heartbeat_every_s=30.0,
        memory=Memory(),
        gate=Gate(tmp_path / "commands.json", {}),
        submit=lambda request: None,
        state=here,
    )
    told: list[set[str]] = []
    while session.phase is not Phase.READY:
        session.advance(here)
        session.advance(here)  # however often it looks: what the broker has not taken is waited for
        told.append({topic.removeprefix("homie/5/garden/") for topic in wire.take_all()})
        assert len(told) < 10
    init, description, values, ready = told
    assert (init, description, ready) == ({"$state"}, {"$description"}, {"$state"})
    assert values == {*homie.values(here), homie.NONCE, *homie.alerts(here)}
