"""The pump keeper's own rules, on mock pins and a clock that steps."""

from __future__ import annotations

import math
from collections.abc import Callable
from contextlib import suppress
from typing import Any, ClassVar

import pytest
from gpiozero.pins.mock import MockFactory, MockPin
from hypothesis import given
from hypothesis import strategies as st

from config.pump import HARD_MAX_RUN_S
from daemon.values import Outcome
from drivers.keeper import IDLE_S, LEASE_S, MAX_RUN_S, PumpKeeper
from drivers.pump_run import Ended, LineStuck, RunRefused, RunReport
from tests.drivers.parts import StepClock

LINES = (17, 27)


class Bench:
    """A keeper with what it is held to: its clock, its pins."""

    def __init__(self) -> None:
        self.clock = StepClock()
        self.pins = MockFactory()
        self.keeper = PumpKeeper(self.pins, LINES, self.clock.monotonic_s)

    def high(self) -> list[int]:
        return [line for line in LINES if self.pins.pin(line).state]

    def live(self, seconds: float) -> RunReport | None:
        """Let time pass in small steps, renewing and looking as a parent and a child do."""
        until_s = self.clock.now_s + seconds
        while self.clock.now_s < until_s:
            self.clock.now_s += 0.25
            report = self.keeper.look()
            if report is not None:
                return report
            self.keeper.renew()
        return None


@pytest.fixture
def bench() -> Bench:
    return Bench()


def test_drives_every_line_low_first() -> None:
    """Before anything is asked of it, each line is an output and low, whatever it was."""
    pins = MockFactory()
    for line in LINES:
        pins.pin(line).drive_high()
    PumpKeeper(pins, LINES, StepClock().monotonic_s)
    assert [(pins.pin(line).function, pins.pin(line).state) for line in LINES] == [("output", False)] * 2


def test_a_run_ends_by_itself(bench: Bench) -> None:
    """On for the time asked, then off, and the seconds are told once."""
    bench.keeper.start(17, 3.0)
    assert bench.high() == [17]
    assert bench.live(10.0) == RunReport(Ended.DONE, 3.0)
    assert bench.high() == []
    assert bench.keeper.look() is None


@pytest.mark.parametrize("run_s", [0.001, 1.0, MAX_RUN_S])
def test_takes_a_run_within_its_bounds(bench: Bench, run_s: float) -> None:
    """From just above nothing to the longest run."""
    bench.keeper.start(17, run_s)
    assert bench.high() == [17]


@pytest.mark.parametrize(
    "run_s", [0.0, -0.0, -1.0, math.nextafter(MAX_RUN_S, 99.0), 1e9, math.nan, math.inf, -math.inf]
)
def test_refuses_a_run_outside_its_bounds(bench: Bench, run_s: float) -> None:
    """Zero, negative, too long, not a number, infinite: nothing turns on, and what is allowed is said."""
    with pytest.raises(RunRefused, match=r"above 0 s and at most 30 s"):
        bench.keeper.start(17, run_s)
    assert bench.high() == []


@given(st.floats(allow_nan=True, allow_infinity=True))
def test_no_time_asked_for_is_ever_too_long(run_s: float) -> None:
    """H4: for any number at all, the pump is on for at most MAX_RUN_S, or not at all."""
    bench = Bench()
    try:
        bench.keeper.start(17, run_s)
    except RunRefused:
        assert not 0.0 < run_s <= MAX_RUN_S
        assert bench.high() == []
        return
    report = None
    while report is None:
        bench.clock.now_s += bench.keeper.wait_s()
        bench.keeper.renew()
        report = bench.keeper.look()
    assert report.outcome is Ended.DONE
    assert 0.0 <= report.ran_s <= MAX_RUN_S + 1e-9
    assert bench.high() == []


def test_refuses_a_line_that_is_no_pump(bench: Bench) -> None:
    """A line it was not given is not touched."""
    with pytest.raises(RunRefused, match=r"GPIO 4 is no pump line: those are \[17, 27\]"):
        bench.keeper.start(4, 1.0)
    assert bench.high() == []


def test_one_pump_at_a_time(bench: Bench) -> None:
    """H7, H13: a second pump is refused while one runs, and so is the same one again."""
    bench.keeper.start(17, 5.0)
    for line in LINES:
        with pytest.raises(RunRefused, match="GPIO 17 is running: one pump at a time"):
            bench.keeper.start(line, 1.0)
    assert bench.high() == [17]


@given(st.lists(st.tuples(st.sampled_from([*LINES, 4]), st.floats(-1.0, 40.0), st.floats(0.0, 3.0)), max_size=20))
def test_never_two_lines_high(asked: list[tuple[int, float, float]]) -> None:
    """Whatever is asked for and whenever, at most one line is high at any instant."""
    bench = Bench()
    for line, run_s, pause_s in asked:
        with suppress(RunRefused):
            bench.keeper.start(line, run_s)
        assert len(bench.high()) <= 1
        bench.clock.now_s += pause_s
        bench.keeper.look()
        assert len(bench.high()) <= 1


def test_a_lease_that_lapses_turns_off(bench: Bench) -> None:
    """Up to LEASE_S without renewal the pump stays on; then it is off, cut short, and the reason is told."""
    bench.keeper.start(17, 10.0)
    bench.clock.now_s += LEASE_S - 0.001
    assert bench.keeper.look() is None
    bench.clock.now_s += 0.001
    report = bench.keeper.look()
    assert report is not None
    assert (report.outcome, report.note) == (Ended.CUT_SHORT, "not heard from for 2 s: the lease lapsed")
    assert report.ran_s == pytest.approx(LEASE_S)
    assert bench.high() == []


def test_a_lease_is_renewed_but_never_past_the_end(bench: Bench) -> None:
    """Renewing keeps a pump on until its end, and not beyond."""
    bench.keeper.start(17, 9.0)
    assert bench.live(20.0) == RunReport(Ended.DONE, 9.0)


def test_a_clock_that_is_no_number_or_goes_back_turns_off() -> None:
    """Time that cannot be is taken for the end."""
    for wrong_s in (math.nan, 50.0):
        bench = Bench()
        bench.keeper.start(17, 5.0)
        bench.clock.now_s = wrong_s
        report = bench.keeper.look()
        assert report is not None
        assert report.outcome is Ended.CUT_SHORT
        assert bench.high() == []


def test_a_run_that_was_looked_at_late_is_told_as_longer(bench: Bench) -> None:
    """A frozen keeper cannot turn off in time, but it does not hide it."""
    bench.keeper.start(17, 3.0)
    bench.clock.now_s += 7.5
    assert bench.keeper.look() == RunReport(Ended.DONE, 7.5, "ran 7.5 s instead of 3.0 s")


def test_says_when_to_look_next(bench: Bench) -> None:
    """Idle: a long time. Running: until the lease or the run ends, whichever is first; never below 0."""
    assert bench.keeper.wait_s() == IDLE_S
    bench.keeper.start(17, 2.5)
    assert bench.keeper.wait_s() == pytest.approx(LEASE_S)
    bench.clock.now_s += 1.0
    bench.keeper.renew()
    assert bench.keeper.wait_s() == pytest.approx(1.5)
    bench.clock.now_s += 9.0
    assert bench.keeper.wait_s() == 0.0


def test_all_off_cuts_a_run_short_and_may_be_said_twice(bench: Bench) -> None:
    """The run's report once, then nothing."""
    bench.keeper.start(27, 5.0)
    bench.clock.now_s += 1.0
    assert bench.keeper.all_off("told to stop") == RunReport(Ended.CUT_SHORT, 1.0, "told to stop")
    assert bench.keeper.all_off("told to stop") is None
    assert bench.high() == []


class StubbornPin(MockPin):  # type: ignore[misc]  # gpiozero has no types
    """A pin whose `trouble` comes after each write of its state."""

    trouble: Callable[[Any], None] = staticmethod(lambda pin: None)

    def _set_state(self, value: Any) -> None:
        super()._set_state(value)
        if self.info.name == "GPIO17" and not value:
            type(self).trouble(self)


def _stays_high(pin: Any) -> None:
    pin._state = True


def _raises(pin: Any) -> None:
    raise RuntimeError("the chip is busy")


@pytest.mark.parametrize(("trouble", "says"), [(_stays_high, "reads high"), (_raises, "chip is busy")])
def test_a_line_that_stays_high_is_told_after_the_others_are_off(
    monkeypatch: pytest.MonkeyPatch, trouble: Callable[[Any], None], says: str
) -> None:
    """H1: a line that reads back high, or cannot be written, keeps neither the next nor the cut-out on."""
    pins = MockFactory(pin_class=StubbornPin)
    keeper = PumpKeeper(pins, LINES, StepClock().monotonic_s, 22)
    keeper.start(27, 5.0)
    monkeypatch.setattr(StubbornPin, "trouble", staticmethod(trouble))
    with pytest.raises(LineStuck, match=rf"GPIO 17 \(.*{says}.*Cut the pumps' supply"):
        keeper.all_off()
    assert not pins.pin(27).state
    assert not pins.pin(22).state


class Told(MockPin):  # type: ignore[misc]  # gpiozero has no types
    """A pin that tells each level it is driven to."""

    edges: ClassVar[list[str]] = []

    def _set_state(self, value: Any) -> None:
        super()._set_state(value)
        self.edges.append(f"{self.info.name}={int(self._state)}")


def told_keeper(monkeypatch: pytest.MonkeyPatch) -> tuple[PumpKeeper, StepClock, list[str]]:
    """A keeper of GPIO 17 with a cut-out on GPIO 22, and every edge from its birth on."""
    edges: list[str] = []
    monkeypatch.setattr(Told, "edges", edges)
    clock = StepClock()
    return PumpKeeper(MockFactory(pin_class=Told), [17], clock.monotonic_s, 22), clock, edges


def test_a_cut_out_is_on_around_each_run_and_at_no_other_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """H1: low first of all, on before the pump's line, off after it: its contact never switches the current."""
    keeper, clock, edges = told_keeper(monkeypatch)
    assert edges == ["GPIO22=0", "GPIO17=0"]
    for _ in range(2):
        edges.clear()
        keeper.start(17, 1.0)
        assert edges == ["GPIO22=1", "GPIO17=1"]
        edges.clear()
        clock.now_s += 1.0
        assert keeper.look() is not None
        assert edges == ["GPIO17=0", "GPIO22=0"]


def test_a_cut_out_goes_off_with_a_lapsed_lease_too(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody there to renew it: no supply either."""
    keeper, clock, edges = told_keeper(monkeypatch)
    keeper.start(17, 20.0)
    edges.clear()
    clock.now_s += LEASE_S
    assert keeper.look() is not None
    assert edges == ["GPIO17=0", "GPIO22=0"]


def test_a_cut_out_is_no_pump(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its line cannot be asked for, and a refused run leaves it off."""
    keeper, _, edges = told_keeper(monkeypatch)
    edges.clear()
    for line in (22, 4):
        with pytest.raises(RunRefused, match="is no pump line"):
            keeper.start(line, 1.0)
    assert edges == []


def test_its_bounds_and_words_are_those_of_the_settings_and_the_ledger() -> None:
    """The longest run is the one that settings may count on, and each outcome is one that the ledger knows."""
    assert MAX_RUN_S == HARD_MAX_RUN_S
    assert {Outcome(ended) for ended in Ended} == set(Outcome) - {Outcome.OPEN}
