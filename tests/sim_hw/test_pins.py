"""gpiozero's pins on the bench, in one process and in two."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from gpiozero import InputDevice, OutputDevice

from sim_hw.pins import BenchFactory, Edge, EdgeReader, EdgeWriter


def factory(told: list[tuple[int, bool]], contact: bool | None = None) -> BenchFactory:
    """A factory that writes edges down, with the same contact at every line."""
    return BenchFactory(lambda line, high: told.append((line, high)), lambda line: contact)


def test_each_change_of_a_driven_line_is_an_edge() -> None:
    """And the first level; saying the same again is none."""
    told: list[tuple[int, bool]] = []
    with OutputDevice(17, pin_factory=factory(told)) as line:
        line.on()
        line.on()
        line.off()
    assert told == [(17, False), (17, True), (17, False)]


def test_a_line_that_is_let_go_is_low() -> None:
    """Closing a device that is on turns it off: the pull-down at the pump's driver."""
    told: list[tuple[int, bool]] = []
    device = OutputDevice(17, initial_value=True, pin_factory=factory(told))
    device.close()
    assert told == [(17, True), (17, False)]


def test_a_line_that_was_never_driven_tells_nothing() -> None:
    """An input, opened and closed."""
    told: list[tuple[int, bool]] = []
    pins = factory(told)
    InputDevice(23, pull_up=True, pin_factory=pins).close()
    pins.close()
    assert told == []


@pytest.mark.parametrize(("contact", "active"), [(True, True), (False, False), (None, False)])
def test_a_closed_contact_takes_a_pulled_up_input_low(contact: bool | None, active: bool) -> None:
    """Open, or nothing there, the pull-up wins."""
    with InputDevice(23, pull_up=True, pin_factory=factory([], contact)) as switch:
        assert switch.is_active is active


def test_a_pins_file_gives_back_what_was_written(tmp_path: Path) -> None:
    """Times, lines and levels, and each edge once."""
    path = tmp_path / "pins"
    reader, writer = EdgeReader(path), EdgeWriter(path)
    assert reader.new() == []
    before_s = time.monotonic()
    writer.tell(17, True)
    writer.tell(27, False)
    edges = reader.new()
    assert [(edge.line, edge.on) for edge in edges] == [(17, True), (27, False)]
    assert before_s <= edges[0].at_s <= edges[1].at_s <= time.monotonic()
    assert reader.new() == []
    for one in (reader, writer):
        one.close()
        one.close()
    assert reader.new() == []


def test_two_writers_never_overwrite_each_other(tmp_path: Path) -> None:
    """A keeper and its successor may both have the file open."""
    path = tmp_path / "pins"
    first, second, reader = EdgeWriter(path), EdgeWriter(path), EdgeReader(path)
    first.tell(17, True)
    second.tell(17, False)
    first.tell(27, False)
    assert [(edge.line, edge.on) for edge in reader.new()] == [(17, True), (17, False), (27, False)]
    for one in (first, second, reader):
        one.close()


def test_half_a_line_waits_for_its_end(tmp_path: Path) -> None:
    """A reader that is faster than a writer does not misread."""
    path = tmp_path / "pins"
    reader = EdgeReader(path)
    with path.open("ab", buffering=0) as writer:
        writer.write(b"2000000000 1")
        assert reader.new() == []
        writer.write(b"7 1\n")
    assert reader.new() == [Edge(2.0, 17, True)]
    reader.close()


def test_a_line_that_is_no_edge_is_told(tmp_path: Path) -> None:
    """Nothing is guessed: the file and the line are named."""
    path = tmp_path / "pins"
    path.write_text("2000000000 17 2\n")
    reader = EdgeReader(path)
    with pytest.raises(ValueError, match="'2000000000 17 2' is no edge"):
        reader.new()
    reader.close()


CHILD = """
import sys, time
from gpiozero import OutputDevice
from sim_hw.bench import open_rig
from tests.sim_hw.a_bench import a_table
bench = open_rig(a_table(time_factor=1.0, pins_file=sys.argv[1]))
pump = OutputDevice(17, pin_factory=bench.pin_factory())
pump.on()
print("on", bench._world is None, flush=True)
time.sleep(60)
"""


def test_edges_survive_the_kill_of_the_process_that_made_them(tmp_path: Path) -> None:
    """A child that drives pins and is killed leaves its edges, and its line as a real Pi does: high."""
    path = tmp_path / "pins"
    with subprocess.Popen(
        [sys.executable, "-c", CHILD, str(path)], stdout=subprocess.PIPE, text=True, cwd=os.getcwd()
    ) as child:
        assert child.stdout is not None
        assert child.stdout.readline() == "on True\n"
        child.send_signal(signal.SIGKILL)
    reader = EdgeReader(path)
    assert [(edge.line, edge.on) for edge in reader.new()] == [(17, False), (17, True)]
    reader.close()
