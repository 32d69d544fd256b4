"""The daemon's side of the pump keeper: one way to run a pump, whether the keeper is a child or lives here."""

from __future__ import annotations

import logging
import os
import select
import subprocess
import sys
import time
from collections.abc import Mapping, Sequence
from typing import Any, Final, Protocol

from drivers.keeper import LEASE_S, MAX_RUN_S, PumpKeeper
from drivers.pump_run import Ended, PumpError, RunRefused, RunReport
from drivers.rig import Clock, Rig
from drivers.rig_table import table_to_text

log = logging.getLogger(__name__)

SLICE_S: Final = LEASE_S / 4  # how often the lease is renewed
START_WITHIN_S: Final = 20.0  # a small Pi takes seconds to start a Python program
ANSWER_WITHIN_S: Final = 2.0  # past the end of a run, before the keeper counts as hung
END_WITHIN_S: Final = 1.0
MOST_SLICES: Final = round(2 * MAX_RUN_S / SLICE_S)  # of one run here, in case the rig's clock stands still


class Keeper(Protocol):
    """Runs pumps, one at a time, on the lines it was opened with."""

    def run(self, line: int, run_s: float) -> RunReport:
        """Turn one pump on for `run_s` of the rig's seconds and wait for its end, which is bounded.

        A run that the keeper refuses is reported as failed. Raises PumpError when there is no keeper to ask,
        or when a line does not go low.
        """

    def all_off(self) -> None:
        """Every pump off, at once. From another thread or a signal it cuts a run short."""

    def alive(self) -> bool:
        """Whether a run could be asked for."""

    def tend(self) -> str:
        """Look after the keeper between runs: one that has ended is replaced, which drives every line low.

        What happened, for a person; "" where all is well.
        """

    def close(self) -> None:
        """All off, and the keeper ends. Twice is harmless."""


def open_keeper(
    rig: Rig, rig_table: Mapping[str, Any], lines: Sequence[int], cut_out: int | None = None
) -> Keeper:
    """The keeper of `lines` (BCM numbers), every one driven low: a child process, or here where the rig says so.

    rig_table: the table `rig` was opened from, for the child to open its own. cut_out: the line of the relay in
    series with all pumps' supply, where there is one. Raises PumpError or RigError.
    """
    if not lines:
        return KeeperHere(None, rig.clock, ())
    if rig.in_process:
        return KeeperHere(rig.pin_factory(), rig.clock, lines, cut_out)
    return KeeperChild(rig_table, lines, cut_out)


class KeeperHere:
    """The keeper's code in this process, for a rig whose pins exist nowhere else."""

    def __init__(self, pin_factory: Any, clock: Clock, lines: Sequence[int], cut_out: int | None = None) -> None:
        self._keeper = PumpKeeper(pin_factory, lines, clock.monotonic_s, cut_out)
        self._clock = clock
        self._ended: RunReport | None = None
        self._open = True

    def run(self, line: int, run_s: float) -> RunReport:
        """As in Keeper. The thread that would notice a lapsed lease is the one that renews it."""
        if not self._open:
            raise PumpError("the pump keeper is closed")
        self._ended = None
        try:
            self._keeper.start(line, run_s)
            for _ in range(MOST_SLICES):
                self._clock.sleep(min(SLICE_S, self._keeper.wait_s()))
                self._keeper.renew()
                self._ended = self._keeper.look() or self._ended
                if self._ended is not None:
                    return self._ended
            return RunReport(Ended.CUT_SHORT, 0.0, "the rig's clock stands still")
        except RunRefused as refusal:
            return RunReport(Ended.FAILED, 0.0, str(refusal))
        finally:
            self._keeper.all_off()

    def all_off(self) -> None:
        """As in Keeper."""
        self._ended = self._keeper.all_off("told to stop") or self._ended

    def alive(self) -> bool:
        """As in Keeper."""
        return self._open

    def tend(self) -> str:
        """As in Keeper: what lives in this process does not end before it."""
        return ""

    def close(self) -> None:
        """As in Keeper."""
        self._open = False
        self.all_off()


class _Gone(Exception):  # noqa: N818 - what it is
    """The child has ended or does not answer."""


class _Child:
    """One keeper process: lines of text in and out, no call without a bound."""

    def __init__(self, arguments: Sequence[str]) -> None:
        """Start it and wait until it has driven every line low. Raises _Gone with its reason."""
        modules = os.pathsep.join(folder or os.getcwd() for folder in sys.path)
        self._process = subprocess.Popen(
            [sys.executable, "-P", "-m", "drivers.keeper_process", *arguments],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            bufsize=0,
            env={**os.environ, "PYTHONPATH": modules},
        )
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._commands, self._answers = self._process.stdin, self._process.stdout
        self._unread = b""
        try:
            if self.answer(START_WITHIN_S) != "ready":
                raise _Gone("it did not get ready")
        except BaseException:
            self.end()
            raise

    def running(self) -> bool:
        """Whether the process still runs."""
        return self._process.poll() is None

    def tell(self, command: str) -> None:
        """Send one command. Raises _Gone."""
        try:
            self._commands.write(command.encode("ascii") + b"\n")
        except (OSError, ValueError) as error:  # ValueError: the pipe was closed here
            raise _Gone(self.last_words()) from error

    def answer(self, within_s: float) -> str:
        """The next answer, or "" when there is none in time. Raises _Gone with the child's own reason."""
        until_s = time.monotonic() + within_s
        while b"\n" not in self._unread:
            readable, _, _ = select.select([self._answers], [], [], max(0.0, until_s - time.monotonic()))
            if not readable:
                return ""
            block = self._answers.read(4096)
            if not block:
                raise _Gone(self.last_words())
            self._unread += block
        answer, _, self._unread = self._unread.partition(b"\n")
        text = answer.decode("ascii", errors="replace")
        if text.startswith("bye "):
            raise _Gone(text.removeprefix("bye "))
        return text

    def end(self, within_s: float = END_WITHIN_S) -> None:
        """Close its input, which turns all off, then insist after `within_s`. Twice is harmless."""
        self._commands.close()
        for insist in (self._process.terminate, self._process.kill):
            try:
                self._process.wait(within_s)
            except subprocess.TimeoutExpired:
                insist()
        self._process.wait()
        self._answers.close()

    def last_words(self) -> str:
        """How the process ended, waiting a moment for it."""
        try:
            code = self._process.wait(END_WITHIN_S)
        except subprocess.TimeoutExpired:
            return "it closed its answers"
        return f"it was ended by signal {-code}" if code < 0 else f"it ended with code {code}"


class KeeperChild:
    """The keeper as a process of its own, on real time. See drivers/keeper_process.py for what passes between."""

    def __init__(self, rig_table: Mapping[str, Any], lines: Sequence[int], cut_out: int | None = None) -> None:
        """Raises PumpError when the child cannot drive every line low."""
        self._arguments = [
            table_to_text(rig_table),
            "none" if cut_out is None else str(cut_out),
            *map(str, lines),
        ]
        self._number = 0
        self._open = True
        try:
            self._child = _Child(self._arguments)
        except (_Gone, OSError) as error:
            raise PumpError(f"the pump keeper for GPIO {list(lines)} cannot start: {error}") from error

    def run(self, line: int, run_s: float) -> RunReport:
        """As in Keeper. A child that dies or hangs meanwhile is replaced, since its line may have stayed high."""
        if not self.alive():
            raise PumpError("the pump keeper is closed, or has ended by itself: its own message is in the log")
        self._number += 1
        started_s = time.monotonic()
        try:
            return self._ask_and_follow(line, run_s)
        except _Gone as gone:
            return RunReport(Ended.CUT_SHORT, time.monotonic() - started_s, self._replaced(str(gone)))
        except BaseException:  # from elsewhere, as Ctrl-C
            self.all_off()
            raise

    def _ask_and_follow(self, line: int, run_s: float) -> RunReport:
        """Ask for the run and renew the lease until the keeper says how it ended. Raises _Gone."""
        latest_s = time.monotonic() + (run_s if run_s <= MAX_RUN_S else 0.0) + ANSWER_WITHIN_S
        self._child.tell(f"run {self._number} {line} {run_s!r}")
        while time.monotonic() < latest_s:
            answer = self._child.answer(SLICE_S)
            if answer.startswith(f"end {self._number} "):
                _, _, outcome, ran_s, note = answer.split(" ", 4)
                return RunReport(Ended(outcome), float(ran_s), note)
            self._child.tell("lease")
        raise _Gone("it does not answer")

    def all_off(self) -> None:
        """As in Keeper. Where the child has died, a new one drives every line low."""
        try:
            self._child.tell("off")
        except _Gone as gone:
            if self._open:
                self._replaced(str(gone))

    def alive(self) -> bool:
        """As in Keeper."""
        return self._open and self._child.running()

    def tend(self) -> str:
        """As in Keeper."""
        return self._replaced(self._child.last_words()) if self._open and not self._child.running() else ""

    def close(self) -> None:
        """As in Keeper."""
        self._open = False
        self._child.end()

    def _replaced(self, why: str) -> str:
        """Start a successor, whose first act is to drive every line low. What happened, for a person."""
        self._child.end(within_s=0.0)  # hung or dead: its line may be high, so no patience
        try:
            self._child = _Child(self._arguments)
        except (_Gone, OSError) as error:
            what = f"the pump keeper stopped ({why}) and cannot start again ({error}): cut the pumps' supply"
        else:
            what = f"the pump keeper stopped ({why}); a new one has driven every line low"
        log.error("%s", what)
        return what
