"""What a person types at a running daemon, with the bench's probes dipped by another command."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.scenarios.site import Site, soon

FAST = 60.0  # bench seconds per real second


@pytest.fixture
def site(folder: Path) -> Iterator[Site]:
    """The demo rig sixty times as fast, with a daemon on it."""
    made = Site(folder, time_factor=FAST)
    with made.running():
        yield made


def said(site: Site, *words: str) -> str:
    """What a command prints. AssertionError where it fails."""
    done = site.evenwater(*words)
    assert (done.returncode, done.stderr) == (0, "")
    return done.stdout


def dip(site: Site, quantity: str, standard: str) -> None:
    """Put the probe in a standard and wait until its reading has come to rest there."""
    site.bench("dip", quantity, standard)
    site.ask("calibrate.look", quantity=quantity, afresh=True)
    soon(lambda: site.ask("calibrate.look", quantity=quantity)["settled"])


def book(site: Site) -> dict[str, Any]:
    """The calibrations of the bed, as the file holds them."""
    pages: dict[str, Any] = tomllib.loads((site.state / "calibrations.toml").read_text())["reservoir"]["bed1"]
    return pages


def test_looking_holding_and_releasing(site: Site) -> None:
    """Status, ledger and alarms tell; a hold stays until it is released, and neither happens twice."""
    soon(lambda: site.ask("ledger"))
    shown = said(site, "status")
    assert "Bed 1 [bed1]: keeping (corrects by itself)" in shown
    assert "rig sim_hw.bench:open_rig" in shown
    first = said(site, "ledger").splitlines()[-1]
    assert first.startswith("    1  ")
    assert re.search(r"bed1        4\.0 mL pH down, pH 7\.[12]", first)
    assert said(site, "alarms") == "no alarm\n"
    assert "Bed 1: dosing paused until `evenwater release` (cleaning)" in said(site, "hold", "cleaning")
    soon(lambda: site.bed()["condition"] == "held")
    assert "held (dosing paused by a person): cleaning" in said(site, "status")
    assert said(site, "release") == "Bed 1 is keeping (corrects by itself)\n"
    assert said(site, "release") == "Bed 1: was not held\n"
    assert said(site, "clear") == "Bed 1: was not locked\n"
    refused = site.evenwater("hold", "cleaning", "--reservoir", "bed9")
    assert (refused.returncode, refused.stdout) == (1, "")
    assert refused.stderr == "evenwater hold: no reservoir bed9; there is bed1\n"


def test_calibrating_step_by_step(site: Site) -> None:
    """Two buffers give the electrode's true slope and offset; swapped, they are refused and the old fit stays."""
    assert "dosing paused while the probe is out" in said(site, "calibrate", "ph", "begin")
    assert site.evenwater("release").returncode == 1
    early = site.evenwater("calibrate", "ph", "finish")
    assert (early.returncode, early.stdout[:8]) == (1, "not kept")
    for buffer in ("7.00", "4.01"):
        dip(site, "ph", buffer)
        assert f"{buffer} taken" in said(site, "calibrate", "ph", "point", buffer)
    assert "kept: slope" in said(site, "calibrate", "ph", "finish")
    assert site.bed()["condition"] == "held"
    site.bench("back", "ph")
    assert said(site, "calibrate", "ph", "back") == "Bed 1 is keeping (corrects by itself)\n"
    kept = book(site)["ph"]
    assert kept["slope_percent"] == pytest.approx(97.0, abs=0.5)  # what the bench's electrode truly has
    assert kept["offset_mv"] == pytest.approx(6.0, abs=1.0)
    assert [point["standard"] for point in kept["point"]] == ["7.00", "4.01"]
    soon(lambda: site.bed()["condition"] == "keeping")

    said(site, "calibrate", "ph", "begin")
    for buffer, told in (("4.01", "7.00"), ("7.00", "4.01")):
        dip(site, "ph", buffer)
        said(site, "calibrate", "ph", "point", told)
    swapped = site.evenwater("calibrate", "ph", "finish")
    assert swapped.returncode == 1
    assert "not kept, the old calibration stays" in swapped.stdout
    assert "the buffers were swapped" in swapped.stdout
    assert book(site)["ph"] == kept
    assert "then `evenwater release`" in said(site, "calibrate", "ph", "cancel")
    assert site.bed()["condition"] == "held"
    site.bench("back", "ph")
    said(site, "release")
    soon(lambda: site.bed()["condition"] == "keeping")
    assert book(site)["ph"] == kept


def test_without_a_daemon(folder: Path) -> None:
    """Each command that needs one says how to start it."""
    site = Site(folder)
    for words in (("status",), ("ledger", "--json"), ("calibrate", "ph", "begin")):
        done = site.evenwater(*words)
        assert (done.returncode, done.stdout) == (1, "")
        assert f"no daemon answers in the state folder {site.state}" in done.stderr
        assert "`evenwater run`" in done.stderr
