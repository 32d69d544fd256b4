"""Trouble at a running daemon: it goes on, says so, doses nothing meanwhile, and recovers by itself."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.brokers import until
from tests.scenarios.site import Site

FAST = 60.0  # bench seconds per real second
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
        until(lambda: site.ask("ledger"), within_s=30.0)
        until(lambda: "bed1-ph-probe" not in site.alarms())


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
    with filler.open("wb", buffering=0) as rest:
        try:
            while rest.write(b"\0" * 4096):
                pass
        except OSError:
            pass
    return filler


def test_a_full_disk(folder: Path, small_disk: Path) -> None:
    """No dose without its line in the ledger: an alarm instead. With room again it doses, and nothing is lost."""
    site = Site(folder, time_factor=FAST, state=small_disk / "var")
    with site.running() as daemon:
        filler = fill(small_disk)
        until(lambda: "ledger" in site.alarms(), within_s=30.0)
        alarm = site.alarms()["ledger"]
        assert "cannot be written: the disk is full" in alarm
        assert "free some space" in alarm
        site.until_passes(MANY_PASSES)
        assert daemon.poll() is None
        assert acid_left_ml(site) == 1000.0
        assert site.bed()["caps"]["ph_down"]["last_day_ml"] == site.bed()["caps"]["ph_down"]["max_per_day_ml"]
        filler.unlink()
        until(lambda: "ledger" not in site.alarms(), within_s=30.0)
        until(lambda: site.ask("ledger"), within_s=30.0)
        assert site.ask("ledger")[-1]["number"] == 1
        until(lambda: acid_left_ml(site) < 1000.0)
