"""One connection to a broker: one paho client, used once and thrown away.

Nothing that waited in an old client can overtake a fresh value, and a client that died in silence
takes nothing with it. The worker that owns a `Wire` drives it with `step`; there is no other thread
in it, and callbacks only note down what arrived.
"""

from __future__ import annotations

import logging
import select
import socket
import ssl
import time
from collections import deque
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from config.settings import Mqtt
from daemon.link.trust import end_of, of_alert, of_silence

LOG = logging.getLogger(__name__)
KEEPALIVE_S = 30
CONNECT_TIMEOUT_S = 5.0
LARGEST_PACKET = 65_536  # bytes, both ways; what brokers are commonly limited to
READ_AT_ONCE = 4_096  # wakings; however many, they mean one
MOST_MESSAGES = 5_000  # that wait to be looked at: a flood costs its oldest ones, and no memory
WINDOW = 10  # messages that may wait for their acknowledgement at a time


@dataclass(frozen=True, slots=True)
class Message:
    """One message as it arrived. retained: as its sender published it."""

    topic: str
    payload: bytes
    retained: bool


@dataclass(frozen=True, slots=True)
class Acknowledged:
    """The broker took a message, or refused it (`refusal`, "" if it took it)."""

    topic: str
    refusal: str


class Wire:
    """An open connection with a last will. `problem` says in words why it is over, "" while it is not."""

    def __init__(
        self,
        settings: Mqtt,
        client_id: str,
        password: str | None,
        tls: ssl.SSLContext | None,
        wake: socket.socket | None = None,
    ) -> None:
        """wake: a byte that arrives there ends the waiting of `step`."""
        self.settings = settings
        self._wake = wake
        self.problem = ""
        self.connected = False
        self.largest_packet = LARGEST_PACKET
        self.certificate_ends: datetime | None = None  # the broker's, UTC; None without TLS
        self.messages: deque[Message] = deque(maxlen=MOST_MESSAGES)
        self.acknowledged: deque[Acknowledged] = deque()
        self._window = WINDOW
        self._waiting: dict[int, tuple[str, float]] = {}  # message id -> topic, when it was sent
        self._asked: set[int] = set()  # subscriptions the broker has not answered
        self._answered = False
        self._alert = ""  # what the broker said of our certificate
        self._client = Client(CallbackAPIVersion.VERSION2, client_id, protocol=MQTTProtocolVersion.MQTTv5)
        self._client.connect_timeout = CONNECT_TIMEOUT_S
        if settings.username is not None:
            self._client.username_pw_set(settings.username, password)
        if tls is not None:
            self._client.tls_set_context(tls)
        self._client.on_connect = self._on_connect
        self._client.on_disconnect = self._on_disconnect
        self._client.on_message = self._on_message
        self._client.on_publish = self._on_publish
        self._client.on_subscribe = self._on_subscribe
        self._client.on_log = self._on_log

    def open(self, will_topic: str, will: str) -> None:
        """Connect with that last will (retained). Blocks while names and sockets do. Raises OSError."""
        self._client.will_set(will_topic, will, qos=2, retain=True)
        properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        properties.SessionExpiryInterval = 0
        properties.MaximumPacketSize = LARGEST_PACKET
        self._client.connect(
            self.settings.host, self.settings.port, KEEPALIVE_S, clean_start=True, properties=properties
        )
        sock: Any = self._client.socket()
        if sock is not None:  # many small packets in turn: waiting to fill one costs 40 ms each time
            sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        if isinstance(sock, ssl.SSLSocket):
            self.certificate_ends = end_of(sock.getpeercert())

    @property
    def room(self) -> bool:
        """Whether another message may be sent now."""
        return self.connected and len(self._waiting) < self._window

    @property
    def idle(self) -> bool:
        """Whether the broker has answered everything."""
        return not self._waiting and not self._asked

    def oldest_wait_s(self) -> float:
        """How long the oldest unanswered message has been waiting."""
        return max((time.monotonic() - sent_s for _, sent_s in self._waiting.values()), default=0.0)

    def send(self, topic: str, payload: bytes, qos: int) -> None:
        """One retained message; empty clears the topic. Call only while there is `room`.

        A refusal by the broker is told only at QoS 1: paho 2.2 does not look at the reason in a PUBREC.
        """
        info = self._client.publish(topic, payload, qos=qos, retain=True)
        if info.rc == MQTTErrorCode.MQTT_ERR_SUCCESS:
            self._waiting[info.mid] = (topic, time.monotonic())
        else:
            self._over(f"sending failed: {info.rc.name}")

    def tell(self, topic: str, payload: bytes) -> None:
        """One message that nobody keeps, at QoS 0: not acknowledged."""
        self._client.publish(topic, payload, qos=0, retain=False)

    def subscribe(self, topic: str, *, stored: bool, as_published: bool = True, of_others: bool = False) -> None:
        """QoS 0, so that nothing queues; `stored`: also what the broker keeps.

        as_published: `retained` tells how a message was sent; else whether the broker had kept it.
        of_others: not what this connection publishes itself.
        """
        handling = 0 if stored else 2
        options = SubscribeOptions(
            qos=0, noLocal=of_others, retainAsPublished=as_published, retainHandling=handling
        )
        code, mid = self._client.subscribe(topic, options=options)
        if code == MQTTErrorCode.MQTT_ERR_SUCCESS and mid is not None:
            self._asked.add(mid)

    def unsubscribe(self, topic: str) -> None:
        """No more of this; the answer is not waited for."""
        self._client.unsubscribe(topic)

    def step(self, timeout_s: float) -> None:
        """Wait for the broker, at most so long, then read and write what there is."""
        sock: Any = self._client.socket()
        if sock is None:
            self._over("the connection ended")
            return
        buffered = getattr(sock, "pending", int)() > 0  # bytes that TLS has already taken off the socket
        writing = [sock] if self._client.want_write() else []
        listening = [sock] if self._wake is None else [sock, self._wake]
        readable, writable, _ = select.select(listening, writing, [], 0 if buffered else timeout_s)
        if self._wake is not None and self._wake in readable:
            self._wake.recv(READ_AT_ONCE)
        if sock in readable or buffered:
            self._client.loop_read()
        if sock in writable or self._client.want_write():
            self._client.loop_write()
        self._client.loop_misc()

    def leave(self) -> None:
        """Say goodbye, so that the broker drops the last will."""
        self._client.on_disconnect = None
        self._client.disconnect()

    def close(self) -> None:
        """End the connection; without `leave` the broker publishes the last will. Twice is harmless."""
        sock: Any = self._client.socket()
        if sock is not None:
            sock.close()
        self.connected = False

    def _over(self, problem: str) -> None:
        self.connected = False
        self.problem = self.problem or problem

    def _on_connect(
        self, _c: Client, _u: Any, _f: ConnectFlags, reason: ReasonCode, properties: Properties | None
    ) -> None:
        self._answered = True
        if reason.is_failure:
            self._over(f"the broker refused: {reason}")
            return
        # paho sets these attributes only where the broker gave them
        self.largest_packet = min(LARGEST_PACKET, getattr(properties, "MaximumPacketSize", LARGEST_PACKET))
        self._window = min(WINDOW, getattr(properties, "ReceiveMaximum", WINDOW))
        self.connected = True

    def _on_disconnect(
        self, _c: Client, _u: Any, flags: DisconnectFlags, reason: ReasonCode, _p: Properties | None
    ) -> None:
        sender = "the broker ended it" if flags.is_disconnect_packet_from_server else "the connection was lost"
        hint = "" if self._answered else of_silence(self.settings)
        self._over(self._alert or f"{sender}: {reason}{hint}")

    def _on_log(self, _c: Client, _u: Any, _level: int, text: str) -> None:
        """The only place where paho 2.2 tells what a read failed with, as the alerts of TLS 1.3 do."""
        self._alert = self._alert or of_alert(text, ours=self.settings.client_certificate_credential)

    def _on_message(self, _c: Client, _u: Any, message: MQTTMessage) -> None:
        self.messages.append(Message(message.topic, bytes(message.payload), message.retain))

    def _on_publish(self, _c: Client, _u: Any, mid: int, reason: ReasonCode, _p: Properties) -> None:
        topic, _ = self._waiting.pop(mid, ("", 0.0))
        self.acknowledged.append(Acknowledged(topic, str(reason) if reason.is_failure else ""))

    def _on_subscribe(
        self, _c: Client, _u: Any, mid: int, reasons: list[ReasonCode], _p: Properties | None
    ) -> None:
        self._asked.discard(mid)
        for reason in reasons:
            if reason.is_failure:
                LOG.warning("The MQTT broker refused a subscription: %s", reason)
