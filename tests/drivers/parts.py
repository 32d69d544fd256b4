"""Small parts to test drivers with: a clock that steps, a scripted ADS1115 on a bus, a rig that holds both."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from itertools import chain, repeat
from pathlib import Path
from typing import Any

from gpiozero.pins.mock import MockFactory

from drivers.rig import Clock

POWER_ON_CONFIG = 0x8583  # ADS1115 data sheet (TI SBAS444): the register after a reset
BUSY_BIT = 0x8000


class StepClock:
    """Time that moves only when somebody sleeps."""

    def __init__(self) -> None:
        self.now_s = 100.0
        self.slept: list[float] = []
        self.while_sleeping: Callable[[], None] = lambda: None

    def monotonic_s(self) -> float:
        return self.now_s

    def utc(self) -> datetime:
        return datetime(2026, 4, 1, tzinfo=UTC) + timedelta(seconds=self.now_s)

    def sleep(self, seconds: float) -> None:
        self.slept.append(seconds)
        self.now_s += seconds
        self.while_sleeping()


class ScriptedBus:
    """A bus with one ADS1115 that gives out `codes` in turn, the last one for ever.

    Switches: `missing` (nobody answers), `line_high` (every bit reads 1), `never_ready`, `lock_taken`,
    `brown_out_after` (conversions until the chip loses its supply in the middle of one), `poll_takes_s`.
    """

    def __init__(self, clock: StepClock, codes: list[int], address: int = 0x48) -> None:
        self.clock = clock
        self.address = address
        self.codes: Iterator[int] = chain(codes, repeat(codes[-1]))
        self.missing = self.line_high = self.never_ready = self.lock_taken = False
        self.brown_out_after: int | None = None
        self.poll_takes_s = 0.0
        self.transactions = 0
        self.configs: list[int] = []  # each that started a conversion
        self.started_s: list[float] = []  # when
        self._registers = {0: 0x0000, 1: POWER_ON_CONFIG, 2: 0x8000, 3: 0x7FFF}
        self._pointer = 0
        self._polls_left = 0

    def try_lock(self) -> bool:
        self.clock.now_s += self.poll_takes_s
        return not self.lock_taken

    def unlock(self) -> None:
        return None

    def scan(self) -> list[int]:
        return [] if self.missing else [self.address]

    def writeto(self, address: int, buffer: Any, *, start: int = 0, end: int | None = None) -> None:
        self._heard(address)
        self._take(bytes(buffer[start:end]))

    def readfrom_into(self, address: int, buffer: Any, *, start: int = 0, end: int | None = None) -> None:
        self._heard(address)
        self._give(buffer, start, len(buffer) if end is None else end)

    def writeto_then_readfrom(
        self,
        address: int,
        buffer_out: Any,
        buffer_in: Any,
        *,
        out_start: int = 0,
        out_end: int | None = None,
        in_start: int = 0,
        in_end: int | None = None,
    ) -> None:
        self._heard(address)
        self._take(bytes(buffer_out[out_start:out_end]))
        self._give(buffer_in, in_start, len(buffer_in) if in_end is None else in_end)

    def _heard(self, address: int) -> None:
        self.transactions += 1
        if self.missing or address != self.address:
            raise OSError(121, "Remote I/O error")

    def _take(self, payload: bytes) -> None:
        if payload:
            self._pointer = payload[0]
        if len(payload) == 3:
            self._registers[self._pointer] = payload[1] << 8 | payload[2]
            if self._pointer == 1 and self._registers[1] & BUSY_BIT:
                self._convert()

    def _convert(self) -> None:
        self.configs.append(self._registers[1])
        self.started_s.append(self.clock.now_s)
        self._polls_left = 2
        self._registers[0] = next(self.codes) & 0xFFFF
        if self.brown_out_after is not None and len(self.configs) > self.brown_out_after:
            self._registers = {0: 0x0000, 1: POWER_ON_CONFIG, 2: 0x8000, 3: 0x7FFF}

    def _give(self, buffer: Any, start: int, end: int) -> None:
        value = self._registers[self._pointer]
        if self._pointer == 1 and (self._polls_left > 0 or self.never_ready):
            self._polls_left -= 1
            value &= ~BUSY_BIT
        if self.line_high:
            value = 0xFFFF
        buffer[start:end] = value.to_bytes(2, "big")[: end - start]


class StepRig:
    """A rig of these parts, in process."""

    in_process = True

    def __init__(self, one_wire_root: Path = Path("nowhere"), codes: list[int] | None = None) -> None:
        self.time = StepClock()
        self.clock: Clock = self.time
        self.one_wire_root = one_wire_root
        self.bus = ScriptedBus(self.time, codes or [0])
        self.pins = MockFactory()
        self.buses_asked: list[int] = []

    def i2c(self, bus: int) -> ScriptedBus:
        self.buses_asked.append(bus)
        return self.bus

    def pin_factory(self) -> MockFactory:
        return self.pins

    def close(self) -> None:
        self.pins.reset()
