"""A level sender: its voltage says how much water there is."""

from __future__ import annotations

from typing import Self

from pydantic import Field, model_validator

from drivers.wiring import AdcWiring

LEAST_SPAN_V = 0.1


class LevelSender(AdcWiring):
    """A pressure, ultrasonic or resistive sender whose volts run straight from `empty_v` to `full_v`.

    empty_v: with the reservoir empty, best not 0, so that a broken wire is told from it; full_v: with the
    nominal volume in it. Straight sides are taken for granted: half the height is half the water.
    """

    empty_v: float = Field(ge=-6.144, le=6.144, description="output with the reservoir empty")
    full_v: float = Field(ge=-6.144, le=6.144, description="output with the reservoir full")

    @model_validator(mode="after")
    def _apart(self) -> Self:
        if not abs(self.full_v - self.empty_v) >= LEAST_SPAN_V:
            raise ValueError(
                f"full_v = {self.full_v:g} and empty_v = {self.empty_v:g} must be at least {LEAST_SPAN_V:g} V "
                "apart; measure both at the reservoir"
            )
        return self

    def signal(self, volts: float) -> float:
        """Share of the nominal volume, 0..1; a little beyond where it is overfull."""
        return (volts - self.empty_v) / (self.full_v - self.empty_v)
