"""A conductivity cell whose current flows only while it is looked at, switched by a GPIO line.

The current of an EC cell goes through the water, and finds its way into a pH electrode in the same water. So:

    off ......................... | on | settle | EC is read | off ........ pH is read only here
"""

from __future__ import annotations

from typing import Any

from gpiozero import OutputDevice

from drivers.probe import Probe, Sample
from drivers.rig import Clock


class ExcitedProbe:
    """A probe that is switched on for each look, and off after it, also where the look fails.

    line: its GPIO (BCM) number, high is on; settle_s: from on until the board's output is at rest. Off from the
    start: the line is driven low as soon as it is claimed.
    """

    def __init__(self, *, probe: Probe, line: int, settle_s: float, pin_factory: Any, clock: Clock) -> None:
        self.quantity = probe.quantity
        self._probe = probe
        self._settle_s = settle_s
        self._clock = clock
        self._switch = OutputDevice(line, initial_value=False, pin_factory=pin_factory)

    def sample(self) -> Sample:
        """As the probe gives it, once it has settled. Raises what the probe raises."""
        self._switch.on()
        try:
            self._clock.sleep(self._settle_s)
            return self._probe.sample()
        finally:
            self._switch.off()

    def close(self) -> None:
        """Off, and the line given back. Twice is harmless."""
        self._switch.close()
        self._probe.close()
