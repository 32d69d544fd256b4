"""A folder laid out like /sys/bus/w1/devices, with one sub-folder for each simulated DS18B20.

    28-0316a2795cff/w1_slave      72 01 4b 46 7f ff 0e 10 57 : crc=57 YES
                                  72 01 4b 46 7f ff 0e 10 57 t=23125
    28-0316a2795cff/temperature   23125

Source: the DS18B20 data sheet (Maxim 19-7487) for the nine bytes, the kernel's w1_therm for the texts.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

STEPS_PER_C = 16  # 12-bit resolution
FIXED_BYTES = (0x4B, 0x46, 0x7F, 0xFF, 0x0C, 0x10)  # alarms, resolution, reserved
COLDEST_C, HOTTEST_C = -55.0, 125.0
CRC_POLYNOMIAL = 0x8C  # x^8 + x^5 + x^4 + 1, least bit first


def crc8(payload: Sequence[int]) -> int:
    """The one-wire checksum of these bytes."""
    crc = 0
    for byte in payload:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ CRC_POLYNOMIAL if crc & 1 else crc >> 1
    return crc


def texts(celsius: float | None) -> tuple[str, str]:
    """What `w1_slave` and `temperature` hold at a temperature; None is a sensor that does not answer."""
    if celsius is None:
        nothing = " ".join(["ff"] * 9)
        return f"{nothing} : crc=c9 NO\n{nothing} t=-62\n", ""
    raw = round(min(HOTTEST_C, max(COLDEST_C, celsius)) * STEPS_PER_C)
    scratchpad = [raw & 0xFF, raw >> 8 & 0xFF, *FIXED_BYTES]
    crc = crc8(scratchpad)
    shown = " ".join(f"{byte:02x}" for byte in (*scratchpad, crc))
    thousandths = int(raw * 1000 / STEPS_PER_C)
    return f"{shown} : crc={crc:02x} YES\n{shown} t={thousandths}\n", f"{thousandths}\n"


class SensorFolder:
    """The folder of one sensor. Its files stay open, so that bringing them up to date is cheap."""

    def __init__(self, root: Path, sensor_id: str) -> None:
        folder = root / sensor_id
        folder.mkdir(parents=True)
        self._open = [
            os.open(folder / name, os.O_RDWR | os.O_CREAT, 0o644) for name in ("w1_slave", "temperature")
        ]
        self._shown: tuple[str, str] | None = None

    def show(self, celsius: float | None) -> None:
        """Write what the sensor would answer now."""
        wanted = texts(celsius)
        if wanted == self._shown:
            return
        for file, text in zip(self._open, wanted, strict=True):
            os.pwrite(file, text.encode("ascii"), 0)
            os.ftruncate(file, len(text))
        self._shown = wanted

    def close(self) -> None:
        """Twice is harmless."""
        while self._open:
            os.close(self._open.pop())
