"""A rig for keepers that are processes of their own: its pins append each edge to a file, for another to read.

open = "tests.drivers.edge_rig:open_rig"
edges = "<file>"       one line for each edge: GPIO number, 1 or 0
says = "<words>"       printed while opening, as a careless rig might
breaks_at = 27         a line that cannot be driven
dies_at = 17           a line whose "on" raises
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from gpiozero.pins.mock import MockFactory, MockPin

from drivers.rig import Clock
from tests.drivers.parts import StepClock


class EdgePin(MockPin):  # type: ignore[misc]  # gpiozero has no types
    """A mock pin that writes down what it is driven to."""

    def _set_state(self, value: Any) -> None:
        super()._set_state(value)
        line = int(self.info.name.removeprefix("GPIO"))
        if line == self._factory.table.get("breaks_at"):
            raise RuntimeError("no such line on this board")
        os.write(self._factory.edges, f"{line} {int(self._state)}\n".encode("ascii"))
        if value and line == self._factory.table.get("dies_at"):
            raise RuntimeError("the pin library broke")


class EdgeFactory(MockFactory):  # type: ignore[misc]
    """Makes EdgePins."""

    def __init__(self, table: Mapping[str, Any]) -> None:
        super().__init__(pin_class=EdgePin)
        self.table = table
        self.edges = os.open(table["edges"], os.O_WRONLY | os.O_APPEND | os.O_CREAT)


class EdgeRig:
    """Pins only."""

    in_process = False
    one_wire_root = Path("nowhere")

    def __init__(self, table: Mapping[str, Any]) -> None:
        self.clock: Clock = StepClock()
        self._table = table

    def i2c(self, bus: int) -> Any:
        raise AssertionError("a keeper has no business on a bus")

    def pin_factory(self) -> EdgeFactory:
        return EdgeFactory(self._table)

    def close(self) -> None:
        return None


def open_rig(table: Mapping[str, Any]) -> EdgeRig:
    print(table.get("says", ""))
    return EdgeRig(table)
