"""Amplifier boards between an electrode and the converter: pH and EC."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, Field

from drivers.wiring import AdcWiring


def _not_flat(gain: float) -> float:
    if not abs(gain) >= 0.1:
        raise ValueError("must be at least 0.1 either way: below that the electrode moves the output too little")
    return gain


class PhAmplifier(AdcWiring):
    """A pH electrode's amplifier: output = zero_v + gain * electrode volts. Inverting: gain below 0."""

    zero_v: float = Field(
        ge=-6.144, le=6.144, description="output with the electrode's socket short-circuited: 0 mV"
    )
    gain: Annotated[float, AfterValidator(_not_flat)] = Field(
        ge=-100.0, le=100.0, description="output volts per electrode volt; negative where it inverts"
    )

    def signal(self, volts: float) -> float:
        """Electrode mV."""
        return electrode_mv(volts, self.zero_v, self.gain)


class EcAmplifier(AdcWiring):
    """A conductivity board: the conductance between the cell's electrodes as a voltage above `zero_v`.

    With `excitation_line` the cell's current flows only while EC is read, so that it does not disturb pH.
    """

    zero_v: float = Field(default=0.0, ge=-6.144, le=6.144, description="output with the cell dry")
    ms_per_v: float = Field(gt=0.0, le=1000.0, description="conductance per output volt")
    excitation_line: int | None = Field(
        default=None,
        ge=0,
        le=27,
        description="the GPIO (BCM) number that switches the cell's current, high for on; left out: always on",
    )
    excitation_settle_s: float = Field(
        default=0.5, ge=0.05, le=5.0, description="from switching on until the board's output is at rest"
    )

    def look_s(self) -> float:
        """How long one look takes, in seconds, with the time to settle where its current is switched."""
        return super().look_s() + (0.0 if self.excitation_line is None else self.excitation_settle_s)

    def claims(self) -> frozenset[str]:
        """The plus input, and the line that switches the current."""
        line = self.excitation_line
        return super().claims() | (frozenset() if line is None else {f"gpio{line}"})

    def signal(self, volts: float) -> float:
        """Conductance in mS, the cell constant not yet applied."""
        return conductance_ms(volts, self.zero_v, self.ms_per_v)


def electrode_mv(volts: float, zero_v: float, gain: float) -> float:
    """Electrode mV from the amplifier's output. gain: output volts per electrode volt, sign included."""
    return (volts - zero_v) / gain * 1000.0


def conductance_ms(volts: float, zero_v: float, ms_per_v: float) -> float:
    """Conductance in mS from the board's output. ms_per_v: mS for each volt above zero_v."""
    return (volts - zero_v) * ms_per_v
