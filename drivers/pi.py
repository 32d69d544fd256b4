"""The real rig: a Raspberry Pi's clock, I2C buses, GPIO lines and one-wire folder.

    [rig]
    open = "drivers.pi:open_rig"

Nothing is opened before it is asked for, and only then is a library that exists on a Pi alone imported.
Pumps are driven active-high only: the pin library claims a line as low before it writes the wanted state,
which would be a short "on" for a board that turns on at low.
"""

from __future__ import annotations

import fcntl
import os
import tempfile
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from drivers.barriers import missing_release
from drivers.box import ROOT
from drivers.rig import Clock, RigError

BOOT_ID_FILE: Final = Path("/proc/sys/kernel/random/boot_id")
SYNCHRONISED_FILE: Final = Path("/run/systemd/timesync/synchronized")  # made by systemd-timesyncd
ONE_WIRE_ROOT: Final = Path("/sys/bus/w1/devices")

# ioctl numbers from the kernel's uapi/linux/i2c-dev.h; the time-out is in units of 10 ms.
I2C_RETRIES: Final = 0x0701
I2C_TIMEOUT: Final = 0x0702
RETRIES: Final = 1
TIMEOUT_10MS: Final = 5  # a transaction takes under 1 ms; the kernel's own default of 1 s would hold up a pass
FIRST_ADDRESS, LAST_ADDRESS = 0x08, 0x77  # the others are reserved


class PiClock:
    """Time since boot, sleep included, and the wall clock with what is known of its truth."""

    def __init__(self, boot_id_file: Path = BOOT_ID_FILE, synchronised_file: Path = SYNCHRONISED_FILE) -> None:
        self._boot_id_file = boot_id_file
        self._synchronised_file = synchronised_file

    def monotonic_s(self) -> float:
        """Seconds since boot."""
        return time.clock_gettime(time.CLOCK_BOOTTIME)

    def utc(self) -> datetime:
        """The wall clock, aware. For records only."""
        return datetime.now(UTC)

    def sleep(self, seconds: float) -> None:
        """Wait."""
        time.sleep(seconds)

    def boot_id(self) -> str:
        """The kernel's name for this boot, which `monotonic_s` counts from."""
        return self._boot_id_file.read_text(encoding="ascii").strip()

    def utc_trusted(self) -> bool:
        """Whether the wall clock has been synchronised since boot."""
        return self._synchronised_file.exists()


class LinuxI2C:
    """busio's methods over the kernel's I2C device, no call without an end."""

    def __init__(
        self, bus: int, open_device: Callable[[int], Any] | None = None, ioctl: Callable[..., Any] = fcntl.ioctl
    ) -> None:
        """bus: the 1 of /dev/i2c-1. open_device: gives an object like smbus2's SMBus, at the first call."""
        self._bus = bus
        self._open_device = open_device or _open_smbus
        self._ioctl = ioctl
        self._device: Any = None
        self._locked = False

    def try_lock(self) -> bool:
        """Whether the bus is now the caller's."""
        taken, self._locked = not self._locked, True
        return taken

    def unlock(self) -> None:
        """Give the bus back."""
        self._locked = False

    def scan(self) -> list[int]:
        """The addresses that answer a read of one byte."""
        return [address for address in range(FIRST_ADDRESS, LAST_ADDRESS + 1) if self._answers(address)]

    def writeto(self, address: int, buffer: Any, *, start: int = 0, end: int | None = None) -> None:
        """Write buffer[start:end]. Raises OSError where nothing answers, RigError where there is no such bus."""
        message = _messages()
        self._transfer(message.write(address, bytes(buffer[start:end])))

    def readfrom_into(self, address: int, buffer: Any, *, start: int = 0, end: int | None = None) -> None:
        """Read into buffer[start:end]. Raises as writeto."""
        stop = len(buffer) if end is None else end
        read = _messages().read(address, stop - start)
        self._transfer(read)
        buffer[start:stop] = bytes(read)

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
        """Write, then read with no stop between. Raises as writeto."""
        stop = len(buffer_in) if in_end is None else in_end
        message = _messages()
        read = message.read(address, stop - in_start)
        self._transfer(message.write(address, bytes(buffer_out[out_start:out_end])), read)
        buffer_in[in_start:stop] = bytes(read)

    def close(self) -> None:
        """Give the device back. Twice is harmless."""
        device, self._device = self._device, None
        if device is not None:
            device.close()

    def _transfer(self, *messages: Any) -> None:
        if self._device is None:
            self._device = self._opened()
        self._device.i2c_rdwr(*messages)

    def _opened(self) -> Any:
        try:
            device = self._open_device(self._bus)
            self._ioctl(device.fd, I2C_TIMEOUT, TIMEOUT_10MS)
            self._ioctl(device.fd, I2C_RETRIES, RETRIES)
        except OSError as error:  # not left as an OSError, which the ADC library takes for a missing chip
            raise RigError(
                f"I2C bus {self._bus} (/dev/i2c-{self._bus}) cannot be opened ({error}): switch I2C on "
                "(`sudo raspi-config nonint do_i2c 0`) and put the service's user in the group i2c"
            ) from error
        return device

    def _answers(self, address: int) -> bool:
        with suppress(OSError):
            self.readfrom_into(address, bytearray(1))
            return True
        return False


class PiRig:
    """A Raspberry Pi. Its pins belong to the whole machine, so the pump keeper can be a process of its own."""

    in_process = False
    one_wire_root = ONE_WIRE_ROOT

    def __init__(self, root: Path = ROOT) -> None:
        self.clock: Clock = PiClock()
        self._root = root
        self._buses: dict[int, LinuxI2C] = {}
        self._pins: Any = None
        self._pipes: tempfile.TemporaryDirectory[str] | None = None

    def i2c(self, bus: int) -> LinuxI2C:
        """The bus /dev/i2c-`bus`, opened at its first transaction."""
        return self._buses.setdefault(bus, LinuxI2C(bus))

    def pin_factory(self) -> Any:
        """gpiozero's factory over lgpio. Raises RigError without that library, or without GPIO lines."""
        if self._pins is None:
            # lgpio keeps named pipes in its working folder, by default the current one, which a service may
            # not write to and which two processes must not share. (From memory; seen on no Pi yet.)
            self._pipes = tempfile.TemporaryDirectory(prefix="evenwater-gpio-")
            os.environ["LG_WD"] = self._pipes.name
            self._pins = _lgpio_factory()
        return self._pins

    def missing_barriers(self) -> tuple[str, ...]:
        """One sentence where a killed process would leave its pumps on, or where that cannot be seen."""
        return missing_release(self._root)

    def close(self) -> None:
        """Give everything back. Twice is harmless."""
        for bus in self._buses.values():
            bus.close()
        if self._pins is not None:
            self._pins.close()
            self._pins = None
        if self._pipes is not None:
            self._pipes.cleanup()
            self._pipes = None


def open_rig(table: Mapping[str, Any]) -> PiRig:
    """The Raspberry Pi this runs on. Raises RigError for any key beside `open`: there is nothing to set."""
    unknown = sorted(set(table) - {"open"})
    if unknown:
        raise RigError(f"[rig] {', '.join(unknown)}: unknown with drivers.pi, which takes no key but open")
    return PiRig()


def _lgpio_factory() -> Any:
    try:
        from gpiozero.pins.lgpio import LGPIOFactory
    except ImportError as error:
        raise RigError(
            f"GPIO lines need the library lgpio ({error}): on the Raspberry Pi, `pip install 'evenwater[pi]'`"
        ) from error
    try:
        return LGPIOFactory()
    except Exception as error:  # lgpio's own error is a plain Exception
        raise RigError(f"no GPIO lines here ({error}): is the user in the group gpio?") from error


def _open_smbus(bus: int) -> Any:
    from smbus2 import SMBus

    return SMBus(bus)


def _messages() -> Any:
    from smbus2 import i2c_msg

    return i2c_msg
