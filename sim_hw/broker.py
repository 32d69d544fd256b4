"""A small MQTT broker on loopback, for the demo and the tests: 3.1.1 and 5, QoS 0 to 2.

    python -m sim_hw.broker --port 1883

It keeps retained messages and last wills as a broker must, in memory only. It leaves out: sessions that
outlive a connection, shared subscriptions, topic aliases, subscription identifiers, counting down message
expiry, user names and passwords (whoever is on this machine may do anything). For anything but trying
things out, use a real broker.
Source: OASIS MQTT 3.1.1 and MQTT 5.0.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import ipaddress
import signal
import socket
import sys
import threading
import uuid
from dataclasses import dataclass, field

from sim_hw.packets import (
    LARGEST_PACKET,
    Body,
    Kind,
    Message,
    PacketError,
    length_bytes,
    matches,
    packet,
    property_values,
    read_packet,
    text_bytes,
)

MOST_WAITING = 2_000  # messages for one client; more and it is too slow to keep
WINDOW = 20  # messages to one client that it has not acknowledged
CONNECT_S = 10.0  # for a new connection to say CONNECT


class BrokerError(OSError):
    """The broker cannot listen. The message says where, why and what to do."""


@dataclass(frozen=True, slots=True)
class Subscription:
    """What a client asked for with one filter."""

    qos: int
    no_local: bool = False
    as_published: bool = False


@dataclass(eq=False, slots=True)
class Client:
    """One connection that has said CONNECT."""

    identity: str
    version: int
    keepalive_s: int
    will: Message | None
    window: int
    largest_packet: int
    writer: asyncio.StreamWriter
    subscriptions: dict[str, Subscription] = field(default_factory=dict)
    incoming: set[int] = field(default_factory=set)  # QoS 2 messages seen, not yet released
    outgoing: set[int] = field(default_factory=set)  # messages the client has not acknowledged
    waiting: list[Message] = field(default_factory=list)  # for room in the window
    next_id: int = 1


class EmbeddedBroker:
    """Listens on loopback from `start` to `close`, in a thread of its own."""

    def __init__(self, host: str = "127.0.0.1", port: int = 1883) -> None:
        """port 0: any free one. Raises ValueError where the host is not this machine itself."""
        if not _loopback(host):
            raise ValueError(f"{host}: this broker lets everybody in, so it listens on loopback only (127.0.0.1)")
        self.host, self.port = host, port
        self._clients: dict[str, Client] = {}
        self._writers: set[asyncio.StreamWriter] = set()
        self._retained: dict[str, Message] = {}
        self._loop: asyncio.AbstractEventLoop | None = None
        self._closing = asyncio.Event()
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Listen. Raises BrokerError where the port is taken."""
        try:
            listener = socket.create_server((self.host, self.port))
        except OSError as error:
            raise BrokerError(
                f"{self.host}:{self.port}: cannot listen there ({error.strerror}); if another broker runs, "
                "use it, or give this one a different port"
            ) from error
        self.port = listener.getsockname()[1]
        self._loop, self._closing = asyncio.new_event_loop(), asyncio.Event()
        self._thread = threading.Thread(target=self._run, args=(self._loop, listener), name="broker", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """End every connection and stop. Twice is harmless."""
        if self._loop is None or self._thread is None:
            return
        self._loop.call_soon_threadsafe(self._closing.set)
        self._thread.join()
        self._loop = self._thread = None

    def _run(self, loop: asyncio.AbstractEventLoop, listener: socket.socket) -> None:
        with contextlib.closing(loop):
            loop.run_until_complete(self._listen(listener))

    async def _listen(self, listener: socket.socket) -> None:
        server = await asyncio.start_server(self._serve, sock=listener)
        await self._closing.wait()
        server.close()
        for client in list(self._clients.values()):
            client.will = None  # a broker that goes says nothing in its clients' names
            _hang_up(client, 0x8B)
        for writer in self._writers:
            writer.transport.abort()
        serving = asyncio.all_tasks() - {asyncio.current_task()}
        if serving:
            await asyncio.wait(serving)

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        client: Client | None = None
        self._writers.add(writer)
        if self._closing.is_set():
            writer.transport.abort()
        try:
            client = await self._greet(reader, writer)
            while True:
                limit_s = 1.5 * client.keepalive_s or None
                if not self._take(client, *await asyncio.wait_for(read_packet(reader), limit_s)):
                    break
        except PacketError as error:
            _hang_up(client, error.code)
        except TimeoutError:
            _hang_up(client, 0x8D)
        except (OSError, EOFError):
            pass  # gone without a word: the will speaks
        finally:
            if client is not None:
                self._part(client)
            writer.close()
            self._writers.discard(writer)

    async def _greet(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> Client:
        kind, _, body = await asyncio.wait_for(read_packet(reader), CONNECT_S)
        if kind is not Kind.CONNECT:
            raise PacketError("CONNECT must come first")
        client = _connecting(body, writer)
        older = self._clients.get(client.identity)
        if older is not None:
            _hang_up(older, 0x8E)
            self._part(older)
        self._clients[client.identity] = client
        return client

    def _part(self, client: Client) -> None:
        """The connection is over; what is left of its will goes out."""
        if self._clients.get(client.identity) is client:
            del self._clients[client.identity]
        will, client.will = client.will, None
        client.writer.close()
        if will is not None:
            self._publish(will, None)

    def _take(self, client: Client, kind: Kind, flags: int, body: Body) -> bool:
        """Act on one packet. False: the client has said goodbye."""
        if kind in (Kind.PUBREL, Kind.SUBSCRIBE, Kind.UNSUBSCRIBE) and flags != 2:
            raise PacketError(f"{kind.name} with flags {flags}")
        match kind:
            case Kind.PUBLISH:
                self._take_publish(client, flags, body)
            case Kind.PUBACK | Kind.PUBREC | Kind.PUBREL | Kind.PUBCOMP:
                _take_acknowledgement(client, kind, body)
            case Kind.SUBSCRIBE:
                self._take_subscribe(client, body)
            case Kind.UNSUBSCRIBE:
                _take_unsubscribe(client, body)
            case Kind.PINGREQ:
                _write(client, Kind.PINGRESP, 0, b"")
            case Kind.DISCONNECT:
                if body.left == 0 or body.byte() != 0x04:  # 4: goodbye, but with the will
                    client.will = None
                return False
            case _:
                raise PacketError(f"{kind.name} is not for a client to send", 0x82)
        return True

    def _take_publish(self, client: Client, flags: int, body: Body) -> None:
        qos, retain = flags >> 1 & 3, bool(flags & 1)
        topic = body.text()
        _check(topic, qos)
        number = body.number() if qos else 0
        properties = body.properties(refused=0x23) if client.version == 5 else b""
        message = Message(topic, body.rest(), qos, retain, properties)
        if qos != 2 or number not in client.incoming:
            self._publish(message, client)
        if qos == 1:
            _acknowledge(client, Kind.PUBACK, number)
        elif qos == 2:
            client.incoming.add(number)
            _acknowledge(client, Kind.PUBREC, number)

    def _publish(self, message: Message, sender: Client | None) -> None:
        if message.retain and message.payload:
            self._retained[message.topic] = message
        elif message.retain:
            self._retained.pop(message.topic, None)
        for client in list(self._clients.values()):
            matching = [
                one
                for wanted, one in client.subscriptions.items()
                if matches(wanted, message.topic) and not (one.no_local and client is sender)
            ]
            if matching:
                best = max(matching, key=lambda one: one.qos)
                retain = message.retain and any(one.as_published for one in matching)
                _deliver(client, message, best.qos, retain)

    def _take_subscribe(self, client: Client, body: Body) -> None:
        number = body.number()
        if client.version == 5:
            body.properties(refused=0x0B)
        codes, wanted = bytearray(), []
        while body.left:
            text, options = body.text(), body.byte()
            granted = _granted(client, text, options)
            codes.append(granted)
            if granted <= 2:
                is_new = text not in client.subscriptions
                client.subscriptions[text] = Subscription(granted, bool(options & 4), bool(options & 8))
                handling = options >> 4 & 3
                if handling == 0 or (handling == 1 and is_new):
                    wanted.append((text, granted))
        if not codes:
            raise PacketError("SUBSCRIBE without a filter", 0x82)
        _acknowledge(client, Kind.SUBACK, number, bytes(codes))
        for text, qos in wanted:
            for message in list(self._retained.values()):
                if matches(text, message.topic):
                    _deliver(client, message, qos, retain=True)


def _connecting(body: Body, writer: asyncio.StreamWriter) -> Client:
    """The client that a CONNECT describes, already answered. Raises PacketError."""
    name, version, flags, keepalive_s = body.text(), body.byte(), body.byte(), body.number()
    if name != "MQTT" or version not in (4, 5):
        writer.write(b"\x20\x02\x00\x01")
        raise PacketError(f"protocol {name} {version} is not spoken here", 0x84)
    asked = property_values(body.properties()) if version == 5 else {}
    identity = body.text()
    assigned = "" if identity else f"auto-{uuid.uuid4().hex}"
    will = _will(body, flags, version) if flags & 0x04 else None
    window = min(WINDOW, asked.get(0x21, WINDOW))
    largest = asked.get(0x27, LARGEST_PACKET)
    client = Client(identity or assigned, version, keepalive_s, will, window, largest, writer)
    _write(client, Kind.CONNACK, 0, b"\0\0" + (_connack_properties(assigned) if version == 5 else b""))
    return client


def _will(body: Body, flags: int, version: int) -> Message:
    properties = body.properties() if version == 5 else b""
    if 0x18 in property_values(properties):
        raise PacketError("a delayed will is not supported", 0x83)
    will = Message(body.text(), body.binary(), flags >> 3 & 3, bool(flags & 0x20), properties)
    _check(will.topic, will.qos)
    return will


def _check(topic: str, qos: int) -> None:
    """Raises PacketError where nothing can be published so."""
    if qos == 3 or not topic or "+" in topic or "#" in topic:
        raise PacketError(f"cannot publish to {topic!r} with QoS {qos}", 0x90)


def _connack_properties(assigned: str) -> bytes:
    """No session is kept; the largest packet; no subscription identifiers, no shared subscriptions."""
    content = b"\x11\0\0\0\0" + b"\x27" + LARGEST_PACKET.to_bytes(4) + b"\x29\0" + b"\x2a\0"
    if assigned:
        content += b"\x12" + text_bytes(assigned)
    return length_bytes(len(content)) + content


def _granted(client: Client, wanted: str, options: int) -> int:
    """The QoS granted to a filter, or the code that refuses it."""
    levels = wanted.split("/")
    valid = bool(wanted) and "#" not in levels[:-1]
    valid = valid and all(level in ("+", "#") or not set(level) & {"+", "#"} for level in levels)
    if not valid or options & 3 == 3:
        return 0x8F if client.version == 5 else 0x80
    if levels[0] == "$share":
        return 0x9E if client.version == 5 else 0x80
    return options & 3


def _take_unsubscribe(client: Client, body: Body) -> None:
    number = body.number()
    if client.version == 5:
        body.properties()
    codes = bytearray()
    while body.left:
        known = client.subscriptions.pop(body.text(), None)
        codes.append(0x00 if known else 0x11)
    _acknowledge(client, Kind.UNSUBACK, number, bytes(codes) if client.version == 5 else b"")


def _take_acknowledgement(client: Client, kind: Kind, body: Body) -> None:
    number = body.number()
    refused = body.left > 0 and body.byte() >= 0x80
    if kind is Kind.PUBREL:
        client.incoming.discard(number)
        _acknowledge(client, Kind.PUBCOMP, number)
    elif kind is Kind.PUBREC and not refused:
        _acknowledge(client, Kind.PUBREL, number)
    else:
        client.outgoing.discard(number)
        while client.waiting and len(client.outgoing) < client.window:
            _send(client, client.waiting.pop(0))


def _deliver(client: Client, message: Message, qos: int, retain: bool) -> None:
    """Send a message, or keep it until the client has acknowledged earlier ones."""
    ready = Message(message.topic, message.payload, min(qos, message.qos), retain, message.properties)
    if ready.qos and len(client.outgoing) >= client.window:
        client.waiting.append(ready)
    else:
        _send(client, ready)
    backlog = client.writer.transport.get_write_buffer_size()
    if len(client.waiting) > MOST_WAITING or backlog > 8 * LARGEST_PACKET:
        client.writer.transport.abort()  # too slow to keep


def _send(client: Client, message: Message) -> None:
    content = text_bytes(message.topic)
    if message.qos:
        while client.next_id in client.outgoing:
            client.next_id = client.next_id % 0xFFFF + 1
        content += client.next_id.to_bytes(2)
    if client.version == 5:
        content += length_bytes(len(message.properties)) + message.properties
    content += message.payload
    if len(content) + 5 > client.largest_packet:
        return  # as MQTT 5 asks: dropped as if it had been sent
    if message.qos:
        client.outgoing.add(client.next_id)
        client.next_id = client.next_id % 0xFFFF + 1
    _write(client, Kind.PUBLISH, message.qos << 1 | message.retain, content)


def _acknowledge(client: Client, kind: Kind, number: int, codes: bytes = b"") -> None:
    properties = b"\0" if client.version == 5 and kind in (Kind.SUBACK, Kind.UNSUBACK) else b""
    _write(client, kind, 2 if kind is Kind.PUBREL else 0, number.to_bytes(2) + properties + codes)


def _hang_up(client: Client | None, code: int) -> None:
    """Tell a client of MQTT 5 why, then close."""
    if client is not None:
        if client.version == 5:
            _write(client, Kind.DISCONNECT, 0, bytes((code, 0)))
        client.writer.close()


def _write(client: Client, kind: Kind, flags: int, content: bytes) -> None:
    if not client.writer.is_closing():
        client.writer.write(packet(kind, flags, content))


def _loopback(host: str) -> bool:
    with contextlib.suppress(ValueError):
        return ipaddress.ip_address(host).is_loopback
    return host == "localhost"


def main(arguments: list[str] | None = None) -> int:
    """Run a broker alone until interrupted."""
    parser = argparse.ArgumentParser(prog="python -m sim_hw.broker", description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--host", default="127.0.0.1", help="a loopback address (default %(default)s)")
    parser.add_argument("--port", type=int, default=1883, help="0: any free one (default %(default)s)")
    chosen = parser.parse_args(arguments)
    try:
        broker = EmbeddedBroker(chosen.host, chosen.port)
        broker.start()
    except (BrokerError, ValueError) as error:
        print(error, file=sys.stderr)
        return 1
    print(f"MQTT broker at {broker.host}:{broker.port}, Ctrl-C ends it", flush=True)
    signal.signal(signal.SIGINT, signal.default_int_handler)  # also as a background job, where it starts ignored
    with contextlib.suppress(KeyboardInterrupt):
        threading.Event().wait()
    broker.close()
    return 0


if __name__ == "__main__":
    sys.exit(main())
