"""A rig of the standard library alone, for keepers that are started by the hundred.

open = "tests.drivers.plain_rig:open_rig"
edges = "<file>"       one line for each edge: GPIO number, 1 or 0, nanoseconds of the clock all processes share
"""

from __future__ import annotations

import os
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any


class PlainPin:
    """A pin as far as a keeper needs one, that writes down when it is driven to what."""

    def __init__(self, line: int, edges: int) -> None:
        self._line = line
        self._edges = edges
        self._high = False

    def output_with_state(self, state: bool) -> None:
        self.state = state

    @property
    def state(self) -> bool:
        return self._high

    @state.setter
    def state(self, state: bool) -> None:
        self._high = state
        os.write(self._edges, f"{self._line} {int(state)} {time.monotonic_ns()}\n".encode("ascii"))


class PlainFactory:
    """Makes PlainPins."""

    def __init__(self, edges: str) -> None:
        self._edges = os.open(edges, os.O_WRONLY | os.O_APPEND | os.O_CREAT)

    def pin(self, line: int) -> PlainPin:
        return PlainPin(line, self._edges)


class PlainRig:
    """Pins only: a keeper reads no clock of the rig's."""

    in_process = False
    one_wire_root = Path("nowhere")

    def __init__(self, table: Mapping[str, Any]) -> None:
        self._edges: str = table["edges"]

    def i2c(self, bus: int) -> Any:
        raise AssertionError("a keeper has no business on a bus")

    def pin_factory(self) -> PlainFactory:
        return PlainFactory(self._edges)

    def close(self) -> None:
        return None


def open_rig(table: Mapping[str, Any]) -> PlainRig:
    return PlainRig(table)
