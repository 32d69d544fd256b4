"""A simulated ADS1115, byte by byte: what the bus writes to it and reads from it.

Source for registers, codes and power-on values: ADS1115 data sheet (TI SBAS444).

    write   pointer | high byte | low byte        sets the register that the pointer names
    write   pointer                               then reads give that register
    read    high byte | low byte
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from sim_hw.clock import BenchClock

CONVERSION, CONFIG, LOW_THRESHOLD, HIGH_THRESHOLD = range(4)
REGISTER_BYTES = 2
POWER_ON = (0x0000, 0x8583, 0x8000, 0x7FFF)
READY_BIT = 0x8000
SINGLE_SHOT_BIT = 0x0100
LARGEST_CODE, SMALLEST_CODE = 32767, -32768
COUNTS = 32768.0

# MUX code -> (positive input, negative input or None for ground)
INPUTS = ((0, 1), (0, 3), (1, 3), (2, 3), (0, None), (1, None), (2, None), (3, None))
FULL_SCALE_V = (6.144, 4.096, 2.048, 1.024, 0.512, 0.256, 0.256, 0.256)
RATES_SPS = (8, 16, 32, 64, 128, 250, 475, 860)
CONVERSION_S = tuple(1.0 / rate for rate in RATES_SPS)

Input = Callable[[float, float], float]
"""End of a conversion in bench seconds, and how long it lasted -> mean volts against ground over it."""


def code_from_volts(volts: float, full_scale_v: float) -> int:
    """The signed code of one conversion, held at the ends of the range. One count is full_scale_v / 32768."""
    code = round(volts / full_scale_v * COUNTS)
    if SMALLEST_CODE <= code <= LARGEST_CODE:
        return code
    return LARGEST_CODE if code > LARGEST_CODE else SMALLEST_CODE


class Ads1115Chip:
    """One chip. `inputs`: four functions that give the volts at AIN0..AIN3.

    Faults, as plain switches: `silent` (does not acknowledge), `browned_out` (falls back to its power-on
    registers whenever it is told something), `never_ready` (a conversion that does not end), `codes_times` (every
    code is so many times what it should be: the chip's own reference drifted).
    """

    def __init__(self, clock: BenchClock, inputs: Sequence[Input]) -> None:
        self.inputs = list(inputs)
        self.silent = False
        self.browned_out = False
        self.never_ready = False
        self.codes_times = 1.0
        self._clock = clock
        self._pointer = CONVERSION
        self._ready_s = 0.0
        self.reset()

    def write(self, payload: bytes) -> None:
        """One write transaction. An empty one only asks whether the chip is there."""
        if not payload:
            return
        self._pointer = payload[0] & 0x03
        if len(payload) >= 3 and self._pointer != CONVERSION:
            self._set(self._pointer, payload[1] << 8 | payload[2])
        if self.browned_out:
            self.reset()

    def read(self) -> int:
        """The register that the pointer names, 0..65535.

        A look at a busy chip lasts until it is ready, so that polling costs one look; not in real time.
        """
        if self._converting:
            if self._pointer == CONFIG and (left_s := self._ready_s - self._clock.monotonic_s()) > 0.0:
                self._clock.last(left_s)
            self._catch_up()
        value = self._registers[self._pointer]
        if self._pointer == CONFIG:
            return value & ~READY_BIT if self._converting and value & SINGLE_SHOT_BIT else value | READY_BIT
        return value

    def give(self, count: int) -> bytes:
        """The bytes of a read: the register that the pointer names, high byte first, over and over."""
        register = self.read().to_bytes(REGISTER_BYTES, "big")
        return register if count == REGISTER_BYTES else (register * count)[:count]

    def reset(self) -> None:
        """Power-on registers; a conversion under way is lost. The pointer is left, as the next write sets it."""
        self._registers = list(POWER_ON)
        self._lasting_s = _conversion_s(self._registers[CONFIG])
        self._converting = False

    def _set(self, register: int, value: int) -> None:
        if register != CONFIG:
            self._registers[register] = value
            return
        if self._converting:
            self._catch_up()
        was_busy = self._converting and self._registers[CONFIG] & SINGLE_SHOT_BIT
        self._registers[CONFIG] = value
        self._lasting_s = _conversion_s(value)
        if not value & SINGLE_SHOT_BIT or (value & READY_BIT and not was_busy):
            self._converting = True
            self._ready_s = self._clock.monotonic_s() + self._lasting_s
        elif not was_busy:
            self._converting = False

    def _catch_up(self) -> None:
        """Finish what is due by now. A continuous chip starts again at once."""
        now_s = self._clock.monotonic_s()
        if now_s < self._ready_s:
            return
        if self.never_ready:
            self._ready_s = now_s + self._lasting_s
            return
        self._registers[CONVERSION] = self._convert(now_s) & 0xFFFF
        if self._registers[CONFIG] & SINGLE_SHOT_BIT:
            self._converting = False
        else:
            self._ready_s = now_s + self._lasting_s

    def _convert(self, now_s: float) -> int:
        config = self._registers[CONFIG]
        positive, negative = INPUTS[config >> 12 & 0x07]
        volts = self.inputs[positive](now_s, self._lasting_s)
        if negative is not None:
            volts -= self.inputs[negative](now_s, self._lasting_s)
        return code_from_volts(volts * self.codes_times, FULL_SCALE_V[config >> 9 & 0x07])


def _conversion_s(config: int) -> float:
    """How long a conversion takes with this configuration."""
    return CONVERSION_S[config >> 5 & 0x07]
