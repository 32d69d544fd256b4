"""A site of one's own for a test: settings, state folder and bench, and the real programs that run on it.

site = Site(folder, dose_ml=4.0)          the demo rig in real time, calibrated, about to dose
with site.running() as daemon:            `evenwater run` as a process of its own
    site.until_on()                       the pump's line went high, as its keeper's process wrote down
    site.evenwater("ledger", "--json")    any other command, as a person types it
    site.bench("unplug", "ph")            `python -m sim_hw`: the world is played
"""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from daemon.link.client import ControlClient, NoDaemon
from sim_hw.pins import Edge, EdgeReader
from tests.brokers import HOUSE, until

QUINCE_LANE = HOUSE / "config" / "rigs" / "quince-lane.toml"
ACID_LINE = 17
PATIENCE_S, END_S = 90.0, 20.0  # on a busy machine; everything takes a fraction of it
ANY_PYTHON = {**os.environ, "PYTHONPATH": str(HOUSE), "PYTHONUNBUFFERED": "1"}

CALIBRATIONS = """\
[reservoir.bed1.ph]
day = {day}
slope_percent = 97.0
offset_mv = 6.0

[reservoir.bed1.ec]
day = {day}
cell_constant_per_cm = 0.98
offset_ms = 0.0
"""


def changed(text: str, table: str, **keys: object) -> str:
    """A settings text with some keys of one table set anew; their values are written alike in JSON and TOML."""
    head, header, rest = text.partition(f"\n[{table}]\n")
    assert header, f"no [{table}]"
    body, following, tail = rest.partition("\n[")
    for key in keys:
        body = re.sub(rf"^{key} *=.*\n", "", body, flags=re.MULTILINE)
    lines = "".join(f"{key} = {json.dumps(value)}\n" for key, value in keys.items())
    return head + header + lines + body + following + tail


class Site:
    """The demo rig of Quince Lane in a folder of its own, calibrated, with MQTT off."""

    def __init__(
        self, folder: Path, *, dose_ml: float = 4.0, time_factor: float = 1.0, state: Path | None = None
    ) -> None:
        """A real-time bench (factor 1) has its pumps at a child process, and every edge in a file."""
        self.settings, self.state = folder / "site.toml", state or folder / "var"
        self.pins, self._socket, self._log = folder / "pins", folder / "bench.sock", folder / "log"
        self.state.mkdir()
        self.settings.write_text(QUINCE_LANE.read_text())
        self.set("rig", time_factor=time_factor, socket=str(self._socket))
        if time_factor == 1.0:
            self.set("rig", pins_file=str(self.pins))
            self.set("site", pass_every_s=1.0)
        self.set("mqtt", enabled=False)
        self.set("reservoir.bed1.pump.ph_down", max_per_dose_ml=dose_ml)
        (self.state / "calibrations.toml").write_text(CALIBRATIONS.format(day=datetime.now(UTC).date()))

    def set(self, table: str, **keys: object) -> None:
        """Change keys of one table of the settings file."""
        self.settings.write_text(changed(self.settings.read_text(), table, **keys))

    def add_fault(self, name: str, target: str) -> None:
        """A fault that is there from the start."""
        fault = f'\n[[rig.fault]]\nname = "{name}"\ntarget = "{target}"\nstart_s = 0.0\n'
        self.settings.write_text(self.settings.read_text() + fault)

    # the programs

    def start(self) -> subprocess.Popen[bytes]:
        """`evenwater run`, as a process of its own."""
        command = [sys.executable, "-m", "daemon.cli.main", "run", str(self.settings), "--state", str(self.state)]
        with self._log.open("ab") as log:
            return subprocess.Popen(command, cwd=HOUSE, env=ANY_PYTHON, stdout=log, stderr=log)

    @contextmanager
    def running(self) -> Iterator[subprocess.Popen[bytes]]:
        """`evenwater run` until the end of the block, ended as a person would if it has not ended by then."""
        daemon = self.start()
        try:
            soon(lambda: self.passes() or daemon.poll() is not None)
            assert daemon.poll() is None, self.log
            yield daemon
        finally:
            end(daemon)

    def evenwater(self, *words: str) -> subprocess.CompletedProcess[str]:
        """Any other command, done."""
        return run("daemon.cli.main", *words, "--state", str(self.state))

    def told(self, *words: str) -> Any:
        """What a command answers a program. AssertionError where it fails."""
        done = self.evenwater(*words, "--json")
        assert done.returncode == 0, done.stderr
        return json.loads(done.stdout)

    def bench(self, *words: str) -> Any:
        """`python -m sim_hw`, and its answer. AssertionError where it refuses."""
        done = run("sim_hw", *words, "--json", "--socket", str(self._socket))
        assert done.returncode == 0, done.stderr
        return json.loads(done.stdout)

    # what there is to see

    def ask(self, method: str, **params: Any) -> Any:
        """The running daemon's answer, quicker than a command: for polling."""
        return ControlClient(self.state).call(method, **params)

    def passes(self) -> int:
        """Passes of the running daemon; 0 while nobody answers."""
        try:
            return int(self.ask("status")["passes"])
        except (NoDaemon, ValueError):
            return 0

    def until_passes(self, more: int) -> None:
        """Wait for so many more passes of the running daemon."""
        wanted = self.passes() + more
        soon(lambda: self.passes() >= wanted)

    def bed(self) -> Mapping[str, Any]:
        """The reservoir, as `status` shows it."""
        bed: Mapping[str, Any] = self.ask("status")["reservoirs"]["bed1"]
        return bed

    def alarms(self) -> dict[str, str]:
        """Text of each alarm whose cause is there, by its key."""
        there = (alarm for alarm in self.ask("alarms") if alarm["state"] != "returned_unacknowledged")
        return {alarm["key"]: alarm["text"] for alarm in there}

    def acid_edges(self) -> list[Edge]:
        """What the acid pump's line did since the site was made, by whoever drove it."""
        return [edge for edge in every_edge(self.pins) if edge.line == ACID_LINE]

    def runs(self) -> int:
        """How often the acid pump was turned on."""
        return sum(edge.on for edge in self.acid_edges())

    def until_on(self) -> Edge:
        """The edge by which the acid pump is on now, as soon as it is."""
        soon(lambda: self.runs() and self.acid_edges()[-1].on)
        return self.acid_edges()[-1]

    @property
    def log(self) -> str:
        """All that the daemons of this site have printed."""
        return self._log.read_text()


def soon(happened: Callable[[], object]) -> None:
    """Come back as soon as it has happened. AssertionError where a busy machine cannot be the reason any more."""
    until(happened, within_s=PATIENCE_S)


def every_edge(pins: Path) -> list[Edge]:
    """What a pins file holds, in CLOCK_MONOTONIC seconds: `time.monotonic` of any process."""
    reader = EdgeReader(pins)
    try:
        return reader.new()
    finally:
        reader.close()


def run(module: str, *words: str) -> subprocess.CompletedProcess[str]:
    """A program of ours from start to end."""
    return subprocess.run(
        [sys.executable, "-m", module, *words],
        cwd=HOUSE,
        env=ANY_PYTHON,
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
        check=False,
    )


def end(process: subprocess.Popen[bytes]) -> int:
    """Its exit code after SIGTERM, or after the kill it gets when it does not heed that."""
    if process.poll() is None:
        process.send_signal(signal.SIGTERM)
        try:
            process.wait(END_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
    return process.returncode


def children(process: subprocess.Popen[bytes]) -> list[int]:
    """Process ids of its children."""
    listed = Path(f"/proc/{process.pid}/task/{process.pid}/children").read_text()
    return [int(number) for number in listed.split()]


def now_s() -> float:
    """The moment on the clock that edges carry."""
    return time.monotonic()
