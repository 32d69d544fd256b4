"""A contact at a GPIO line: a flow switch, a relay that turns with the circulation pump, a sensor in the tray."""

from __future__ import annotations

from typing import Any

from gpiozero import InputDevice


class Contact:
    """A contact between a GPIO line and ground, the line pulled up inside the computer.

    A broken wire reads open.
    """

    def __init__(self, *, line: int, pin_factory: Any) -> None:
        self._input = InputDevice(line, pull_up=True, pin_factory=pin_factory)

    def closed(self) -> bool:
        """Whether it is closed, now."""
        return bool(self._input.value)

    def close(self) -> None:
        """Give the line back. Twice is harmless."""
        self._input.close()
