"""A simulated SHT3x on the bus: it answers one measurement, 15 ms after it was asked for one.

Source of bytes, times and checksum: SHT3x-DIS data sheet (Sensirion), from memory.
"""

from __future__ import annotations

import errno
from collections.abc import Callable, Sequence

from sim_hw.clock import BenchClock

MEASURE = bytes([0x24, 0x00])
MEASURING_S = 0.0125
Air = Callable[[], "tuple[float, float] | None"]  # °C and % as the sensor has them; None: pulled out


def checksum(payload: Sequence[int]) -> int:
    """CRC-8 of these bytes, polynomial 0x31, begun at 0xFF."""
    crc = 0xFF
    for byte in payload:
        crc ^= byte
        for _ in range(8):
            crc = (crc << 1 ^ 0x31 if crc & 0x80 else crc << 1) & 0xFF
    return crc


class AirChip:
    """One sensor. `air` says what it is in."""

    def __init__(self, clock: BenchClock, air: Air) -> None:
        self._clock = clock
        self._air = air
        self._ready_s: float | None = None

    @property
    def silent(self) -> bool:
        """Whether nobody acknowledges."""
        return self._air() is None

    def write(self, payload: bytes) -> None:
        """A command. Only one is known; another is not acknowledged."""
        if payload and bytes(payload) != MEASURE:
            raise OSError(errno.EREMOTEIO, "the sensor knows no such command")
        if payload:
            self._ready_s = self._clock.monotonic_s() + MEASURING_S

    def give(self, count: int) -> bytes:
        """The bytes of a read. Not acknowledged while it measures, or where it was not asked to."""
        air = self._air()
        if air is None or self._ready_s is None or self._clock.monotonic_s() < self._ready_s:
            raise OSError(errno.EREMOTEIO, "the sensor has nothing to say yet")
        self._ready_s = None
        celsius, percent = air
        answer: list[int] = []
        for share in ((celsius + 45.0) / 175.0, percent / 100.0):
            word = round(min(1.0, max(0.0, share)) * 65535).to_bytes(2, "big")
            answer += [*word, checksum(word)]
        return bytes(answer[:count])
