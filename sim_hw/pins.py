"""gpiozero's mock pins, told to the world: output levels as edges, input levels from the water.

In one process an edge is a call. With a pins file, any process may drive the pins: each edge is one line

    <CLOCK_MONOTONIC in ns> <BCM line> <0|1>

appended in one write, so it survives whatever happens to its writer, and anyone can check it.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gpiozero.pins.mock import MockFactory, MockPin

PI_REVISION = "a02082"  # the board whose header the mock pretends to have
NS_PER_S = 1e9

TellLevel = Callable[[int, bool], None]  # BCM line, driven high
AskContact = Callable[[int], bool | None]  # BCM line -> closed to ground, open, or None: nothing is wired there


@dataclass(frozen=True, slots=True)
class Edge:
    """A line that began or ceased to be driven high."""

    at_s: float
    line: int
    on: bool


class BenchPin(MockPin):  # type: ignore[misc]  # gpiozero has no types
    """A mock pin whose driven level is told, and whose input level is asked for.

    As an input it drives nothing: the pull-down at the pump's driver takes the line low.
    """

    def __init__(self, factory: BenchFactory, info: Any) -> None:
        super().__init__(factory, info)
        self.line = int(info.name.removeprefix("GPIO"))

    def _set_function(self, value: str) -> None:
        super()._set_function(value)
        if value == "input":
            self._factory.let_go(self.line)

    def _set_state(self, value: Any) -> None:
        super()._set_state(value)
        self._factory.tell(self.line, self._state)

    def _get_state(self) -> Any:
        if self._function == "input" and self._factory.contact(self.line):
            return False
        return self._state


class BenchFactory(MockFactory):  # type: ignore[misc]
    """gpiozero's mock factory with `BenchPin`s. `tell` hears each change, and the first level of each line."""

    def __init__(self, tell: TellLevel, contact: AskContact) -> None:
        super().__init__(revision=PI_REVISION, pin_class=BenchPin)
        self.contact = contact
        self._tell = tell
        self._told: dict[int, bool] = {}

    def tell(self, line: int, high: bool) -> None:
        """Pass on the level of a driven line."""
        if self._told.get(line) is not high:
            self._told[line] = high
            self._tell(line, high)

    def let_go(self, line: int) -> None:
        """A line that is driven no longer is low."""
        if self._told.get(line):
            self.tell(line, False)


class EdgeWriter:
    """Appends edges to a pins file."""

    def __init__(self, path: Path) -> None:
        self._file = os.open(path, os.O_WRONLY | os.O_APPEND | os.O_CREAT | os.O_CLOEXEC, 0o644)

    def tell(self, line: int, high: bool) -> None:
        """One edge, now."""
        os.write(self._file, f"{time.monotonic_ns()} {line} {int(high)}\n".encode("ascii"))

    def close(self) -> None:
        """Twice is harmless."""
        if self._file >= 0:
            os.close(self._file)
            self._file = -1


class EdgeReader:
    """Reads a pins file as it grows. A line that is not an edge stops it with ValueError: nothing is guessed."""

    def __init__(self, path: Path) -> None:
        path.touch()
        self._path = path
        self._file = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
        self._half = b""

    def new(self) -> list[Edge]:
        """The edges written since the last call, in the order of the file; none once closed."""
        *whole, self._half = (self._half + self._read()).split(b"\n")
        return [self._edge(line) for line in whole]

    def close(self) -> None:
        """Twice is harmless."""
        if self._file >= 0:
            os.close(self._file)
            self._file = -1

    def _read(self) -> bytes:
        parts = []
        while self._file >= 0 and (part := os.read(self._file, 65536)):
            parts.append(part)
        return b"".join(parts)

    def _edge(self, text: bytes) -> Edge:
        try:
            at_ns, line, level = text.decode("ascii").split()
            return Edge(int(at_ns) / NS_PER_S, int(line), {"0": False, "1": True}[level])
        except (ValueError, KeyError) as error:
            raise ValueError(f"{self._path}: {text!r} is no edge; move the file away and start again") from error
