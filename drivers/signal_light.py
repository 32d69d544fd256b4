"""A lamp or a buzzer at the box, on while a person is needed and cannot be reached otherwise."""

from __future__ import annotations

from typing import Any

from gpiozero import OutputDevice


class SignalLight:
    """An output at a GPIO line, high is on; off from the start.

    A light-emitting diode needs its series resistor, a buzzer a transistor: a pin gives some 10 mA at most.
    """

    def __init__(self, *, line: int, pin_factory: Any) -> None:
        self._output = OutputDevice(line, initial_value=False, pin_factory=pin_factory)

    def show(self, *, on: bool) -> None:
        """On or off from now on."""
        if on is not bool(self._output.value):
            self._output.value = on

    def close(self) -> None:
        """Off, and the line given back. Twice is harmless."""
        self._output.close()
