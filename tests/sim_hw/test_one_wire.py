"""The one-wire folder."""

from __future__ import annotations

from pathlib import Path

import pytest

from sim_hw.one_wire import SensorFolder, crc8, texts

# The power-on scratchpad of a DS18B20, +85 °C, as the kernel shows it (data sheet Maxim 19-7487: 0550h)
POWER_ON = [0x50, 0x05, 0x4B, 0x46, 0x7F, 0xFF, 0x0C, 0x10]
# Temperature codes of the data sheet's table
CODES = [(125.0, "d0 07"), (85.0, "50 05"), (25.0625, "91 01"), (0.5, "08 00"), (0.0, "00 00"), (-0.5, "f8 ff")]


def test_the_checksum_of_the_power_on_scratchpad() -> None:
    """It is 1Ch."""
    assert crc8(POWER_ON) == 0x1C


@pytest.mark.parametrize(("celsius", "code"), CODES)
def test_codes_are_the_data_sheets(celsius: float, code: str) -> None:
    """Least byte first, two's complement, sixteenths of a degree."""
    assert texts(celsius)[0].startswith(code)


def test_both_files_have_the_kernels_form() -> None:
    """Nine bytes and a verdict, nine bytes and thousandths; the plain file has thousandths."""
    assert texts(85.0) == (
        "50 05 4b 46 7f ff 0c 10 1c : crc=1c YES\n50 05 4b 46 7f ff 0c 10 1c t=85000\n",
        "85000\n",
    )


def test_no_answer_fails_its_checksum() -> None:
    """Nine times ff and NO, as when the plug is out."""
    slave, plain = texts(None)
    assert slave.splitlines()[0] == "ff ff ff ff ff ff ff ff ff : crc=c9 NO"
    assert crc8([0xFF] * 8) == 0xC9
    assert plain == ""


def test_files_are_rewritten_whole(tmp_path: Path) -> None:
    """A shorter text leaves nothing of a longer one."""
    folder = SensorFolder(tmp_path, "28-0000000000aa")
    for celsius in (21.5625, 0.5):
        folder.show(celsius)
        found = [(tmp_path / "28-0000000000aa" / name).read_text() for name in ("w1_slave", "temperature")]
        assert tuple(found) == texts(celsius)
    folder.close()
    folder.close()
