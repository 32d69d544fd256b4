"""A float switch: water enough, or low."""

from __future__ import annotations

from typing import Any, Literal

from gpiozero import InputDevice
from pydantic import Field

from drivers.probe import Quantity, Sample
from drivers.rig import Clock
from drivers.wiring import Wiring


class FloatSwitchWiring(Wiring):
    """A contact between a GPIO line and ground, the line pulled up inside the computer.

    `closed_means = "enough"` is the safe way round: a broken wire then reads as low, and nothing is dosed.
    """

    line: int = Field(ge=0, le=27, description="its GPIO (BCM) number")
    closed_means: Literal["enough", "low"] = Field(
        default="enough", description="what a closed contact says of the water"
    )

    def claims(self) -> frozenset[str]:
        """The line, as `gpio23`."""
        return frozenset({f"gpio{self.line}"})


class FloatSwitch:
    """The contact, through gpiozero. Its signal is 1.0 for enough water and 0.0 for low."""

    quantity = Quantity.LEVEL

    def __init__(self, *, wiring: FloatSwitchWiring, pin_factory: Any, clock: Clock) -> None:
        self._clock = clock
        self._closed_is_enough = wiring.closed_means == "enough"
        self._contact = InputDevice(wiring.line, pull_up=True, pin_factory=pin_factory)

    def sample(self) -> Sample:
        """Enough or low, now."""
        closed = bool(self._contact.value)
        return Sample(self.quantity, self._clock.monotonic_s(), float(closed is self._closed_is_enough))

    def close(self) -> None:
        """Give the line back. Twice is harmless."""
        self._contact.close()
