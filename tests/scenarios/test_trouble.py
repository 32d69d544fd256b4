"""Trouble at a running daemon: it goes on, says so, doses nothing meanwhile, and recovers by itself."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from tests.scenarios.site import Site, soon

FAST = 60.0  # bench seconds per real second
FASTER_PUMP = 1.04  # the bench's pump delivers 3 % more than its settings say
MANY_PASSES = 20  # twice as many as it takes from a first good sample to a dose


def acid_left_ml(site: Site) -> float:
    """What is truly left in the acid bottle on the bench."""
    left_ml: float = site.bench("look")["tanks"]["bed1"]["pumps"]["ph_down"]["left_ml"]
    return left_ml


def test_a_missing_sensor_chip(folder: Path) -> None:
    """The daemon runs, alarms and doses nothing; as soon as the chip answers it doses."""
    site = Site(folder, time_factor=FAST)
    site.add_fault("chip_silent", "bed1/ph")
    with site.running():
        site.until_passes(MANY_PASSES)
        alarm = site.alarms()["bed1-ph-probe"]
        assert "ADS1115 at address 0x48 on I2C bus 1 does not answer" in alarm
        assert "look at its supply" in alarm
        assert site.bed()["condition"] == "keeping"
        assert site.ask("ledger") == []
        assert acid_left_ml(site) == 1000.0
        site.bench("mend", "chip_silent", "ph")
        soon(lambda: site.ask("ledger"))
        soon(lambda: "bed1-ph-probe" not in site.alarms())


@pytest.fixture
def small_disk(folder: Path) -> Iterator[Path]:
    """A file system of 1 MiB for the state folder."""
    where = folder / "small"
    where.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(where)]
    if os.geteuid() != 0 or subprocess.run(mount, capture_output=True, check=False).returncode != 0:
        pytest.skip("only root may mount the small file system that this test fills")
    yield where
    subprocess.run(["umount", "--lazy", str(where)], check=True)


def fill(disk: Path) -> Path:
    """Write until nothing more fits; the file that takes the room."""
    filler = disk / "filler"
    with filler.open("ab", buffering=0) as rest, suppress(OSError):
        while rest.write(b"\0" * 4096):
            pass
    return filler


def test_a_full_disk(folder: Path, small_disk: Path) -> None:
    """An alarm, caps as if spent, and not a drop without its line in the ledger; with room again it doses."""
    site = Site(folder, time_factor=FAST, state=small_disk / "var")
    with site.running() as daemon:
        fill(small_disk)
        soon(lambda: "ledger" in site.alarms())
        soon(lambda: spent_with_an_alarm(site))
        # The ledger is tried again now and then, and each time may give back a few pages: fill those too.
        wanted = site.passes() + MANY_PASSES
        soon(lambda: fill(small_disk) and site.passes() >= wanted)
        assert daemon.poll() is None
        fill(small_disk).unlink()
        soon(lambda: "ledger" not in site.alarms())
        soon(lambda: site.ask("ledger"))
        used_ml = 1000.0 - acid_left_ml(site)
        charged_ml = sum(entry["ml"] for entry in site.ask("ledger"))
        assert 0.0 < used_ml <= charged_ml * FASTER_PUMP


def spent_with_an_alarm(site: Site) -> bool:
    """Whether one look at the daemon shows both: the alarm with its next step, and caps that leave nothing."""
    status = site.ask("status")
    said = [alarm["text"] for alarm in status["alarms"] if alarm["key"] == "ledger"]
    acid = status["reservoirs"]["bed1"]["caps"]["ph_down"]
    full = any("cannot be written: the disk is full" in text and "free some space" in text for text in said)
    return full and acid["last_day_ml"] == acid["max_per_day_ml"]
