"""The packets of MQTT 3.1.1 and 5 in bytes, as the embedded broker reads and writes them.

Source: OASIS MQTT 3.1.1 and MQTT 5.0, chapters 1.5 and 2 (data types, packet format), 4.7 (topics).
"""

from __future__ import annotations

import asyncio
from dataclasses import dataclass
from enum import IntEnum

LARGEST_PACKET = 262_144  # bytes


class PacketError(ValueError):
    """What a client sent is not MQTT, or not allowed; it is dropped. `code` is MQTT 5's word for it."""

    def __init__(self, message: str, code: int = 0x81) -> None:
        super().__init__(message)
        self.code = code


class Kind(IntEnum):
    """Packet types, as in the upper half of the first byte."""

    CONNECT = 1
    CONNACK = 2
    PUBLISH = 3
    PUBACK = 4
    PUBREC = 5
    PUBREL = 6
    PUBCOMP = 7
    SUBSCRIBE = 8
    SUBACK = 9
    UNSUBSCRIBE = 10
    UNSUBACK = 11
    PINGREQ = 12
    PINGRESP = 13
    DISCONNECT = 14


@dataclass(frozen=True, slots=True)
class Message:
    """One message. properties: those of MQTT 5 that travel with it, encoded."""

    topic: str
    payload: bytes
    qos: int
    retain: bool
    properties: bytes = b""


class Body:
    """The bytes of one packet after its length, read from front to back. Raises PacketError past the end."""

    def __init__(self, content: bytes) -> None:
        self._content, self._at = content, 0

    @property
    def left(self) -> int:
        return len(self._content) - self._at

    def take(self, count: int) -> bytes:
        if count > self.left:
            raise PacketError("the packet is shorter than it says")
        self._at += count
        return self._content[self._at - count : self._at]

    def rest(self) -> bytes:
        return self.take(self.left)

    def byte(self) -> int:
        return self.take(1)[0]

    def number(self) -> int:
        return int.from_bytes(self.take(2))

    def binary(self) -> bytes:
        return self.take(self.number())

    def text(self) -> str:
        try:
            text = self.binary().decode()
        except UnicodeDecodeError as error:
            raise PacketError("a text is not UTF-8") from error
        if "\0" in text:
            raise PacketError("a text holds the character 0")
        return text

    def length(self) -> int:
        """A variable byte integer."""
        value = 0
        for position in range(4):
            byte = self.byte()
            value |= (byte & 0x7F) << 7 * position
            if byte < 0x80:
                return value
        raise PacketError("a length of more than four bytes")

    def properties(self, refused: int = 0) -> bytes:
        """The properties as they stand; one that this broker does not do is refused."""
        content = self.take(self.length())
        if refused in property_values(content):
            raise PacketError(f"property {refused} is not supported", 0x82)
        return content


_SIZES = dict.fromkeys((0x01, 0x17, 0x19, 0x24, 0x25, 0x28, 0x29, 0x2A), 1)
_SIZES |= dict.fromkeys((0x13, 0x21, 0x22, 0x23), 2) | dict.fromkeys((0x02, 0x11, 0x18, 0x27), 4)
_TEXTS = dict.fromkeys((0x03, 0x08, 0x09, 0x12, 0x15, 0x16, 0x1A, 0x1C, 0x1F), 1) | {0x26: 2}


def property_values(content: bytes) -> dict[int, int]:
    """Numbers of the properties by identifier; those that are texts count as 0. Raises PacketError."""
    body, found = Body(content), {}
    while body.left:
        identifier = body.length()
        found[identifier] = 0
        if identifier in _SIZES:
            found[identifier] = int.from_bytes(body.take(_SIZES[identifier]))
        elif identifier in _TEXTS:
            for _ in range(_TEXTS[identifier]):
                body.binary()
        elif identifier == 0x0B:
            body.length()
        else:
            raise PacketError(f"unknown property {identifier}")
    return found


async def read_packet(reader: asyncio.StreamReader) -> tuple[Kind, int, Body]:
    """The next packet: its kind, its flags, what follows. Raises PacketError, or EOFError at the end."""
    first = (await reader.readexactly(1))[0]
    length = 0
    for position in range(4):
        byte = (await reader.readexactly(1))[0]
        length |= (byte & 0x7F) << 7 * position
        if byte < 0x80:
            break
    else:
        raise PacketError("a length of more than four bytes")
    if length > LARGEST_PACKET:
        raise PacketError(f"{length} bytes are more than {LARGEST_PACKET}", 0x95)
    try:
        kind = Kind(first >> 4)
    except ValueError as error:
        raise PacketError(f"unknown packet type {first >> 4}") from error
    return kind, first & 0x0F, Body(await reader.readexactly(length))


def matches(wanted: str, topic: str) -> bool:
    """Whether a filter with `+` and `#` takes in a topic; topics that begin with `$` only by name."""
    if topic.startswith("$") and wanted[0] in "+#":
        return False
    levels, parts = wanted.split("/"), topic.split("/")
    for index, level in enumerate(levels):
        if level == "#":
            return True
        if index >= len(parts) or level not in ("+", parts[index]):
            return False
    return len(levels) == len(parts)


def packet(kind: Kind, flags: int, content: bytes) -> bytes:
    """One whole packet."""
    return bytes((kind << 4 | flags,)) + length_bytes(len(content)) + content


def length_bytes(value: int) -> bytes:
    """A variable byte integer."""
    encoded = bytearray()
    while True:
        value, digit = divmod(value, 128)
        encoded.append(digit | (0x80 if value else 0))
        if not value:
            return bytes(encoded)


def text_bytes(text: str) -> bytes:
    """A text with its length before it."""
    encoded = text.encode()
    return len(encoded).to_bytes(2) + encoded
