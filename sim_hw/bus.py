"""A simulated I2C bus with busio's methods. Chips that do not answer raise OSError, as Linux does."""

from __future__ import annotations

import errno
from collections.abc import Callable, Mapping
from math import inf
from typing import Any

from sim_hw.ads1115_chip import Ads1115Chip
from sim_hw.air_chip import AirChip
from sim_hw.clock import BenchClock

BIT_S = 1.0 / 400_000.0  # fast mode, 400 kHz
BITS_PER_BYTE = 9  # eight and the acknowledge
BYTE_S = BITS_PER_BYTE * BIT_S
REFUSED_LOCK_S = 0.01  # asking for a lock that another holds, again and again
ALL_HIGH = b"\xff"


class Bus:
    """One bus and the chips on it, by address: the converters, and the sensors in the air.

    Faults, as plain switches: `held` (another master keeps the bus, so no lock is given), `line_high` (the data
    line is stuck high: writes seem to arrive, every bit read is 1). `let_happen` is called when the lock is asked
    for at or after `next_change_s`: a chip that is silent until then cannot bring that about by itself.
    """

    def __init__(
        self, clock: BenchClock, chips: Mapping[int, Ads1115Chip], air: Mapping[int, AirChip] | None = None
    ) -> None:
        self.chips = dict(chips)
        self._at: dict[int, Ads1115Chip | AirChip] = {**(air or {}), **self.chips}
        self.held = False
        self.line_high = False
        self.next_change_s = inf
        self.let_happen: Callable[[], None] = lambda: None
        self._clock = clock
        self._locked = False

    def try_lock(self) -> bool:
        """Whether the bus is now the caller's."""
        if self.next_change_s != inf and self._clock.monotonic_s() >= self.next_change_s:
            self.let_happen()
        if self.held or self._locked:
            self._clock.spend(REFUSED_LOCK_S)
            return False
        self._locked = True
        return True

    def unlock(self) -> None:
        """Give the bus back."""
        self._locked = False

    def scan(self) -> list[int]:
        """The addresses that answer."""
        return sorted(address for address, chip in self._at.items() if not chip.silent)

    def writeto(self, address: int, buffer: Any, *, start: int = 0, end: int | None = None) -> None:
        """One write transaction of buffer[start:end]. Raises OSError where no chip answers."""
        payload = buffer[start:end]
        self._addressed(address, len(payload) + 1).write(payload)

    def readfrom_into(self, address: int, buffer: Any, *, start: int = 0, end: int | None = None) -> None:
        """One read transaction into buffer[start:end]. Raises OSError where no chip answers."""
        count = (len(buffer) if end is None else end) - start
        buffer[start : start + count] = self._read(self._addressed(address, count + 1), count)

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
        """A write and a read with no stop between them. Raises OSError where no chip answers."""
        payload = buffer_out[out_start:out_end]
        count = (len(buffer_in) if in_end is None else in_end) - in_start
        chip = self._addressed(address, len(payload) + count + 2)
        chip.write(payload)
        buffer_in[in_start : in_start + count] = self._read(chip, count)

    def _addressed(self, address: int, byte_count: int) -> Ads1115Chip | AirChip:
        """The chip that answers, once so many bytes have gone over the wires."""
        self._clock.spend(byte_count * BYTE_S)
        chip = self._at.get(address)
        if chip is None or chip.silent:
            raise OSError(errno.EREMOTEIO, f"no chip answers at address 0x{address:02x}")
        return chip

    def _read(self, chip: Ads1115Chip | AirChip, count: int) -> bytes:
        """The bytes that a chip gives, as the data line lets them through."""
        given = chip.give(count)
        return ALL_HIGH * count if self.line_high else given
