"""The pump keeper: the only code that turns a pump on, a process of its own that holds nothing else.

    python -m drivers.keeper_process '<the [rig] table, by drivers/rig_table.py>' <cut-out> <line> <line> ...

The numbers are BCM numbers; for the cut-out it is "none" where there is none.

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

import os
import select
import signal
import sys
import time
from collections.abc import Sequence
from typing import Final

from drivers.keeper import PumpKeeper
from drivers.pump_run import Ended, RunRefused, RunReport
from drivers.rig import open_rig
from drivers.rig_table import table_from_text

MAX_COMMAND_BYTES: Final = 128
SIGNALS_TO_END: Final = (signal.SIGTERM, signal.SIGHUP)


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
        """Obey until the commands end or a signal comes; says which. All is off when it returns or raises.

        Raises ValueError at a command that no parent of ours sends, OSError as `say`, LineStuck.
        """
        unread = b""
        try:
            say(self._answers, "ready")
            while True:
                readable, _, _ = select.select((self._signals, self._commands), [], [], self._keeper.wait_s())
                self._tell(self._keeper.look())
                if self._signals in readable:
                    return "told to end by a signal"
                block = os.read(self._commands, 4096) if readable else None
                if block == b"":
                    return "the commands ended"
                *commands, unread = (unread + (block or b"")).split(b"\n")
                for command in (*commands, unread):
                    if len(command) > MAX_COMMAND_BYTES:
                        raise ValueError(f"a command of more than {MAX_COMMAND_BYTES} bytes")
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
                self._start(int(number), int(line), float(run_s))
            case _:
                raise ValueError(f"not a command: {command!r}")

    def _start(self, number: int, line: int, run_s: float) -> None:
        try:
            if number <= self._number:
                raise RunRefused(f"run {number} is not newer than run {self._number}")
            self._keeper.start(line, run_s)
            self._number = number
        except RunRefused as refusal:
            self._tell(self._keeper.all_off("another run was asked for meanwhile"))
            say(self._answers, f"end {number} {Ended.FAILED} 0.0 {refusal}")

    def _tell(self, report: RunReport | None) -> None:
        if report is not None:
            say(self._answers, f"end {self._number} {report.outcome} {report.ran_s:.3f} {report.note}")


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


def main(arguments: Sequence[str]) -> int:
    """Keep the lines in `arguments[2:]` of the rig in `arguments[0]`. 0 after end of file or a signal, else 1."""
    signals = signals_to_end()
    answers = os.dup(sys.stdout.fileno())
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())  # what a rig prints is no answer
    try:
        rig = open_rig(table_from_text(arguments[0]))
        cut_out = None if arguments[1] == "none" else int(arguments[1])
        keeper = PumpKeeper(rig.pin_factory(), [int(line) for line in arguments[2:]], time.monotonic, cut_out)
        why, code = Conversation(keeper, sys.stdin.fileno(), answers, signals).serve(), 0
    except Exception as error:  # noqa: BLE001 - all is off; the parent is told why, and this process ends
        why, code = f"{type(error).__name__}: {error}", 1
    for ending in SIGNALS_TO_END:  # all is off: a second one has nothing to end
        signal.signal(ending, signal.SIG_IGN)
    try:
        say(answers, f"bye {why}")
    except OSError:
        print(f"pump keeper: {why}", file=sys.stderr)
    return code


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
