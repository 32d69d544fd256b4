"""The embedded broker does what Debian's mosquitto does, as far as it claims to.

The same checks run on both; what is checked in bytes comes from OASIS MQTT 3.1.1 and MQTT 5.0.
"""

from __future__ import annotations

import contextlib
import queue
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import paho.mqtt.client as paho
import pytest
from hypothesis import given
from hypothesis import strategies as st
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.subscribeoptions import SubscribeOptions

from sim_hw.broker import BrokerError, EmbeddedBroker
from sim_hw.packets import Body, PacketError, length_bytes, matches
from tests.brokers import MOSQUITTO, Broker, until

Both = pytest.mark.parametrize("version", [MQTTProtocolVersion.MQTTv311, MQTTProtocolVersion.MQTTv5])
V5 = MQTTProtocolVersion.MQTTv5


@pytest.fixture(
    scope="module",
    params=[
        pytest.param(
            "mosquitto", marks=pytest.mark.skipif(MOSQUITTO is None, reason="mosquitto is not installed")
        ),
        "embedded",
    ],
)
def port(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[int]:
    """Where a broker listens: the real one, or ours in this process."""
    if request.param == "mosquitto":
        process = Broker("mosquitto", tmp_path_factory.mktemp("broker"))
        yield process.port
        process.stop()
    else:
        broker = EmbeddedBroker(port=0)
        broker.start()
        yield broker.port
        broker.close()


@pytest.fixture
def embedded() -> Iterator[EmbeddedBroker]:
    """Only ours."""
    broker = EmbeddedBroker(port=0)
    broker.start()
    yield broker
    broker.close()


class Peer:
    """An ordinary client of either version."""

    def __init__(self, port: int, version: MQTTProtocolVersion = V5, name: str = "", **settings: Any) -> None:
        self.got: queue.Queue[tuple[str, bytes, int, bool]] = queue.Queue()
        self.connected = False
        self.left: list[Any] = []
        self._granted: list[Any] = []
        self.client = paho.Client(CallbackAPIVersion.VERSION2, name, protocol=version, reconnect_on_failure=False)
        self.client.on_message = lambda _c, _u, m: self.got.put((m.topic, bytes(m.payload), m.qos, m.retain))
        self.client.on_connect = self._came
        self.client.on_disconnect = self._went
        self.client.on_subscribe = lambda _c, _u, _m, codes, _p: self._granted.append(codes)
        if "will" in settings:
            self.client.will_set(*settings.pop("will"))
        self.client.connect("127.0.0.1", port, **settings)
        self.client.loop_start()
        until(lambda: self.connected)

    def subscribe(self, topic: str, qos: int = 0, options: SubscribeOptions | None = None) -> Any:
        """Subscribe, and give the code that the broker answered."""
        self._granted.clear()
        self.client.subscribe(topic, qos=qos, options=options)
        until(lambda: self._granted)
        return self._granted[0][0]

    def publish(self, topic: str, payload: bytes, qos: int = 1, *, retain: bool = False) -> None:
        """Publish and wait for the acknowledgement."""
        self.client.publish(topic, payload, qos=qos, retain=retain).wait_for_publish(5.0)

    def next(self) -> tuple[str, bytes, int, bool]:
        """The next message that arrived: topic, payload, QoS, retain flag."""
        return self.got.get(timeout=5.0)

    def drop(self) -> None:
        """The connection ends without a word."""
        sock: Any = self.client.socket()
        sock.shutdown(socket.SHUT_RDWR)

    def _came(self, *_: Any) -> None:
        self.connected = True

    def _went(self, _client: Any, _user: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        self.connected = False
        self.left.append(reason)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.client.disconnect()
        self.client.loop_stop()


@Both
@pytest.mark.parametrize("asked", [0, 1, 2])
@pytest.mark.parametrize("sent", [0, 1, 2])
def test_a_message_arrives_once_at_the_lower_qos(
    port: int, version: MQTTProtocolVersion, asked: int, sent: int
) -> None:
    """Of what was published with and what was subscribed with."""
    with Peer(port, version) as reader, Peer(port, version) as writer:
        reader.subscribe("a/b", asked)
        writer.publish("a/b", b"x", sent)
        writer.publish("a/b", b"end", sent)
        assert reader.next() == ("a/b", b"x", min(asked, sent), False)
        assert reader.next() == ("a/b", b"end", min(asked, sent), False)


@Both
def test_a_retained_message_waits_for_later_readers_until_it_is_cleared(
    port: int, version: MQTTProtocolVersion
) -> None:
    """The newest one, with its flag; an empty one clears it."""
    with Peer(port, version) as writer:
        for payload in (b"old", b"new"):
            writer.publish("kept/here", payload, retain=True)
        with Peer(port, version) as reader:
            reader.subscribe("kept/#", 1)
            assert reader.next() == ("kept/here", b"new", 1, True)
        writer.publish("kept/here", b"", retain=True)
        with Peer(port, version) as reader:
            reader.subscribe("kept/#", 1)
            writer.publish("kept/end", b"end")
            assert reader.next() == ("kept/end", b"end", 1, False)


@pytest.mark.parametrize(("as_published", "flag"), [(True, True), (False, False)])
def test_retain_as_published_shows_a_live_message_is_retained(port: int, as_published: bool, flag: bool) -> None:
    """What our `hold` relies on to tell a command that will come back."""
    with Peer(port) as reader, Peer(port) as writer:
        reader.subscribe("rap/x", options=SubscribeOptions(qos=1, retainAsPublished=as_published))
        writer.publish("rap/x", b"x", retain=True)
        assert reader.next() == ("rap/x", b"x", 1, flag)
        writer.publish("rap/x", b"", retain=True)


@pytest.mark.parametrize(("handling", "first", "second"), [(0, True, True), (1, True, False), (2, False, False)])
def test_retain_handling(port: int, handling: int, first: bool, second: bool) -> None:
    """Kept messages: always, only for a new subscription, never."""
    with Peer(port) as reader, Peer(port) as writer:
        writer.publish("rh/x", b"kept", retain=True)
        for expected in (first, second):
            reader.subscribe("rh/x", options=SubscribeOptions(qos=1, retainHandling=handling))
            writer.publish("rh/x", b"live")
            assert reader.next()[1] == (b"kept" if expected else b"live")
            if expected:
                assert reader.next()[1] == b"live"
        writer.publish("rh/x", b"", retain=True)


def test_no_local_keeps_ones_own_messages_away(port: int) -> None:
    """And brings everybody else's."""
    with Peer(port) as here, Peer(port) as other:
        here.subscribe("nl/x", options=SubscribeOptions(qos=1, noLocal=True))
        here.publish("nl/x", b"mine")
        other.publish("nl/x", b"theirs")
        assert here.next()[1] == b"theirs"


@Both
def test_after_unsubscribing_nothing_comes(port: int, version: MQTTProtocolVersion) -> None:
    """Other subscriptions go on."""
    with Peer(port, version) as reader:
        reader.subscribe("un/a")
        reader.subscribe("un/b")
        reader.client.unsubscribe("un/a")
        reader.publish("un/a", b"x")
        reader.publish("un/b", b"y")
        assert reader.next()[0] == "un/b"


@Both
def test_overlapping_subscriptions_deliver_at_the_best_qos(port: int, version: MQTTProtocolVersion) -> None:
    """However a broker counts them, nothing gets lost."""
    with Peer(port, version) as reader:
        reader.subscribe("ov/+", 0)
        reader.subscribe("ov/a", 2)
        reader.publish("ov/a", b"x", 2)
        reader.publish("ov/end", b"end", 2)
        seen: list[tuple[str, bytes, int, bool]] = []
        while not seen or seen[-1][0] != "ov/end":
            seen.append(reader.next())
        assert max(qos for topic, _, qos, _ in seen if topic == "ov/a") == 2


@Both
def test_the_will_speaks_for_who_is_gone_and_not_for_who_left(port: int, version: MQTTProtocolVersion) -> None:
    """A dropped connection, then a goodbye."""
    with Peer(port, version) as reader:
        reader.subscribe("will/#", 2)
        gone = Peer(port, version, will=("will/gone", b"lost", 2, True))
        gone.drop()
        assert reader.next()[:3] == ("will/gone", b"lost", 2)
        gone.client.loop_stop()
        with Peer(port, version, will=("will/left", b"lost", 2, False)) as left:
            pass
        until(lambda: not left.connected)
        reader.publish("will/end", b"end", 2)
        assert reader.next()[0] == "will/end"
        reader.publish("will/gone", b"", retain=True)


@Both
def test_a_second_connection_with_the_same_id_ends_the_first(port: int, version: MQTTProtocolVersion) -> None:
    """And its will is published before the second is served."""
    with Peer(port, version) as reader:
        reader.subscribe("twin/#", 1)
        first = Peer(port, version, "twin", will=("twin/state", b"lost", 1, False))
        with Peer(port, version, "twin") as second:
            second.publish("twin/state", b"ready")
            assert [reader.next()[1] for _ in range(2)] == [b"lost", b"ready"]
            until(lambda: not first.connected)
        first.client.loop_stop()


def test_who_is_taken_over_is_told_why(embedded: EmbeddedBroker) -> None:
    """MQTT 5.0, 3.14.2.1: reason 0x8E."""
    with raw(embedded.port, V5, name="twin") as first, raw(embedded.port, V5, name="twin"):
        assert read(first) == (0xE0, b"\x8e\x00")
        assert first.recv(1) == b""


@Both
def test_a_silent_client_is_given_up_after_one_and_a_half_keep_alives(
    embedded: EmbeddedBroker, version: MQTTProtocolVersion
) -> None:
    """Its will is published. MQTT 5.0, 3.1.2.10."""
    tail = text("quiet/will") + text("lost")
    with Peer(embedded.port, version) as reader:
        reader.subscribe("quiet/#", 1)
        with raw(embedded.port, version, keepalive_s=1, flags=0x06, tail=tail) as silent:
            assert reader.next()[:2] == ("quiet/will", b"lost")
            if version == V5:
                assert read(silent) == (0xE0, b"\x8d\x00")
            assert silent.recv(1) == b""


@Both
def test_many_messages_wait_until_the_client_has_acknowledged_earlier_ones(
    port: int, version: MQTTProtocolVersion
) -> None:
    """None lost, none twice, in order."""
    with Peer(port, version) as reader, Peer(port, version) as writer:
        reader.subscribe("many", 2)
        for number in range(200):
            writer.client.publish("many", str(number), qos=2)
        assert [int(reader.next()[1]) for _ in range(200)] == list(range(200))


def test_the_window_of_the_client_is_kept(port: int) -> None:
    """Receive Maximum of MQTT 5.0, 3.1.2.11.3: no more unacknowledged messages than that."""
    with raw(port, V5, properties=b"\x21\x00\x02") as connection, Peer(port) as writer:
        connection.sendall(b"\x82\x08\x00\x01\x00\x00\x02rm\x01")
        assert read(connection)[0] == 0x90
        for _ in range(5):
            writer.publish("rm", b"x")
        first, second = read(connection), read(connection)
        assert {first[0], second[0]} == {0x32}
        connection.sendall(b"\xc0\x00")
        assert read(connection) == (0xD0, b"")  # no third message before an acknowledgement
        connection.sendall(b"\x40\x02" + first[1][4:6])
        assert read(connection)[0] == 0x32


def test_a_message_too_large_for_the_client_is_kept_from_it(port: int) -> None:
    """Maximum Packet Size of MQTT 5.0, 3.1.2.11.4."""
    asked = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
    asked.MaximumPacketSize = 100
    with Peer(port, properties=asked) as reader, Peer(port) as writer:
        reader.subscribe("size", 1)
        writer.publish("size", b"x" * 200)
        writer.publish("size", b"end")
        assert reader.next()[1] == b"end"


def test_the_application_properties_travel_with_a_message(port: int) -> None:
    """Content type, as one that a reader may rely on."""
    with Peer(port) as reader:
        seen: queue.Queue[Any] = queue.Queue()
        reader.client.on_message = lambda _c, _u, message: seen.put(message.properties)
        reader.subscribe("props", 1)
        given = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]
        given.ContentType = "text/plain"
        reader.client.publish("props", b"x", qos=1, properties=given)
        assert seen.get(timeout=5.0).ContentType == "text/plain"


@pytest.mark.parametrize(
    ("wanted", "topic", "matching"),
    [
        ("a/b", "a/b", True),
        ("a/b", "a/b/c", False),
        ("a/b", "a", False),
        ("a/+", "a/b", True),
        ("a/+", "a", False),
        ("a/+", "a/b/c", False),
        ("a/+", "a/", True),
        ("+", "/a", False),
        ("+/+", "/a", True),
        ("/+", "/a", True),
        ("a/#", "a", True),
        ("a/#", "a/b/c", True),
        ("a/#", "b/a", False),
        ("#", "a/b", True),
        ("#", "$sys/x", False),
        ("+/x", "$sys/x", False),
        ("$sys/#", "$sys/x", True),
        ("homie/5/+/$state", "homie/5/quince-lane/$state", True),
    ],
)
def test_filters_match_as_the_standard_says(wanted: str, topic: str, matching: bool) -> None:
    """Examples of MQTT 5.0, 4.7.1 and 4.7.2, and Homie's discovery."""
    assert matches(wanted, topic) is matching


@Both
@pytest.mark.parametrize("bad", ["a/#/b", "a#", "a/b+"])
def test_a_bad_filter_does_not_end_well(embedded: EmbeddedBroker, version: MQTTProtocolVersion, bad: str) -> None:
    """It is refused by its own code, and others go on."""
    with raw(embedded.port, version) as connection:
        properties = b"\x00" if version == V5 else b""
        content = b"\x00\x01" + properties + text(bad) + b"\x00"
        connection.sendall(b"\x82" + bytes([len(content)]) + content)
        kind, body = read(connection)
        assert (kind, body[-1]) == (0x90, 0x8F if version == V5 else 0x80)


def text(content: str) -> bytes:
    """A text as MQTT writes it."""
    return len(content).to_bytes(2, "big") + content.encode()


def hello(
    version: int,
    *,
    name: str = "raw",
    keepalive_s: int = 0,
    flags: int = 0x02,
    properties: bytes = b"",
    tail: bytes = b"",
) -> bytes:
    """CONNECT in bytes; flags 0x02: clean."""
    head = text("MQTT") + bytes([version, flags]) + keepalive_s.to_bytes(2, "big")
    if version == 5:
        head += bytes([len(properties)]) + properties
        if flags & 0x04:
            tail = b"\x00" + tail
    content = head + text(name) + tail
    return b"\x10" + bytes([len(content)]) + content


def raw(port: int, version: int, **settings: Any) -> socket.socket:
    """A connected socket that has been accepted."""
    connection = socket.create_connection(("127.0.0.1", port), timeout=5.0)
    connection.sendall(hello(version, **settings))
    kind, body = read(connection)
    assert (kind, body[:2]) == (0x20, b"\x00\x00")
    return connection


def read(connection: socket.socket) -> tuple[int, bytes]:
    """The first byte and the content of the next packet (short ones only)."""
    first, length = _exactly(connection, 2)
    return first, _exactly(connection, length)


def _exactly(connection: socket.socket, count: int) -> bytes:
    content = b""
    while len(content) < count:
        part = connection.recv(count - len(content))
        assert part, "the broker hung up"
        content += part
    return content


@Both
def test_the_bytes_of_a_qos_2_exchange(port: int, version: MQTTProtocolVersion) -> None:
    """PUBLISH, PUBREC, PUBREL, PUBCOMP; a repeated PUBLISH is not a second message. MQTT 5.0, 4.3.3."""
    with Peer(port, version) as reader, raw(port, version) as connection:
        reader.subscribe("q2", 0)
        publish = b"\x00\x02q2\x00\x07" + (b"\x00" if version == V5 else b"") + b"x"
        for first in (b"\x34", b"\x3c"):  # the second with DUP
            connection.sendall(first + bytes([len(publish)]) + publish)
            assert read(connection) == (0x50, b"\x00\x07")
        connection.sendall(b"\x62\x02\x00\x07")
        assert read(connection) == (0x70, b"\x00\x07")
        reader.publish("q2", b"end")
        assert [reader.next()[1] for _ in range(2)] == [b"x", b"end"]


def test_an_empty_client_id_gets_one_assigned(port: int) -> None:
    """MQTT 5.0, 3.2.2.3.7: Assigned Client Identifier, property 18."""
    with raw(port, V5, name="") as first, raw(port, V5, name="") as second:
        for connection in (first, second):
            connection.sendall(b"\xc0\x00")
            assert read(connection) == (0xD0, b"")  # both are served: they have different ids


@pytest.mark.parametrize(
    "content",
    [
        b"\xc0\x00",  # not CONNECT first
        b"\x10\x00",
        b"\x10\xff\xff\xff\xff\x01",  # a length of five bytes
        b"\x10\xff\xff\xff\x7f",  # 256 MB
        b"\xf0\x00",
        b"GET / HTTP/1.1\r\n\r\n",
        hello(3),
        hello(5, properties=b"\x99\x01"),
        hello(4, flags=0x06, tail=text("a/#") + text("x")),
        hello(4, name="\0"),
        hello(4) + b"\x30\x00",
        hello(4) + b"\x30\x03\x00\x05a",
        hello(4) + b"\x30\x04\x00\x02a#",
        hello(4) + b"\x36\x05\x00\x01a\x00\x01",  # QoS 3
        hello(4) + b"\x30\x04\x00\x02\xff\xfe",
        hello(4) + b"\x80\x06\x00\x01\x00\x01a\x00",  # SUBSCRIBE with the wrong flags
        hello(4) + b"\x82\x02\x00\x01",  # SUBSCRIBE without a filter
        hello(4) + b"\x20\x02\x00\x00",  # CONNACK from a client
        hello(5) + b"\x30\x07\x00\x01a\x03\x23\x00\x01",  # topic alias where none is allowed
    ],
)
def test_what_is_not_mqtt_ends_that_connection_only(embedded: EmbeddedBroker, content: bytes) -> None:
    """Everybody else is served on."""
    with Peer(embedded.port) as other, socket.create_connection(("127.0.0.1", embedded.port), timeout=5.0) as bad:
        bad.sendall(content)
        bad.shutdown(socket.SHUT_WR) if content.startswith(b"GET") else None
        while bad.recv(1000):
            pass
        other.subscribe("still", 1)
        other.publish("still", b"here")
        assert other.next()[1] == b"here"


@given(st.binary(max_size=60))
def test_no_bytes_can_surprise_the_reader(content: bytes) -> None:
    """A packet is read or refused; nothing else happens."""
    for look in (Body.text, Body.properties, Body.length, Body.binary):
        with contextlib.suppress(PacketError):
            look(Body(content))


@given(st.integers(0, 268_435_455))
def test_lengths_come_back(value: int) -> None:
    """Variable byte integers, MQTT 5.0, 1.5.5."""
    assert Body(length_bytes(value)).length() == value


@pytest.mark.parametrize(
    ("value", "encoded"),
    [(0, "00"), (127, "7f"), (128, "8001"), (16383, "ff7f"), (16384, "808001"), (268435455, "ffffff7f")],
)
def test_lengths_are_written_as_the_standard_shows(value: int, encoded: str) -> None:
    """MQTT 5.0, table 1-1."""
    assert length_bytes(value).hex() == encoded


def test_a_reader_that_does_not_read_is_dropped(embedded: EmbeddedBroker) -> None:
    """It cannot fill the memory of the demo."""
    with raw(embedded.port, V5) as slow, Peer(embedded.port) as writer:
        slow.sendall(b"\x82\x07\x00\x01\x00\x00\x01s\x00")
        read(slow)
        payload = b"x" * 100_000
        for _ in range(80):
            writer.publish("s", payload)
        received = 0
        with contextlib.suppress(ConnectionResetError):
            while part := slow.recv(1_000_000):
                received += len(part)
        assert received < 80 * len(payload)
        assert writer.connected


def test_only_loopback_is_listened_on() -> None:
    """It lets everybody in, so everybody must be on this machine."""
    for host in ("0.0.0.0", "192.168.1.2", "::", "garden.example"):
        with pytest.raises(ValueError, match="loopback"):
            EmbeddedBroker(host)
    EmbeddedBroker("localhost")


def test_a_taken_port_is_said(embedded: EmbeddedBroker) -> None:
    """With what to do about it."""
    with pytest.raises(BrokerError, match=rf"{embedded.port}: cannot listen .*another broker"):
        EmbeddedBroker(port=embedded.port).start()


def test_closing_ends_connections_and_frees_the_port() -> None:
    """Twice is harmless, and a new broker may start there at once."""
    broker = EmbeddedBroker(port=0)
    broker.close()
    broker.start()
    with Peer(broker.port) as peer:
        broker.close()
        broker.close()
        until(lambda: not peer.connected)
        assert peer.left[0].value == 0x8B  # server shutting down
    again = EmbeddedBroker(port=broker.port)
    again.start()
    again.close()


def test_it_runs_alone_from_the_command_line(embedded: EmbeddedBroker) -> None:
    """Ctrl-C ends it well; a taken port ends it with a message."""
    command = [sys.executable, "-m", "sim_hw.broker", "--port"]
    house = Path(__file__).parents[2]
    with subprocess.Popen([*command, "0"], cwd=house, stdout=subprocess.PIPE, text=True) as alone:
        assert alone.stdout is not None
        try:
            port = int(alone.stdout.readline().split(",")[0].rpartition(":")[2])
            with Peer(port) as peer:
                peer.publish("x", b"x")
            alone.send_signal(2)
            assert alone.wait(5.0) == 0
        finally:
            alone.kill()
    taken = subprocess.run([*command, str(embedded.port)], cwd=house, capture_output=True, text=True, check=False)
    assert taken.returncode == 1
    assert "cannot listen" in taken.stderr
