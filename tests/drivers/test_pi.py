"""The Raspberry Pi's rig, with stand-ins for its parts; what needs real ones is skipped elsewhere."""

from __future__ import annotations

import subprocess
import sys
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from drivers.ads1115 import Ads1115, mux_of
from drivers.pi import I2C_RETRIES, I2C_TIMEOUT, LinuxI2C, PiClock, PiRig, open_rig
from drivers.probe import AdcError
from drivers.rig import RigError, boot_id_of, missing_barriers, utc_is_trusted
from drivers.rig import open_rig as open_by_name
from tests.drivers.parts import ScriptedBus, StepClock, StepRig


class FakeSmbus:
    """Takes smbus2's messages and plays them to a scripted chip, as the kernel's I2C_RDWR does."""

    fd = 42

    def __init__(self, chip: ScriptedBus) -> None:
        self.chip = chip
        self.closed = 0

    def i2c_rdwr(self, *messages: Any) -> None:
        for message in messages:
            if message.flags & 1:  # I2C_M_RD
                got = bytearray(message.len)
                self.chip.readfrom_into(message.addr, got)
                for index, byte in enumerate(got):
                    message.buf[index] = byte
            else:
                self.chip.writeto(message.addr, bytes(message))

    def close(self) -> None:
        self.closed += 1


class Wires:
    """A LinuxI2C on a FakeSmbus, with what it asked the kernel for."""

    def __init__(self, codes: list[int]) -> None:
        self.chip = ScriptedBus(StepClock(), codes)
        self.smbus = FakeSmbus(self.chip)
        self.opened: list[int] = []
        self.asked: list[tuple[int, int, int]] = []
        self.i2c = LinuxI2C(1, self._open, lambda *asked: self.asked.append(asked))

    def _open(self, bus: int) -> FakeSmbus:
        self.opened.append(bus)
        return self.smbus


def test_the_converter_works_through_kernel_messages() -> None:
    """Volts through the ADC library, smbus2's own messages and back, byte by byte."""
    wires = Wires([-8000, -8000, -8000])
    chip = Ads1115(i2c=wires.i2c, clock=wires.chip.clock, bus_number=1, address=0x48)
    assert chip.volts(mux_of(0, 1), 4.096).volts == pytest.approx(-1.0)
    assert wires.opened == [1]


def test_asks_the_kernel_for_short_calls_before_the_first() -> None:
    """A call may not hang: a time-out of 50 ms and one repetition, set once, when the device is opened."""
    wires = Wires([0])
    assert wires.opened == []
    for _ in range(2):
        wires.i2c.writeto(0x48, b"\x01")
    assert wires.asked == [(42, I2C_TIMEOUT, 5), (42, I2C_RETRIES, 1)]
    assert (I2C_TIMEOUT, I2C_RETRIES) == (0x0702, 0x0701)  # linux/i2c-dev.h


def test_parts_of_buffers_are_read_and_written() -> None:
    """start and end bound what goes out and what comes in, as with busio."""
    wires = Wires([0])
    wires.i2c.writeto(0x48, b"\xff\x02\x12\x34\xff", start=1, end=4)
    got = bytearray(b"....")
    wires.i2c.writeto_then_readfrom(0x48, b"\xff\x02", got, out_start=1, in_start=1, in_end=3)
    assert bytes(got) == b".\x12\x34."
    wires.i2c.readfrom_into(0x48, got, start=2, end=4)
    assert bytes(got) == b".\x12\x12\x34"


def test_nobody_at_the_address_is_an_oserror() -> None:
    """As busio does, so that the library and the driver can tell."""
    wires = Wires([0])
    with pytest.raises(OSError, match="Remote I/O"):
        wires.i2c.readfrom_into(0x49, bytearray(2))
    assert wires.i2c.scan() == [0x48]


def test_a_missing_bus_says_how_to_switch_it_on() -> None:
    """No /dev/i2c-97: the reading that needs it names the bus, and raspi-config."""
    clock = StepClock()
    chip = Ads1115(i2c=LinuxI2C(97), clock=clock, bus_number=97, address=0x48)
    with pytest.raises(AdcError, match=r"/dev/i2c-97\) cannot be opened .*raspi-config"):
        chip.volts(mux_of(0), 4.096)


def test_the_lock_is_one_mans_at_a_time() -> None:
    """A taken bus is not taken again until it is given back."""
    i2c = Wires([0]).i2c
    assert [i2c.try_lock(), i2c.try_lock()] == [True, False]
    i2c.unlock()
    assert i2c.try_lock()


def test_closing_gives_the_device_back_once() -> None:
    """Twice is harmless, and never opened is too."""
    wires = Wires([0])
    wires.i2c.close()
    wires.i2c.writeto(0x48, b"\x01")
    wires.i2c.close()
    wires.i2c.close()
    assert wires.smbus.closed == 1


def test_the_clock_knows_its_boot_and_whether_the_wall_clock_is_true(tmp_path: Path) -> None:
    """The boot's name from the kernel; trusted once the time daemon has left its mark."""
    boot_id, synchronised = tmp_path / "boot_id", tmp_path / "synchronized"
    boot_id.write_text("8f3c-1\n", encoding="ascii")
    clock = PiClock(boot_id, synchronised)
    assert boot_id_of(clock, "fresh") == "8f3c-1"
    assert not utc_is_trusted(clock)
    synchronised.touch()
    assert utc_is_trusted(clock)


def test_the_clock_runs_forward_in_utc() -> None:
    """Seconds never go back, and the wall clock is aware of its zone."""
    clock = PiClock()
    first_s = clock.monotonic_s()
    clock.sleep(0.001)
    assert clock.monotonic_s() - first_s >= 0.001
    assert clock.utc().utcoffset() == timedelta(0)


def test_opens_by_name_and_refuses_unknown_keys() -> None:
    """The table takes `open` and nothing else."""
    rig = open_by_name({"open": "drivers.pi:open_rig"})
    assert not rig.in_process
    assert rig.one_wire_root == Path("/sys/bus/w1/devices")
    assert rig.i2c(1) is rig.i2c(1)
    rig.close()
    rig.close()
    with pytest.raises(RigError, match=r"\[rig\] active_low, chip: unknown"):
        open_rig({"open": "drivers.pi:open_rig", "chip": 4, "active_low": True})


@pytest.mark.parametrize(
    ("parameters", "missing"),
    [
        ({}, True),
        ({"pinctrl_bcm2835": "Y"}, True),
        ({"pinctrl_bcm2835": "N"}, False),
        ({"pinctrl_bcm2835": "N", "pinctrl_rp1": "Y"}, True),
    ],
)
def test_a_kernel_that_keeps_outputs_is_a_missing_barrier(
    tmp_path: Path, parameters: dict[str, str], missing: bool
) -> None:
    """H2: only a kernel that says it lets go of a dead process's outputs counts as one."""
    for module, value in parameters.items():
        folder = tmp_path / "sys/module" / module / "parameters"
        folder.mkdir(parents=True)
        (folder / "persist_gpio_outputs").write_text(f"{value}\n", encoding="ascii")
    said = missing_barriers(PiRig(root=tmp_path))
    assert bool(said) is missing
    assert all("dtparam=strict_gpiod" in sentence for sentence in said)


def test_a_rig_that_says_nothing_misses_no_barrier() -> None:
    """Pins of a simulated bench end with their process."""
    assert missing_barriers(StepRig()) == ()


def test_pins_without_their_library_say_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    """No lgpio: one line with the command, and closing is harmless."""
    monkeypatch.setitem(sys.modules, "lgpio", None)
    monkeypatch.delitem(sys.modules, "gpiozero.pins.lgpio", raising=False)
    rig = PiRig()
    with pytest.raises(RigError, match=r"pip install 'evenwater\[pi\]'"):
        rig.pin_factory()
    rig.close()


def test_every_module_imports_without_pi_libraries() -> None:
    """A desk machine has none of the Pi's own libraries and still loads every driver."""
    modules = [f"drivers.{path.stem}" for path in Path("drivers").glob("*.py") if path.stem != "__init__"]
    code = (
        "import sys\n"
        "for name in ('lgpio', 'RPi', 'RPi.GPIO', 'pigpio', 'smbus2', 'spidev', 'board'):\n"
        "    sys.modules[name] = None\n"
        f"import {', '.join(modules)}\n"
        "assert not [name for name in sys.modules if name.split('.')[0] in ('daemon', 'sim_hw', 'config')]\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
    assert len(modules) > 10


def test_pins_on_a_real_pi() -> None:
    """On a Raspberry Pi the factory opens, and finds the board."""
    model = Path("/proc/device-tree/model")
    if not model.exists() or "Raspberry Pi" not in model.read_text(encoding="ascii", errors="replace"):
        pytest.skip("needs a Raspberry Pi with lgpio")
    rig = PiRig()
    assert rig.pin_factory().board_info.model
    rig.close()
