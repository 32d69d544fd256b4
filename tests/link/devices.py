"""A link under test: brisker than settings allow, with what it was asked to pass on."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping
from pathlib import Path
from tempfile import mkdtemp
from typing import Any

import pytest

from config.settings import Mqtt
from daemon.desk.requests import Request
from daemon.link.gate import Gate
from daemon.link.mqtt import MqttLink
from daemon.link.trust import read_trust
from daemon.values import State
from tests.brokers import MOSQUITTO, until
from tests.link.states import state

HEARTBEAT_S = 0.3  # shorter than settings allow: these tests have no half minute
NAMES = (f"garden-{number}" for number in itertools.count())
only_mosquitto = pytest.mark.skipif(MOSQUITTO is None, reason="mosquitto is not installed")


class Device:
    """A link under test: what it was asked to pass on, and its topics."""

    def __init__(
        self,
        port: int,
        name: str = "",
        password: str | None = None,
        keys: dict[str, bytes] | None = None,
        environ: Mapping[str, str] | None = None,
        **settings: Any,
    ) -> None:
        self.name = name or next(NAMES)
        self.root = f"homie/5/{self.name}"
        self.requests: list[Request] = []
        whole = {**Mqtt(port=port).model_dump(), "heartbeat_s": HEARTBEAT_S, **settings}
        table = Mqtt.model_construct(**whole)
        self.gate = Gate(Path(mkdtemp()) / "commands.json", keys or {})
        self.link = MqttLink(
            table,
            device_id=self.name,
            site_name="Garden",
            password=password,
            trust=read_trust(table, environ or {}),
            submit=self.requests.append,
            gate=self.gate,
        )
        self.link.start()

    def ready(self, first: State | None = None) -> None:
        """Publish a state and wait until the device is ready."""
        self.link.publish(first or state())
        until(lambda: self.link.status().connected)


Make = Callable[..., Device]
