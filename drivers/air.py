"""Air temperature and humidity: the SHT30, SHT31 and SHT35, by their registers on the I2C bus.

    write   0x24 0x00                                      one measurement, of high repeatability, no stretching
    read    temperature high, low, CRC | humidity high, low, CRC      after 15 ms; before that, not acknowledged

Source of command, times, formulas and CRC: SHT3x-DIS data sheet (Sensirion), sections 2 and 4, from memory.
"""

from __future__ import annotations

from typing import ClassVar, Final

from pydantic import Field

from drivers.bus import BusTimeout, DeadlineBus
from drivers.probe import Fault, Quantity, Sample, SensorError
from drivers.rig import I2C, Clock
from drivers.wiring import Wiring

MEASURE: Final = bytes([0x24, 0x00])
MEASURING_S: Final = 0.016  # 15 ms at most, for high repeatability
ANSWER_BYTES: Final = 6
FULL_COUNT: Final = 65535.0
WITHIN_S, TRANSACTIONS = 0.5, 100  # a bus that others hold is given up after this
LOCK_EVERY_S: Final = 0.002
CRC_POLYNOMIAL, CRC_START = 0x31, 0xFF


class Sht3xWiring(Wiring):
    """Where the sensor is. One sensor serves a probe for temperature and one for humidity."""

    measures: ClassVar[str]
    i2c_bus: int = Field(default=1, ge=0, le=31, description="which I²C bus")
    address: int = Field(default=0x44, ge=0x44, le=0x45, description="0x44, or 0x45 where its ADDR pin is high")

    def claims(self) -> frozenset[str]:
        """What of which sensor, as `sht3x1:0x44:humidity`."""
        return frozenset({f"sht3x{self.i2c_bus}:0x{self.address:02x}:{self.measures}"})


class Sht3xTemperatureWiring(Sht3xWiring):
    """Its thermometer, in the shade and out of the spray."""

    measures: ClassVar[str] = "temperature"


class Sht3xHumidityWiring(Sht3xWiring):
    """Its hygrometer, in the shade and out of the spray."""

    measures: ClassVar[str] = "humidity"


class Sht3x:
    """One sensor, for one of its two quantities: °C of the air, or relative humidity in %."""

    def __init__(self, *, quantity: Quantity, wiring: Sht3xWiring, i2c: I2C, clock: Clock) -> None:
        self.quantity = quantity
        self._bus = DeadlineBus(i2c, clock)
        self._clock = clock
        self._number, self._address = wiring.i2c_bus, wiring.address

    def sample(self) -> Sample:
        """°C or %, now. Raises SensorError: no answer, a wrong checksum."""
        answer = bytearray(ANSWER_BYTES)
        self._bus.allow(within_s=WITHIN_S, transactions=TRANSACTIONS)
        try:
            self._lock()
            try:
                self._bus.writeto(self._address, MEASURE)
            finally:
                self._bus.unlock()
            self._clock.sleep(MEASURING_S)
            self._lock()
            try:
                self._bus.readfrom_into(self._address, answer)
            finally:
                self._bus.unlock()
        except BusTimeout as error:
            raise self._error(Fault.TIMED_OUT, f"is not reached ({error})") from error
        except (OSError, ValueError) as error:  # ValueError: there is no such bus
            raise self._error(Fault.NO_ANSWER, f"does not answer ({error})") from error
        return Sample(self.quantity, self._clock.monotonic_s(), self._signal(bytes(answer)))

    def close(self) -> None:
        """Nothing to give back: the bus is shared."""

    def _lock(self) -> None:
        while not self._bus.try_lock():
            self._clock.sleep(LOCK_EVERY_S)

    def _signal(self, answer: bytes) -> float:
        for pair in (answer[:3], answer[3:]):
            if crc8(pair[:2]) != pair[2]:
                raise self._error(Fault.CHECKSUM, f"fails its checksum ({answer.hex(' ')})")
        if self.quantity is Quantity.AIR_TEMPERATURE:
            return celsius_of(int.from_bytes(answer[:2], "big"))
        return humidity_of(int.from_bytes(answer[3:5], "big"))

    def _error(self, fault: Fault, what: str) -> SensorError:
        return SensorError(
            fault,
            f"SHT3x at address 0x{self._address:02x} on I2C bus {self._number} {what}: look at its supply, the "
            f"SDA and SCL wires and its ADDR pin; `i2cdetect -y {self._number}` should show {self._address:02x}",
        )


def celsius_of(count: int) -> float:
    """°C of the air. count: 0..65535. Source: SHT3x-DIS data sheet, section 4.13."""
    return -45.0 + 175.0 * count / FULL_COUNT


def humidity_of(count: int) -> float:
    """Relative humidity in %. count: 0..65535. Source: SHT3x-DIS data sheet, section 4.13."""
    return 100.0 * count / FULL_COUNT


def crc8(payload: bytes) -> int:
    """The sensor's checksum: x⁸ + x⁵ + x⁴ + 1, begun at 0xFF, most significant bit first."""
    crc = CRC_START
    for byte in payload:
        crc ^= byte
        for _ in range(8):
            crc = (crc << 1 ^ CRC_POLYNOMIAL if crc & 0x80 else crc << 1) & 0xFF
    return crc
