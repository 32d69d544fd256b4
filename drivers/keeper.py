"""The pump keeper: the only code that turns a pump on, and a program of its own that holds nothing else.

    python -m drivers.keeper '<the [rig] table as JSON>' <line> <line> ...

Its parent writes one command to a line on standard input, and reads one answer to a line from standard output:

    run <number> <line> <seconds>     one pump on, for so long. The numbers ascend: a repeated one is refused
    lease                             "I am still here", wanted within LEASE_S of the last while a pump runs
    off                               all off
                                      ready                                 at start, every line driven low
                                      end <number> <outcome> <seconds> <note>       the pump is off
                                      bye <why>                                     all off, the keeper ends

Every pump goes off at the end of its run, at a lapsed lease, at a refused or malformed command, at end of file,
at SIGTERM and SIGHUP, and at an exception of the keeper itself. Only the standard library is used; what drives
the pins is the pin factory of the rig.
"""

from __future__ import annotations

import json
import os
import select
import signal
import sys
import time
import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

from drivers.rig import open_rig

MAX_RUN_S: Final = 30.0  # no run is longer, whatever is asked: a small pump's runaway stays within one bottle
LEASE_S: Final = 2.0  # a pump whose parent has been silent for so long goes off
OVER_S: Final = 0.5  # a run this much longer than asked is told as such
MAX_COMMAND_BYTES: Final = 128
IDLE_S: Final = 10.0  # with all pumps off there is nothing to watch but the next command
TOML_VALUE: Final = "toml value"
SIGNALS_TO_END: Final = (signal.SIGTERM, signal.SIGHUP)


class Ended(StrEnum):
    """How a run ended. The words are the ledger's."""

    DONE = "done"
    CUT_SHORT = "cut_short"
    FAILED = "failed"  # the pump was never turned on


@dataclass(frozen=True, slots=True)
class RunReport:
    """A finished run: how it ended, the seconds from on to off, and what a person should know of it."""

    outcome: Ended
    ran_s: float
    note: str = ""


class RunRefused(ValueError):  # noqa: N818 - a refusal, as elsewhere in this house
    """This run may not be; nothing was turned on. The message says what is allowed."""


class Nonsense(ValueError):  # noqa: N818 - what it is
    """A command that no parent of ours sends."""


class PumpError(OSError):
    """The pumps cannot be driven. The message says why, and what to look at."""


class LineStuck(PumpError):  # noqa: N818 - what it is
    """A line that was driven low could not be, or still reads high: the wiring has to stop that pump."""


@dataclass(frozen=True, slots=True)
class _Run:
    line: int
    asked_s: float
    started_s: float


class PumpKeeper:
    """The lines of all pumps, of which one at a time may be high, for a bounded and renewed time.

    It acts when it is called: whoever holds it calls `look` at least as often as `wait_s` says.
    """

    def __init__(self, pin_factory: Any, lines: Sequence[int], now: Callable[[], float]) -> None:
        """Drive every line low. pin_factory: gpiozero's kind; lines: BCM numbers; now: monotonic seconds."""
        self._now = now
        self._pins = {line: pin_factory.pin(line) for line in lines}
        self._run: _Run | None = None
        self._lease_until_s = 0.0
        self._each_line(lambda pin: pin.output_with_state(False))

    def start(self, line: int, run_s: float) -> None:
        """Turn one pump on. Raises RunRefused, with nothing turned on, unless all is as it must be."""
        if line not in self._pins:
            raise RunRefused(f"GPIO {line} is no pump line: those are {sorted(self._pins)}")
        if not 0.0 < run_s <= MAX_RUN_S:  # NaN lands here
            raise RunRefused(f"a run of {run_s} s: must be above 0 s and at most {MAX_RUN_S:g} s")
        if self._run is not None:
            raise RunRefused(f"GPIO {self._run.line} is running: one pump at a time")
        self._run = _Run(line, run_s, self._now())
        self.renew()
        self._pins[line].state = True

    def renew(self) -> None:
        """Renew the lease: the running pump may stay on for another LEASE_S, and never past its end."""
        self._lease_until_s = self._now() + LEASE_S

    def look(self) -> RunReport | None:
        """Turn off what is due, or whose lease has lapsed. The report, once, of a run that this ended."""
        run = self._run
        if run is None:
            return None
        now_s, due_s = self._now(), run.started_s + run.asked_s
        if run.started_s <= now_s < min(due_s, self._lease_until_s):  # a clock gone wrong does not pass
            return None
        if now_s >= due_s:
            return self.all_off()
        return self.all_off(f"not heard from for {LEASE_S:g} s: the lease lapsed")

    def wait_s(self) -> float:
        """Seconds until `look` has something to do, 0 or more."""
        if self._run is None:
            return IDLE_S
        until_s = min(self._run.started_s + self._run.asked_s, self._lease_until_s)
        return max(0.0, until_s - self._now())

    def all_off(self, cut_short_by: str = "") -> RunReport | None:
        """Drive every line low and read it back. The report of the run that this ended, if one was on.

        Raises LineStuck after every line has been tried.
        """
        run, self._run = self._run, None
        self._each_line(_drive_low)
        if run is None:
            return None
        ran_s = self._now() - run.started_s
        if cut_short_by:
            return RunReport(Ended.CUT_SHORT, ran_s, cut_short_by)
        over = "" if ran_s <= run.asked_s + OVER_S else f"ran {ran_s:.1f} s instead of {run.asked_s:.1f} s"
        return RunReport(Ended.DONE, ran_s, over)

    def _each_line(self, act: Callable[[Any], None]) -> None:
        """`act` on each pin, going on past a failure. Raises LineStuck naming those that failed."""
        failed = []
        for line, pin in self._pins.items():
            try:
                act(pin)
            except Exception as error:  # noqa: BLE001 - whatever the pin library raises, the next line comes first
                failed.append(f"GPIO {line} ({error})")
        if failed:
            raise LineStuck(
                f"cannot be driven low: {', '.join(failed)}. Cut the pumps' supply and look at the wiring"
            )


def _drive_low(pin: Any) -> None:
    pin.state = False
    if pin.state:
        raise LineStuck("it still reads high")


class Conversation:
    """What passes between a keeper and its parent: whole commands in, answers out, never waiting to be heard."""

    def __init__(self, keeper: PumpKeeper, commands: int, answers: int, signals: int) -> None:
        """File descriptors: commands to read, answers to write, and one that is readable after a signal."""
        self._keeper = keeper
        self._commands = commands
        self._answers = answers
        self._signals = signals
        self._number = 0  # of the newest run
        os.set_blocking(answers, False)  # a parent that does not read must not hold up a pump's end

    def serve(self) -> str:
        """Obey until the commands end or a signal comes; says which. All is off when it returns or raises."""
        unread = b""
        try:
            self._say("ready")
            while True:
                wanted = (self._signals, self._commands)
                readable, _, _ = select.select(wanted, [], [], self._keeper.wait_s())
                self._tell(self._keeper.look())
                if self._signals in readable:
                    return "told to end by a signal"
                block = os.read(self._commands, 4096) if readable else None
                if block == b"":
                    return "the commands ended"
                *commands, unread = (unread + (block or b"")).split(b"\n")
                for command in (*commands, unread):
                    if len(command) > MAX_COMMAND_BYTES:
                        raise Nonsense(f"a command of more than {MAX_COMMAND_BYTES} bytes")
                for command in commands:
                    self._obey(command)
        finally:
            self._keeper.all_off()

    def _obey(self, command: bytes) -> None:
        match command.split(b" "):
            case [b"lease"]:
                self._keeper.renew()
            case [b"off"]:
                self._tell(self._keeper.all_off("told to stop"))
            case [b"run", number, line, run_s]:
                self._start(*_numbers(number, line, run_s))
            case _:
                raise Nonsense(f"not a command: {command!r}")

    def _start(self, number: int, line: int, run_s: float) -> None:
        try:
            if number <= self._number:
                raise RunRefused(f"run {number} is not newer than run {self._number}")
            self._keeper.start(line, run_s)
            self._number = number
        except RunRefused as refusal:
            self._tell(self._keeper.all_off("another run was asked for meanwhile"))
            self._say(f"end {number} {Ended.FAILED} 0.0 {refusal}")

    def _tell(self, report: RunReport | None) -> None:
        if report is not None:
            self._say(f"end {self._number} {report.outcome} {report.ran_s:.3f} {report.note}")

    def _say(self, answer: str) -> None:
        say(self._answers, answer)


def _numbers(number: bytes, line: bytes, run_s: bytes) -> tuple[int, int, float]:
    try:
        return int(number), int(line), float(run_s)
    except ValueError as error:
        raise Nonsense(f"not three numbers: {number!r} {line!r} {run_s!r}") from error


def say(answers: int, answer: str) -> None:
    """One answer to the parent. Raises OSError when the parent is gone or has stopped reading."""
    os.write(answers, answer.encode("ascii", errors="replace").replace(b"\n", b" ") + b"\n")


def signals_to_end() -> int:
    """A file descriptor that turns readable at SIGTERM or SIGHUP; nothing is interrupted by them.

    The keyboard's signals go to the whole group and are ignored: the parent decides.
    """
    readable, writable = os.pipe()
    os.set_blocking(writable, False)
    signal.set_wakeup_fd(writable)
    for ending in SIGNALS_TO_END:
        signal.signal(ending, lambda number, frame: None)
    for keyboard in (signal.SIGINT, signal.SIGQUIT):
        signal.signal(keyboard, signal.SIG_IGN)
    return readable


def table_to_json(table: Mapping[str, Any]) -> str:
    """A TOML table as JSON. A date or a time, which JSON has not, becomes `{TOML_VALUE: text}`."""
    return json.dumps(dict(table), default=lambda value: {TOML_VALUE: value.isoformat()})


def table_from_json(text: str) -> dict[str, Any]:
    """The table that table_to_json wrote."""

    def restored(found: dict[str, Any]) -> Any:
        return tomllib.loads(f"value = {found[TOML_VALUE]}")["value"] if TOML_VALUE in found else found

    table: dict[str, Any] = json.loads(text, object_hook=restored)
    return table


def main(arguments: Sequence[str]) -> int:
    """Keep the lines in `arguments[1:]` of the rig in `arguments[0]`. 0 after end of file or a signal, else 1."""
    signals = signals_to_end()
    answers = os.dup(sys.stdout.fileno())
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())  # what a rig prints is no answer
    code = 1
    try:
        rig = open_rig(table_from_json(arguments[0]))
        keeper = PumpKeeper(rig.pin_factory(), [int(line) for line in arguments[1:]], time.monotonic)
        why, code = Conversation(keeper, sys.stdin.fileno(), answers, signals).serve(), 0
    except Exception as error:  # noqa: BLE001 - all is off; the parent is told why, and this process ends
        why = f"{type(error).__name__}: {error}"
    for ending in SIGNALS_TO_END:  # all is off: a second one has nothing to end
        signal.signal(ending, signal.SIG_IGN)
    try:
        say(answers, f"bye {why}")
    except OSError:
        print(f"pump keeper: {why}", file=sys.stderr)
    return code


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
