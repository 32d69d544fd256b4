"""A steady, known voltage at a spare input of a converter, which shows what it makes of the other inputs."""

from __future__ import annotations

from typing import Self

from pydantic import Field, model_validator

from drivers.ads1115 import CLIPPED_CODE, CODES_PER_SIDE, REFERENCE_OFF_SHARE, Reference, mux_of
from drivers.wiring import AdcInput

LEAST_SHARE_OF_RANGE = 0.1  # so that what is allowed to be off is some thirty codes, far more than noise


class ReferenceInput(AdcInput):
    """A known voltage on a spare input of a converter that probes are on, as of a 2.500 V shunt reference.

    It must not come from the converter's own supply, which would sag with it. Measured with the probes of that
    converter at each pass: off by more than 1 %, nothing is dosed by any of them.
    """

    expected_v: float = Field(
        ge=0.1, le=6.0, description="the known voltage, as its data sheet or a good meter says"
    )

    @model_validator(mode="after")
    def _well_within_the_range(self) -> Self:
        low_v = self.full_scale_v * LEAST_SHARE_OF_RANGE
        high_v = self.full_scale_v * CLIPPED_CODE / CODES_PER_SIDE / (1.0 + REFERENCE_OFF_SHARE)
        if not low_v <= self.expected_v <= high_v:
            raise ValueError(
                f"expected_v = {self.expected_v:g}: must be from {low_v:.3g} to {high_v:.3g} V where "
                f"full_scale_v = {self.full_scale_v:g}; choose the range that it fits in"
            )
        return self

    def named(self, name: str) -> Reference:
        """What the converter is to measure, under its name in the settings."""
        return Reference(
            name=name,
            bus_number=self.i2c_bus,
            address=self.address,
            mux=mux_of(self.input, self.minus_input),
            full_scale_v=self.full_scale_v,
            conversions=self.conversions,
            expected_v=self.expected_v,
        )
