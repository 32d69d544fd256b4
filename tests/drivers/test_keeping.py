"""The keeper in the daemon's own process, and which of the two is chosen."""

from __future__ import annotations

import pytest

from drivers.keeper import LEASE_S, MAX_RUN_S
from drivers.keeping import KeeperHere, open_keeper
from drivers.pump_run import Ended, PumpError
from tests.drivers.parts import StepRig


class Here:
    """A rig with a keeper on GPIO 17 and 27."""

    def __init__(self) -> None:
        self.rig = StepRig()
        self.keeper = KeeperHere(self.rig.pins, self.rig.clock, [17, 27])

    def high(self) -> list[int]:
        return [line for line in (17, 27) if self.rig.pins.pin(line).state]


@pytest.fixture
def here() -> Here:
    return Here()


def test_runs_for_the_rigs_seconds_in_slices_below_the_lease(here: Here) -> None:
    """The line is high for as long as asked, and never is a sleep longer than half the lease."""
    seen: list[list[int]] = []
    here.rig.time.while_sleeping = lambda: seen.append(here.high())
    report = here.keeper.run(17, 7.3)
    assert (report.outcome, report.note) == (Ended.DONE, "")
    assert report.ran_s == pytest.approx(7.3)
    assert sum(here.rig.time.slept) == pytest.approx(7.3)
    assert max(here.rig.time.slept) <= LEASE_S / 2
    assert seen == [[17]] * len(here.rig.time.slept)
    assert here.high() == []


@pytest.mark.parametrize(("line", "run_s"), [(17, MAX_RUN_S + 1), (17, float("nan")), (17, 0.0), (5, 1.0)])
def test_a_refused_run_is_reported_as_failed(here: Here, line: int, run_s: float) -> None:
    """What the keeper will not do did not turn the pump, and the reason comes along."""
    report = here.keeper.run(line, run_s)
    assert (report.outcome, report.ran_s) == (Ended.FAILED, 0.0)
    assert report.note
    assert here.rig.time.slept == []


def test_the_longest_run_ends_in_time(here: Here) -> None:
    """MAX_RUN_S fits into the slices that one run may take."""
    assert here.keeper.run(17, MAX_RUN_S).outcome is Ended.DONE


def test_an_exception_in_the_middle_turns_off(here: Here) -> None:
    """Ctrl-C or a broken rig while a pump runs: off first, then the exception goes on."""

    def interrupt() -> None:
        assert here.high() == [17]
        raise KeyboardInterrupt

    here.rig.time.while_sleeping = interrupt
    with pytest.raises(KeyboardInterrupt):
        here.keeper.run(17, 5.0)
    assert here.high() == []


def test_all_off_from_elsewhere_cuts_the_run_short(here: Here) -> None:
    """A signal's call in the middle ends the run, and the waiting call says so."""
    here.rig.time.while_sleeping = here.keeper.all_off
    report = here.keeper.run(17, 5.0)
    assert (report.outcome, report.note) == (Ended.CUT_SHORT, "told to stop")
    assert report.ran_s == pytest.approx(0.5)
    here.rig.time.while_sleeping = lambda: None
    assert here.keeper.run(17, 1.0).outcome is Ended.DONE


def test_a_clock_that_stands_still_does_not_hold_the_loop(here: Here, monkeypatch: pytest.MonkeyPatch) -> None:
    """A rig whose sleep does not move its time gets the pump turned off and told as such."""
    monkeypatch.setattr(here.rig.time, "sleep", lambda seconds: None)
    report = here.keeper.run(17, 5.0)
    assert (report.outcome, report.note) == (Ended.CUT_SHORT, "the rig's clock stands still")
    assert here.high() == []


def test_a_jump_of_the_clock_is_told_in_the_seconds(here: Here) -> None:
    """A slice that took far longer than asked shows in the report."""

    def oversleep() -> None:
        here.rig.time.now_s += 60.0

    here.rig.time.while_sleeping = oversleep
    report = here.keeper.run(17, 2.0)
    assert report.ran_s == pytest.approx(60.5)
    assert "instead of 2.0 s" in report.note


def test_closed_it_runs_nothing(here: Here) -> None:
    """Closing twice is harmless; a run afterwards is an error and not a silence."""
    assert (here.keeper.alive(), here.keeper.tend()) == (True, "")
    here.keeper.close()
    here.keeper.close()
    assert not here.keeper.alive()
    with pytest.raises(PumpError, match="closed"):
        here.keeper.run(17, 1.0)
    assert here.high() == []


def test_a_rig_in_process_gets_its_keeper_here() -> None:
    """Pins that exist in this process only are kept in this process."""
    rig = StepRig()
    keeper = open_keeper(rig, {"open": "x:y"}, [17], 22)
    assert isinstance(keeper, KeeperHere)
    assert [rig.pins.pin(line).function for line in (17, 22)] == ["output"] * 2


def test_no_lines_need_no_pins() -> None:
    """A daemon without pumps has a keeper that refuses every line, and asks for no pin library."""

    class Pinless(StepRig):
        in_process = False

        def pin_factory(self) -> None:
            raise AssertionError("nobody needs pins here")

    keeper = open_keeper(Pinless(), {}, [])
    assert keeper.run(17, 1.0).outcome is Ended.FAILED
    keeper.close()
