"""The keeper as a process of its own: real pipes, real signals, real deaths. Off needs nobody alive."""

from __future__ import annotations

import ast
import importlib
import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from gpiozero.pins.mock import MockFactory

from drivers.keeper import LEASE_S, MAX_RUN_S, PumpKeeper
from drivers.keeper_process import MAX_COMMAND_BYTES, Conversation
from drivers.keeping import KeeperChild, open_keeper
from drivers.pump_run import Ended, PumpError
from tests.drivers.edge_rig import open_rig

ROOT = Path(__file__).parents[2]
SOON_S = 20.0  # for what happens at once on a machine that is not busy; starting two programs takes longest
LONG_S = 20.0


class Edges:
    """What the pins of every process on this rig were driven to, in order."""

    def __init__(self, folder: Path) -> None:
        self._file = folder / "edges"
        self._file.touch()
        self.table: dict[str, Any] = {"open": "tests.drivers.edge_rig:open_rig", "edges": str(self._file)}

    def all(self) -> list[str]:
        return self._file.read_text(encoding="ascii").splitlines()

    def high(self, line: int) -> bool:
        return next((edge.endswith(" 1") for edge in reversed(self.all()) if edge.startswith(f"{line} ")), False)

    def wait_for(self, line: int, high: bool) -> float:
        """Seconds until the line was so."""
        began_s = time.monotonic()
        until(lambda: self.high(line) is high)
        return time.monotonic() - began_s


def until(true: Callable[[], bool]) -> None:
    end_s = time.monotonic() + SOON_S
    while not true():
        assert time.monotonic() < end_s, "did not happen"
        time.sleep(0.005)


class Spoken:
    """A keeper process that the test itself speaks to, line by line."""

    def __init__(self, table: dict[str, Any], cut_out: str = "none") -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "drivers.keeper_process", json.dumps(table), cut_out, "17", "27"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            cwd=ROOT,
            bufsize=0,
        )

    def tell(self, text: str) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(text.encode("ascii"))

    def hear(self) -> str:
        assert self.process.stdout is not None
        return self.process.stdout.readline().decode("ascii").rstrip("\n")

    def end(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        for pipe in (self.process.stdin, self.process.stdout):
            assert pipe is not None
            with suppress(OSError):
                pipe.close()


@pytest.fixture
def edges(tmp_path: Path) -> Edges:
    return Edges(tmp_path)


@pytest.fixture
def spoken(edges: Edges) -> Iterator[Spoken]:
    """A keeper with GPIO 17 running for long."""
    spoken = Spoken(edges.table)
    assert spoken.hear() == "ready"
    spoken.tell(f"run 1 17 {LONG_S}\n")
    edges.wait_for(17, high=True)
    yield spoken
    spoken.end()


@pytest.fixture
def child(edges: Edges) -> Iterator[KeeperChild]:
    child = KeeperChild(edges.table, [17, 27])
    yield child
    child.close()


# The process, spoken to


def test_every_line_is_low_before_it_is_ready(edges: Edges) -> None:
    """Its first act is to drive each line low; what the rig prints is no answer."""
    spoken = Spoken(edges.table | {"says": "hello"})
    assert spoken.hear() == "ready"
    assert edges.all() == ["17 0", "27 0"]
    spoken.end()


def test_a_run_ends_by_itself_and_says_so(edges: Edges) -> None:
    """On, off, and how long it was."""
    spoken = Spoken(edges.table)
    assert spoken.hear() == "ready"
    spoken.tell("run 1 27 0.2\n")
    word, number, outcome, ran_s, *_ = spoken.hear().split(" ")
    assert (word, number, outcome) == ("end", "1", "done")
    assert 0.2 <= float(ran_s) < 1.0
    assert edges.all() == ["17 0", "27 0", "27 1", "17 0", "27 0"]
    spoken.end()


@pytest.mark.parametrize(
    ("nonsense", "says"), [("turn on\n", "not a command"), ("x" * (MAX_COMMAND_BYTES + 1), "more than 128 bytes")]
)
def test_nonsense_turns_off_and_ends_it(spoken: Spoken, edges: Edges, nonsense: str, says: str) -> None:
    """A parent that sends what no parent of ours sends is not trusted with a pump any more."""
    spoken.tell(nonsense)
    assert says in spoken.hear()
    assert spoken.process.wait(SOON_S) == 1
    assert not edges.high(17)


@pytest.mark.parametrize(
    ("nonsense", "says"),
    [
        ("run 2 17\n", "not a command"),
        ("run two 17 1.0\n", "invalid literal for int"),
        ("run 2 17 0x5\n", "could not convert string to float"),
        ("run 2 17 1.0 \n", "not a command"),
        ("\n", "not a command"),
        ("lease " + "x" * MAX_COMMAND_BYTES + "\n", "more than 128 bytes"),
    ],
)
def test_every_kind_of_nonsense_turns_off(nonsense: str, says: str) -> None:
    """The same over plain pipes: missing words, numbers that are none, an empty and an oversized line."""
    pins = MockFactory()
    commands, tell = os.pipe()
    hear, answers = os.pipe()
    signals, never = os.pipe()
    keeper = PumpKeeper(pins, [17], time.monotonic)
    os.write(tell, f"run 1 17 20.0\n{nonsense}".encode("ascii"))
    os.close(tell)  # a keeper that takes it for sense ends, too
    with pytest.raises(ValueError, match=says):
        Conversation(keeper, commands, answers, signals).serve()
    assert not pins.pin(17).state
    assert keeper.look() is None
    for end in (commands, hear, answers, signals, never):
        os.close(end)


def test_a_refused_run_turns_off_and_says_why(spoken: Spoken, edges: Edges) -> None:
    """A second pump, a line or a time that may not be, a run asked for again: off, and nothing starts."""
    asked = ["27 1.0", "4 1.0", "17 nan", "17 inf", "17 -1", "17 31"]
    for number, what in enumerate(asked, start=1):
        spoken.tell(f"run {number + 1} {what}\n")
        assert spoken.hear().startswith(f"end {number} cut_short ")
        assert spoken.hear().startswith(f"end {number + 1} failed 0.0 ")
        assert not edges.high(17)
        spoken.tell(f"run {number + 1} 17 {LONG_S}\n")
        edges.wait_for(17, high=True)
    assert edges.all().count("17 1") == 1 + len(asked)
    assert "27 1" not in edges.all()


def test_the_same_run_twice_runs_once(edges: Edges) -> None:
    """A repeated command is harmless, also when the first has ended."""
    spoken = Spoken(edges.table)
    spoken.hear()
    for outcome in ("done", "failed"):
        spoken.tell("run 7 17 0.05\n")
        assert spoken.hear().startswith(f"end 7 {outcome} ")
    assert edges.all().count("17 1") == 1
    spoken.end()


def test_off_turns_off(spoken: Spoken, edges: Edges) -> None:
    """Told to stop, it stops and says so; told again, it has nothing to say and goes on."""
    spoken.tell("off\noff\nrun 2 27 0.01\n")
    assert spoken.hear().startswith("end 1 cut_short ")
    assert spoken.hear().startswith("end 2 done ")
    assert not edges.high(17)


def test_end_of_file_turns_off(spoken: Spoken, edges: Edges) -> None:
    """A parent that has gone leaves an ended input."""
    assert spoken.process.stdin is not None
    spoken.process.stdin.close()
    assert spoken.process.wait(SOON_S) == 0
    assert spoken.hear() == "bye the commands ended"
    assert not edges.high(17)


def test_silence_turns_off(spoken: Spoken, edges: Edges) -> None:
    """A parent that hangs, its pipes open: off when the lease lapses, and not before."""
    began_s = time.monotonic()
    _, _, outcome, ran_s, note = spoken.hear().split(" ", 4)
    assert (outcome, note) == ("cut_short", "not heard from for 2 s: the lease lapsed")
    assert LEASE_S <= float(ran_s) < LEASE_S + 1.0
    assert LEASE_S - 0.5 <= time.monotonic() - began_s <= LEASE_S + 1.0
    assert not edges.high(17)


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
def test_a_signal_to_end_turns_off(spoken: Spoken, edges: Edges, number: signal.Signals) -> None:
    """SIGTERM and SIGHUP, also twice in a row: off, then the end."""
    spoken.process.send_signal(number)
    spoken.process.send_signal(number)
    assert spoken.process.wait(SOON_S) == 0
    assert spoken.hear() == "bye told to end by a signal"
    assert not edges.high(17)


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGQUIT])
def test_the_keyboards_signals_are_the_parents_business(
    spoken: Spoken, edges: Edges, number: signal.Signals
) -> None:
    """Ctrl-C reaches the whole group; the keeper goes on until its parent decides."""
    spoken.process.send_signal(number)
    spoken.tell("off\nrun 2 27 0.01\n")
    assert spoken.hear().startswith("end 1 cut_short ")
    assert spoken.hear().startswith("end 2 done ")


def test_a_broken_pin_library_turns_off_and_ends_it(edges: Edges) -> None:
    """An exception of its own, in the middle of turning on: all off, the reason told, the end."""
    spoken = Spoken(edges.table | {"dies_at": 17})
    spoken.hear()
    spoken.tell("run 1 17 5.0\n")
    assert spoken.hear() == "bye RuntimeError: the pin library broke"
    assert spoken.process.wait(SOON_S) == 1
    assert not edges.high(17)
    spoken.end()


def _signal_to_end(spoken: Spoken) -> None:
    spoken.process.send_signal(signal.SIGTERM)


def _end_of_file(spoken: Spoken) -> None:
    assert spoken.process.stdin is not None
    spoken.process.stdin.close()


def _nonsense(spoken: Spoken) -> None:
    spoken.tell("turn on\n")


def _silence(spoken: Spoken) -> None:
    """Nothing is said until the lease lapses."""


def _off(spoken: Spoken) -> None:
    spoken.tell("off\n")


@pytest.mark.parametrize("end", [_signal_to_end, _end_of_file, _nonsense, _silence, _off])
def test_the_cut_out_goes_off_on_every_way_out(edges: Edges, end: Callable[[Spoken], None]) -> None:
    """H1: whatever ends a run, the pump's line goes low and then the supply of all pumps is cut out."""
    spoken = Spoken(edges.table, "22")
    assert spoken.hear() == "ready"
    assert edges.all() == ["22 0", "17 0", "27 0"]
    spoken.tell(f"run 1 17 {LONG_S}\n")
    edges.wait_for(17, high=True)
    assert edges.high(22)
    end(spoken)
    edges.wait_for(22, high=False)
    assert edges.all()[3:8] == ["22 1", "17 1", "17 0", "27 0", "22 0"]
    spoken.end()


def test_the_cut_out_goes_off_with_a_broken_pin_library(edges: Edges) -> None:
    """H1: an exception of the keeper itself, the cut-out already on."""
    spoken = Spoken(edges.table | {"dies_at": 17}, "22")
    spoken.hear()
    spoken.tell("run 1 17 5.0\n")
    assert spoken.process.wait(SOON_S) == 1
    assert edges.all()[3:] == ["22 1", "17 1", "17 0", "27 0", "22 0"]
    spoken.end()


def test_a_successor_drives_the_cut_out_low_first(edges: Edges) -> None:
    """H1: the keeper is killed in a run; the next one begins by cutting out the supply."""
    child = KeeperChild(edges.table, [17], 22)
    first = child._child._process

    def kill_in_a_run() -> None:
        edges.wait_for(17, high=True)
        first.kill()

    killer = threading.Thread(target=kill_in_a_run)
    killer.start()
    assert child.run(17, LONG_S).outcome is Ended.CUT_SHORT
    killer.join()
    assert edges.all() == ["22 0", "17 0", "22 1", "17 1", "22 0", "17 0"]
    child.close()


def test_a_parent_that_does_not_read_holds_nothing_up(edges: Edges) -> None:
    """When its answers find no room, it turns off and ends rather than wait."""
    spoken = Spoken(edges.table)
    assert spoken.hear() == "ready"
    with suppress(BrokenPipeError):
        for number in range(1, 4000):
            spoken.tell(f"run {number} 4 1.0\n")
    assert spoken.process.wait(SOON_S) == 1
    assert not edges.high(17)
    spoken.end()


# What it consists of


@pytest.mark.parametrize(
    ("modules", "others"),
    [
        ("drivers.keeper_process", set()),
        (
            "drivers.keeper_process, drivers.pi, gpiozero",
            {"gpiozero", "colorzero"},  # the latter is gpiozero's own
        ),
    ],
)
def test_it_holds_nothing_but_the_standard_library_and_the_rigs_pins(modules: str, others: set[str]) -> None:
    """What must never fail loads no settings, no links, no numbers: on a Pi, only what drives the pins."""
    code = (
        f"import sys; before = set(sys.modules); import {modules}\n"
        "print(*{name.split('.')[0] for name in set(sys.modules) - before} - set(sys.stdlib_module_names))"
    )
    told = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True, cwd=ROOT)
    assert set(told.stdout.split()) == {"drivers", *others}


def test_it_is_small_enough_to_be_read_whole() -> None:
    """All of it but the rig stays under 200 lines of code, comments and docstrings not counted."""
    parts = ("keeper", "keeper_process", "pump_run", "rig_table")
    assert sum(_lines_of_code(f"drivers.{name}") for name in parts) < 200


def _lines_of_code(module: str) -> int:
    text = Path(importlib.import_module(module).__file__ or "").read_text(encoding="utf-8")
    nodes = [n for n in ast.walk(ast.parse(text)) if isinstance(n, ast.Module | ast.ClassDef | ast.FunctionDef)]
    told = [node.body[0] for node in nodes if ast.get_docstring(node) is not None]
    docstrings = {line for node in told for line in range(node.lineno, (node.end_lineno or node.lineno) + 1)}
    rows = enumerate(text.splitlines(), start=1)
    return sum(bool(row.strip()) and not row.lstrip().startswith("#") and n not in docstrings for n, row in rows)


# The parent's side


def test_the_child_runs_pumps_and_tells(child: KeeperChild, edges: Edges) -> None:
    """Two runs, one after the other, on two lines."""
    for line in (17, 27):
        report = child.run(line, 0.1)
        assert (report.outcome, report.note) == (Ended.DONE, "")
        assert 0.1 <= report.ran_s < 1.0
    assert [edge for edge in edges.all() if edge.endswith("1")] == ["17 1", "27 1"]
    assert child.alive()


def test_a_run_outlives_the_lease_when_renewed(child: KeeperChild) -> None:
    """The parent renews: a run longer than the lease is not cut."""
    assert child.run(17, LEASE_S + 0.4).outcome is Ended.DONE


@pytest.mark.parametrize(("line", "run_s"), [(4, 1.0), (17, float("nan")), (17, MAX_RUN_S + 1), (17, 0.0)])
def test_what_the_child_refuses_is_reported_as_failed(child: KeeperChild, line: int, run_s: float) -> None:
    """Refused, nothing turned, the reason told, and the next run is fine."""
    report = child.run(line, run_s)
    assert (report.outcome, report.ran_s) == (Ended.FAILED, 0.0)
    assert "pump line" in report.note or "at most 30 s" in report.note
    assert child.run(17, 0.01).outcome is Ended.DONE


def test_all_off_from_another_thread_cuts_a_run_short(child: KeeperChild, edges: Edges) -> None:
    """A page's or a signal's "stop" reaches a pump in the middle of a run."""
    timer = threading.Timer(0.3, child.all_off)
    timer.start()
    report = child.run(17, LONG_S)
    timer.join()
    assert (report.outcome, report.note) == (Ended.CUT_SHORT, "told to stop")
    assert 0.1 < report.ran_s < LEASE_S
    assert not edges.high(17)


def test_a_killed_child_is_noticed_and_its_line_driven_low(child: KeeperChild, edges: Edges) -> None:
    """The kernel may leave a dead keeper's line high, so a new keeper drives it low at once."""

    def kill() -> None:
        edges.wait_for(17, high=True)
        os.kill(child._child._process.pid, signal.SIGKILL)

    killer = threading.Thread(target=kill)
    killer.start()
    report = child.run(17, LONG_S)
    killer.join()
    assert report.outcome is Ended.CUT_SHORT
    assert "signal 9" in report.note
    assert "a new one has driven every line low" in report.note
    assert not edges.high(17)
    assert child.run(17, 0.01).outcome is Ended.DONE


def test_a_child_that_died_idle_is_an_error_at_the_next_run(child: KeeperChild, edges: Edges) -> None:
    """Nobody to ask: no pump turns, and that is said; "all off" is seen to by a new keeper."""
    os.kill(child._child._process.pid, signal.SIGKILL)
    until(lambda: not child.alive())
    with pytest.raises(PumpError, match="has ended"):
        child.run(17, 1.0)
    assert "17 1" not in edges.all()
    lows = edges.all().count("17 0")
    child.all_off()
    assert edges.all().count("17 0") == lows + 1
    assert child.alive()


def test_a_child_that_died_idle_is_found_and_replaced_between_runs(child: KeeperChild, edges: Edges) -> None:
    """Tending finds nothing, then the dead child: a new one drives every line low, and that is told once."""
    assert child.tend() == ""
    os.kill(child._child._process.pid, signal.SIGKILL)
    until(lambda: not child.alive())
    before = len(edges.all())
    assert child.tend() == (
        "the pump keeper stopped (it was ended by signal 9); a new one has driven every line low"
    )
    assert edges.all()[before:] == ["17 0", "27 0"]
    assert child.tend() == ""
    assert child.run(17, 0.01).outcome is Ended.DONE


def test_once_closed_nothing_is_replaced(child: KeeperChild) -> None:
    """The child has ended because it was told to."""
    child.close()
    assert child.tend() == ""
    assert not child.alive()


def test_a_hung_child_is_noticed_and_replaced(child: KeeperChild, edges: Edges) -> None:
    """A keeper that is stopped in mid-run neither hangs its parent nor keeps its line."""

    def stop() -> None:
        edges.wait_for(17, high=True)
        os.kill(child._child._process.pid, signal.SIGSTOP)

    stopper = threading.Thread(target=stop)
    stopper.start()
    report = child.run(17, 0.3)
    stopper.join()
    assert report.outcome is Ended.CUT_SHORT
    assert "does not answer" in report.note
    assert not edges.high(17)
    assert child.alive()


def test_an_interrupted_parent_turns_off(child: KeeperChild, edges: Edges) -> None:
    """Ctrl-C while it waits for a run: off at once, and the child stays for the next."""

    def interrupt() -> None:
        edges.wait_for(17, high=True)
        os.kill(os.getpid(), signal.SIGINT)

    before = signal.signal(signal.SIGINT, signal.default_int_handler)  # ignored in a job of the background
    interrupter = threading.Thread(target=interrupt)
    interrupter.start()
    with pytest.raises(KeyboardInterrupt):
        child.run(17, LONG_S)
    interrupter.join()
    signal.signal(signal.SIGINT, before)
    assert edges.wait_for(17, high=False) < LEASE_S / 2
    assert child.run(27, 0.01).outcome is Ended.DONE


@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGTERM])
def test_a_killed_parent_leaves_every_line_low(edges: Edges, number: signal.Signals) -> None:
    """H2: the daemon is killed in the middle of a dose; the keeper notices and drives low within a second."""
    command = [sys.executable, "-m", "tests.drivers.parent", json.dumps(edges.table)]
    with subprocess.Popen(command, cwd=ROOT, stderr=subprocess.DEVNULL) as parent:
        edges.wait_for(17, high=True)
        parent.send_signal(number)
    assert edges.wait_for(17, high=False) < 1.0


def test_closing_ends_the_child_and_may_be_done_twice(edges: Edges) -> None:
    """After closing: no process, every line low, no run."""
    child = KeeperChild(edges.table, [17])
    child.close()
    child.close()
    assert not child.alive()
    assert child._child._process.returncode == 0
    with pytest.raises(PumpError, match="closed"):
        child.run(17, 1.0)
    child.all_off()
    assert not edges.high(17)


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"open": "tests.drivers.nowhere:open_rig"}, "RigError.*tests.drivers.nowhere cannot be imported"),
        ({"breaks_at": 27}, r"LineStuck: .*GPIO 27 \(no such line on this board\)"),
    ],
)
def test_a_keeper_that_cannot_start_says_why(edges: Edges, more: dict[str, Any], says: str) -> None:
    """A rig that cannot be opened, a line that cannot be driven: one error with the child's reason."""
    with pytest.raises(PumpError, match=rf"cannot start: {says}"):
        KeeperChild(edges.table | more, [17, 27])
    assert not edges.high(17)


def test_a_rig_of_its_own_process_gets_a_child(edges: Edges) -> None:
    """Where pins belong to the machine, the keeper is a process of its own, opened from the same table."""
    keeper = open_keeper(open_rig(edges.table), edges.table, [17])
    assert isinstance(keeper, KeeperChild)
    assert keeper.run(17, 0.01).outcome is Ended.DONE
    keeper.close()
