"""What every driver's table in the settings shares, and the one probe behind all circuits that give volts."""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

from drivers.ads1115 import GAIN_OF_FULL_SCALE_V, MUX_OF_PAIR, Ads1115, mux_of
from drivers.hum import SET, SET_EVERY_S
from drivers.probe import Quantity, Sample
from drivers.rig import Clock

# How a probe is read, not how it is wired: no calibration rests on it.
HOW_READ = {"conversions", "excitation_line", "excitation_settle_s"}


class Wiring(BaseModel):
    """A probe's table: frozen, nothing unknown, numbers finite, no silent conversions."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, strict=True)

    def claims(self) -> frozenset[str]:
        """What the probe occupies, so that two of them on one wire are found before anything is read."""
        raise NotImplementedError

    def fingerprint(self) -> str:
        """All that a calibration of this probe rests on, in one line: `address=72 gain=3.0 input=0`."""
        keys = self.model_dump(exclude=HOW_READ)
        return " ".join(f"{key}={value}" for key, value in sorted(keys.items()))


def _full_scale(volts: float) -> float:
    if volts not in GAIN_OF_FULL_SCALE_V:
        raise ValueError(f"must be one of {', '.join(map(str, GAIN_OF_FULL_SCALE_V))} V")
    return volts


def _whole_sets(count: int) -> int:
    if count % SET:
        raise ValueError("must be 4, 8, 12 or 16: mains hum cancels in sets of four")
    return count


class AdcInput(Wiring):
    """Where on which converter a voltage is: one input against ground, or against `minus_input`."""

    i2c_bus: int = Field(default=1, ge=0, le=31, description="which I²C bus")
    address: int = Field(default=0x48, ge=0x48, le=0x4B, description="the converter, as its ADDR pin is wired")
    input: int = Field(ge=0, le=3, description="A0 to A3")
    minus_input: int | None = Field(
        default=None, ge=0, le=3, description="read `input` against this one rather than against ground"
    )
    full_scale_v: Annotated[float, AfterValidator(_full_scale)] = Field(
        default=4.096, description="the converter's range: 6.144, 4.096, 2.048, 1.024, 0.512 or 0.256"
    )
    conversions: Annotated[int, AfterValidator(_whole_sets)] = Field(
        default=SET,
        ge=SET,
        le=4 * SET,
        description="conversions a sample is the mean of, outliers left out: sets of four, each 45 ms long and "
        "timed so that hum of 50 and of 60 Hz cancels; more for a probe with much noise",
    )

    @model_validator(mode="after")
    def _pair_exists(self) -> Self:
        if self.minus_input is not None and (self.input, self.minus_input) not in MUX_OF_PAIR:
            pairs = ", ".join(f"{plus} and {minus}" for plus, minus in MUX_OF_PAIR)
            raise ValueError(f"input and minus_input must be one of the pairs {pairs}")
        return self

    def look_s(self) -> float:
        """How long one look takes, in seconds."""
        return self.conversions // SET * SET_EVERY_S

    def claims(self) -> frozenset[str]:
        """The plus input, as `i2c1:0x48:a0`. A minus input may serve several probes."""
        return frozenset({f"i2c{self.i2c_bus}:0x{self.address:02x}:a{self.input}"})


class AdcWiring(AdcInput):
    """A circuit whose output is a voltage at one input of a converter."""

    def signal(self, volts: float) -> float:
        """What the circuit makes these volts of, in the unit of `Sample.signal`. May raise SensorError."""
        raise NotImplementedError


class PlainVolts(AdcWiring):
    """No circuit: the volts as they are, to be looked at before anybody believes what they mean."""

    def signal(self, volts: float) -> float:
        """The volts."""
        return volts


class AnalogProbe:
    """A probe whose circuit gives a voltage to one input of a converter."""

    def __init__(self, *, quantity: Quantity, wiring: AdcWiring, chip: Ads1115, clock: Clock) -> None:
        self.quantity = quantity
        self._wiring = wiring
        self._clock = clock
        self._chip = chip
        self._mux = mux_of(wiring.input, wiring.minus_input)

    def sample(self) -> Sample:
        """Volts and signal, now. Raises AdcError, or SensorError for volts that the circuit cannot give."""
        look = self._chip.volts(self._mux, self._wiring.full_scale_v, self._wiring.conversions)
        return Sample(
            quantity=self.quantity,
            at_s=self._clock.monotonic_s(),
            signal=self._wiring.signal(look.volts),
            volts=look.volts,
            spread_v=look.spread_v,
            clipped=look.clipped,
        )

    def close(self) -> None:
        """Nothing to give back: the converter is shared, and holds no state of this probe."""
