"""Processes that end in the middle of a dose: the line goes low, the dose is charged in full.

The edges were written down by the process that drove the line, on the machine's monotonic clock. Each story waits
for a dose of its own, so they wait side by side.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from tests.brokers import until
from tests.scenarios.site import Site, children, now_s, soon

DOSE_ML = 5.0  # 5 s of the pump
AT_ONCE_S = 1.0


def went_low_s(site: Site, since_s: float, within_s: float = AT_ONCE_S) -> float:
    """How long after a moment the acid pump's line went low; it must have been high until then."""
    until(lambda: not site.acid_edges()[-1].on, within_s=within_s)
    *_, on, off = site.acid_edges()
    assert on.on
    assert since_s < off.at_s < on.at_s + DOSE_ML, "the dose had ended by itself"
    return off.at_s - since_s


def a_daemon_killed(site: Site) -> None:
    """Pump off within a second; after the restart the dose counts in full, and the next waits for its gap."""
    with site.running() as daemon:
        site.until_on()
        killed_s = now_s()
        daemon.kill()
        assert went_low_s(site, killed_s) < AT_ONCE_S
    with site.running():
        soon(lambda: site.bed()["verdicts"]["ph"]["quality"] == "good")
        [entry] = site.told("ledger")
        assert (entry["outcome"], entry["ml"]) == ("cut_short", DOSE_ML)
        status = site.told("status")
        [note] = status["notes"]
        assert note.startswith("dose 1 (5.0 mL, ")
        assert note.endswith("ended unseen: counted in full")
        bed = status["reservoirs"]["bed1"]
        assert bed["caps"]["ph_down"]["last_hour_ml"] == DOSE_ML
        assert bed["caps"]["ph_down"]["bottle_left_ml"] == 1000.0 - DOSE_ML
        assert bed["waiting_for"].startswith("the last dose is mixing")
        assert bed["condition"] == "keeping"
        assert note in site.evenwater("status").stdout
    assert site.runs() == 1


def a_pump_keeper_killed(site: Site) -> None:
    """Its successor drives the line low; the dose counts in full; dosing is locked until a person clears it."""
    with site.running() as daemon:
        site.until_on()
        [keeper] = children(daemon)
        os.kill(keeper, signal.SIGKILL)
        soon(lambda: site.bed()["condition"] == "locked")
        assert not site.acid_edges()[-1].on
        assert children(daemon) != [keeper]
        why = site.bed()["condition_reason"]
        assert "it was ended by signal 9" in why
        assert "a new one has driven every line low" in why
        assert "evenwater clear" in site.alarms()["bed1-locked"]
        [entry] = site.ask("ledger")
        assert (entry["outcome"], entry["ml"]) == ("cut_short", DOSE_ML)
        assert site.bed()["caps"]["ph_down"]["last_hour_ml"] == DOSE_ML
        done = site.evenwater("clear")
        assert (done.returncode, done.stdout[:12]) == (0, "lock cleared")
        soon(lambda: site.bed()["condition"] == "keeping")
        soon(lambda: "bed1-locked" not in site.alarms())
    assert site.runs() == 1


def an_idle_pump_keeper_killed(site: Site) -> None:
    """Noticed by the next pass but one at most: the lines driven low, dosing locked, nothing to charge."""
    with site.running() as daemon:
        [keeper] = children(daemon)
        lows = len(site.acid_edges())
        os.kill(keeper, signal.SIGKILL)
        killed_at = site.passes()
        soon(lambda: site.bed()["condition"] == "locked" or site.passes() > killed_at + 2)
        assert site.bed()["condition"] == "locked"
        assert "it was ended by signal 9" in site.bed()["condition_reason"]
        assert children(daemon) not in ([keeper], [])
        assert [edge.on for edge in site.acid_edges()[lows:]] == [False]
        assert site.ask("ledger") == []
    assert site.runs() == 0


def a_daemon_told_to_stop(site: Site) -> None:
    """Line low at once, exit code 0, the dose counts in full, and nothing is locked afterwards."""
    with site.running() as daemon:
        site.until_on()
        told_s = now_s()
        daemon.send_signal(signal.SIGTERM)
        assert went_low_s(site, told_s) < AT_ONCE_S
        assert daemon.wait(20.0) == 0
    assert site.log.endswith("evenwater: stopped, pumps off\n")
    with site.running():
        [entry] = site.ask("ledger")
        assert (entry["outcome"], entry["ml"], entry["note"]) == ("cut_short", DOSE_ML, "told to stop")
        status = site.ask("status")
        assert status["notes"] == []
        assert status["reservoirs"]["bed1"]["condition"] == "keeping"
        assert status["reservoirs"]["bed1"]["caps"]["ph_down"]["last_hour_ml"] == DOSE_ML
    assert site.runs() == 1


STORIES: tuple[Callable[[Site], None], ...] = (
    a_daemon_killed,
    a_pump_keeper_killed,
    an_idle_pump_keeper_killed,
    a_daemon_told_to_stop,
)


def test_processes_that_end_in_mid_dose(folder: Path) -> None:
    """Whichever ends, and however: the line goes low, the dose counts in full, only a dead keeper locks."""

    def tell(story: Callable[[Site], None]) -> None:
        own = folder / story.__name__
        own.mkdir()
        story(Site(own, dose_ml=DOSE_ML))

    with ThreadPoolExecutor() as pool:
        for told in [pool.submit(tell, story) for story in STORIES]:
            told.result()
