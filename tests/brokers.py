"""Real brokers as processes of their own, and a plain client that watches what passes through them."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Self

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.subscribeoptions import SubscribeOptions

MOSQUITTO = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")
HOUSE = Path(__file__).parents[1]


def until(happened: Callable[[], object], within_s: float = 15.0) -> None:
    """Come back as soon as it has happened; AssertionError if it has not within the time."""
    end_s = time.monotonic() + within_s
    while not happened():
        assert time.monotonic() < end_s, f"did not happen within {within_s} s"
        time.sleep(0.005)


def free_port() -> int:
    """A port on loopback that nobody listens on."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        return int(listener.getsockname()[1])


class Broker:
    """One broker process that can be stopped, frozen and started again on the same port."""

    def __init__(
        self, kind: str, folder: Path, *lines: str, port: int | None = None, listen: str = "127.0.0.1"
    ) -> None:
        """kind: mosquitto or embedded. lines: more of mosquitto's configuration. port: a free one if None."""
        self.port = free_port() if port is None else port
        self._command = [sys.executable, "-m", "sim_hw.broker", "--port", str(self.port)]
        if kind == "mosquitto":
            settings = folder / f"mosquitto-{self.port}.conf"
            user = ["user root"] if os.geteuid() == 0 else []
            listener = [f"listener {self.port} {listen}", "allow_anonymous true"]
            settings.write_text("\n".join([*listener, *user, *lines]) + "\n")
            self._command = [str(MOSQUITTO), "-c", str(settings)]
        self.start()

    def start(self) -> None:
        """Start it and wait until it listens."""
        quiet = subprocess.DEVNULL
        self._process = subprocess.Popen(self._command, cwd=HOUSE, stdout=quiet, stderr=quiet)
        until(self._listens)

    def freeze(self) -> None:
        """It keeps its connections and does nothing."""
        self._process.send_signal(signal.SIGSTOP)

    def thaw(self) -> None:
        """It goes on."""
        self._process.send_signal(signal.SIGCONT)

    def stop(self) -> None:
        """End it at once; twice is harmless."""
        self._process.kill()
        self._process.wait()

    def _listens(self) -> bool:
        assert self._process.poll() is None, "the broker ended by itself"
        with socket.socket() as probe:
            return probe.connect_ex(("127.0.0.1", self.port)) == 0


class Watcher:
    """A client that writes down all that is published below a topic, and can publish itself."""

    def __init__(self, port: int, topic: str) -> None:
        self.seen: list[tuple[str, bytes]] = []
        self.kept: dict[str, bytes] = {}  # what the broker keeps now
        self._settled = False
        self._topic = topic
        self._client = paho.Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
        self._client.on_message = self._take
        self._client.on_subscribe = self._subscribed
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        options = SubscribeOptions(qos=1, retainAsPublished=True)  # each in the order the broker took it
        self._client.subscribe([(topic, options), ("settle", SubscribeOptions(qos=1))])
        until(lambda: self._settled)

    def publish(self, topic: str, payload: bytes | str, *, retain: bool = False) -> None:
        """Publish and wait until the broker has it."""
        self._client.publish(topic, payload, qos=1, retain=retain).wait_for_publish(5.0)

    def throw(self, topic: str, payload: bytes) -> None:
        """Publish at QoS 0 and look no further."""
        self._client.publish(topic, payload, qos=0)

    def payloads(self, topic: str) -> list[bytes]:
        """All that was published to one topic since the watcher came."""
        return [payload for seen, payload in self.seen if seen == topic]

    def _subscribed(self, client: paho.Client, *_: object) -> None:
        client.publish("settle", b"", qos=1)

    def _take(self, _client: paho.Client, _user: object, message: paho.MQTTMessage) -> None:
        if message.topic == "settle":
            self._settled = True
            return
        payload = bytes(message.payload)
        self.seen.append((message.topic, payload))
        if message.retain and payload:
            self.kept[message.topic] = payload
        elif message.retain:
            self.kept.pop(message.topic, None)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._client.disconnect()
        self._client.loop_stop()
