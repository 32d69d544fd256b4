"""A light sensor: its voltage says how much light for growing falls on it."""

from __future__ import annotations

from pydantic import Field

from drivers.wiring import AdcWiring


class LightSensor(AdcWiring):
    """A quantum sensor, or a photodiode compared with one, whose volts run straight with the light.

    The light is photosynthetic photon flux density, µmol/(m² s): photons of 400 to 700 nm.
    """

    dark_v: float = Field(default=0.0, ge=-6.144, le=6.144, description="output in the dark, covered")
    umol_per_v: float = Field(gt=0.0, le=1e5, description="µmol/(m² s) for each volt above dark_v")

    def signal(self, volts: float) -> float:
        """µmol/(m² s)."""
        return (volts - self.dark_v) * self.umol_per_v
