"""What every probe driver gives: a `Sample`, or a `ProbeError` with its cause."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol

# ProbeError
#   AdcError          the converter did not answer, answered late, or answered something impossible
#   SensorError       a one-wire sensor or a switch could not be read


class Fault(StrEnum):
    """Why a probe could not be read."""

    NO_ANSWER = "no_answer"
    TIMED_OUT = "timed_out"
    READ_BACK = "read_back"
    REFERENCE = "reference"  # its converter measures a known voltage wrongly
    CHECKSUM = "checksum"
    IMPOSSIBLE = "impossible"


class ProbeError(OSError):
    """A probe could not be read. `fault` says why, the message says which probe and what to look at."""

    def __init__(self, fault: Fault, message: str) -> None:
        super().__init__(message)
        self.fault = fault


class AdcError(ProbeError):
    """The analog converter gave no usable conversion."""


class SensorError(ProbeError):
    """A digital sensor gave no usable value."""


class Quantity(StrEnum):
    """What a probe measures. The unit of its signal, then of its reading, is in the comment.

    A second probe of one kind has a name of its own: `ph_2` beside `ph`. The two vote on what `ph` is.
    """

    PH = "ph"  # electrode mV  ->  pH
    EC = "ec"  # conductance mS (cell constant not yet applied)  ->  mS/cm at 25 °C
    TEMPERATURE = "temperature"  # °C  ->  °C
    LEVEL = "level"  # share of the nominal volume, 0..1 (a float switch: 1.0 enough, 0.0 low)
    AIR_TEMPERATURE = "air_temperature"  # °C  ->  °C; nothing is dosed by it, nor by the next two
    HUMIDITY = "humidity"  # % relative  ->  % relative
    LIGHT = "light"  # µmol/(m² s)  ->  µmol/(m² s)
    PH_2 = "ph_2"
    EC_2 = "ec_2"
    TEMPERATURE_2 = "temperature_2"

    @property
    def kind(self) -> Quantity:
        """The quantity itself, also of a second probe: `ph` of `ph_2`."""
        return _FIRST.get(self, self)

    @property
    def second(self) -> Quantity | None:
        """The name of a second probe for it; None where there can be none."""
        return _SECOND.get(self)


_SECOND = {
    Quantity.PH: Quantity.PH_2,
    Quantity.EC: Quantity.EC_2,
    Quantity.TEMPERATURE: Quantity.TEMPERATURE_2,
}
_FIRST = {second: first for first, second in _SECOND.items()}


@dataclass(frozen=True, slots=True)
class Sample:
    """One look at one probe: the volts at its input and the signal its circuit makes of them.

    signal: electrode mV, conductance in mS, °C or share of volume (see Quantity).
    volts, spread_v: mean, and largest minus smallest, of the conversions that belong together; None for a
        digital sensor.
    clipped: the voltage met the end of the converter's range, so the true one is unknown.
    """

    quantity: Quantity
    at_s: float
    signal: float
    volts: float | None = None
    spread_v: float | None = None
    clipped: bool = False


class Probe(Protocol):
    """A probe as its circuit is wired. `sample` raises ProbeError and never returns a made-up value."""

    quantity: Quantity

    def sample(self) -> Sample: ...

    def close(self) -> None: ...
