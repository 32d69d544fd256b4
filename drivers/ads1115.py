"""The ADS1115 converter: volts at one input, or an AdcError that says what to look at.

The unmodified adafruit_ads1x15 speaks to the chip, in single-shot mode only: in continuous mode it never
switches the input again. What the library leaves open is closed here: a deadline (drivers/bus.py), and a
look at the configuration register afterwards, since a data line held high reads as code -1 and a chip that
lost its supply in mid-conversion as code 0, and neither raises.

A converter whose own reference drifted shifts every input alike, and no reading looks wrong by itself. Where a
known voltage is wired to a spare input (`Reference`), it is measured before the probes of that chip: once for all
of them, since they are looked at in one go. While it is off, none of them is read.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from math import inf
from typing import Any, Final, NamedTuple, NoReturn

from adafruit_ads1x15.ads1x15 import Comp_Latch, Mode
from adafruit_ads1x15.ads1115 import ADS1115

from drivers.bus import BusTimeout, DeadlineBus
from drivers.hum import SET, settled, starts_s
from drivers.probe import AdcError, Fault
from drivers.rig import I2C, Clock, Rig

# Source of the codes, the ranges and the register: ADS1115 data sheet (TI SBAS444).
CODES_PER_SIDE: Final = 32768  # one code is full_scale_v / 32768
CLIPPED_CODE: Final = 32000  # from here on the true voltage is unknown (of 32767)
GAIN_OF_FULL_SCALE_V: Final = {6.144: 2 / 3, 4.096: 1, 2.048: 2, 1.024: 4, 0.512: 8, 0.256: 16}
MUX_OF_PAIR: Final = {(0, 1): 0, (0, 3): 1, (1, 3): 2, (2, 3): 3}  # plus input, minus input
MUX_SINGLE_ENDED: Final = 4  # added to the input's number: against ground
SAMPLES_PER_S: Final = 128
NEVER_AN_OUTLIER_CODES: Final = 4.0  # the chip's own noise is below one code at this rate (data sheet)

CONFIG_REGISTER: Final = bytes([1])
PGA_BITS: Final = {6.144: 0x0000, 4.096: 0x0200, 2.048: 0x0400, 1.024: 0x0600, 0.512: 0x0800, 0.256: 0x0A00}
# Bits that every configuration of ours holds once a conversion is done: not busy (0x8000), single shot (0x0100),
# 128 samples per second (0x0080), comparator off (0x0003). The comparator's latch bit (0x0004) does nothing
# while the comparator is off, and is clear after a reset of the chip: it tells ours from a fresh chip's.
SETTLED_BITS: Final = 0x8187

# A conversion takes 8 ms. On a slow bus some 20 polls fit in, on the fastest some 200, on a simulated one in
# real time as many as the processor makes: thousands. The count only has to end where the clock does not.
SAMPLE_WITHIN_S: Final = 1.0
TRANSACTIONS_PER_CONVERSION: Final = 20_000

# The chip itself is right within 0.15 % over all temperatures (TI SBAS444, gain error), a usual shunt reference
# within 0.2 to 0.5 %, and 1 % of the volts of a pH amplifier on 3.3 V is about 0.1 pH. (1 %: our own choice.)
REFERENCE_OFF_SHARE: Final = 0.01
REFERENCE_HOLDS_S: Final = 0.5  # shorter than from pass to pass, longer than a healthy chip's probes take


class Reference(NamedTuple):
    """A steady, known voltage at one input of a chip. name: as in the settings' `[reference.name]`."""

    name: str
    bus_number: int
    address: int
    mux: int
    full_scale_v: float
    conversions: int
    expected_v: float

    @property
    def allowed_v(self) -> tuple[float, float]:
        """The lowest and the highest that a sound converter makes of it."""
        off_v = self.expected_v * REFERENCE_OFF_SHARE
        return self.expected_v - off_v, self.expected_v + off_v


class Look(NamedTuple):
    """Several conversions of one input: their mean and largest minus smallest, outliers left out; any clipped."""

    volts: float
    spread_v: float
    clipped: bool


class Ads1115:
    """One chip on one bus, shared by the probes on its inputs.

    Making one touches nothing. The chip is opened at the first look that finds it there. Each conversion
    writes the whole configuration, so a chip that went and came back is used again. references: the known
    voltages at its inputs.
    """

    def __init__(
        self, *, i2c: I2C, clock: Clock, bus_number: int, address: int, references: tuple[Reference, ...] = ()
    ) -> None:
        self._clock = clock
        self._references = references
        self._refused: AdcError | None = None
        self._verified_s = -inf
        self._bus = DeadlineBus(i2c, clock)
        self._bus_number = bus_number
        self._address = address
        self._name = f"ADS1115 at address 0x{address:02x} on I2C bus {bus_number}"
        self._chip: Any = None
        self._register = bytearray(2)

    def volts(self, mux: int, full_scale_v: float, conversions: int = SET) -> Look:
        """Voltage of the input that `mux_of` names, over `conversions` timed so that mains hum cancels.

        full_scale_v: a key of GAIN_OF_FULL_SCALE_V. conversions: sets of SET, 45 ms each; one alone is a bare
        conversion. Raises AdcError, with its cause; also where a reference of this chip is off, or could not be
        measured.
        """
        self._verify()
        return self._measured(mux, full_scale_v, conversions)

    @property
    def off_reference(self) -> str:
        """What is wrong with a reference, as its newest look found it; "" where nothing is."""
        wrong = self._refused is not None and self._refused.fault is Fault.REFERENCE
        return str(self._refused) if wrong else ""

    def _verify(self) -> None:
        """Measure the references, unless that was just now. Raises AdcError where one is not as it should be."""
        if not 0.0 <= self._clock.monotonic_s() - self._verified_s <= REFERENCE_HOLDS_S:
            self._refused = self._refusal()
            self._verified_s = self._clock.monotonic_s()
        if self._refused is not None:
            raise AdcError(self._refused.fault, str(self._refused)) from self._refused

    def _refusal(self) -> AdcError | None:
        for reference in self._references:
            try:
                look = self._measured(reference.mux, reference.full_scale_v, reference.conversions)
            except AdcError as error:
                return error
            low_v, high_v = reference.allowed_v
            if look.clipped or not low_v <= look.volts <= high_v:
                return AdcError(Fault.REFERENCE, self._off(reference, look))
        return None

    def _off(self, reference: Reference, look: Look) -> str:
        low_v, high_v = reference.allowed_v
        end = ", the end of its range," if look.clipped else ""
        return (
            f"{self._name} measures {look.volts:.3f} V{end} at [reference.{reference.name}], expected are "
            f"{reference.expected_v:.3f} V ({low_v:.3f} to {high_v:.3f}): measure that voltage and the "
            "converter's supply with a meter"
        )

    def _measured(self, mux: int, full_scale_v: float, conversions: int) -> Look:
        try:
            codes = self._codes(mux, full_scale_v, conversions)
            config = self._config()
        except BusTimeout as error:
            self._fail(Fault.TIMED_OUT, "does not finish a conversion", error)
        except (OSError, ValueError) as error:  # ValueError: the library found nothing at the address
            self._fail(Fault.NO_ANSWER, "does not answer", error)
        expected = SETTLED_BITS | mux << 12 | PGA_BITS[full_scale_v]
        if config != expected:
            self._fail(Fault.READ_BACK, f"reads back configuration 0x{config:04x} instead of 0x{expected:04x}")
        return _look(codes, full_scale_v)

    def _codes(self, mux: int, full_scale_v: float, conversions: int) -> list[int]:
        self._bus.allow(within_s=SAMPLE_WITHIN_S, transactions=TRANSACTIONS_PER_CONVERSION * conversions)
        if self._chip is None:
            self._chip = ADS1115(
                self._bus,
                data_rate=SAMPLES_PER_S,
                mode=Mode.SINGLE,
                comparator_latch=Comp_Latch.LATCHING,
                address=self._address,
            )
        gain = GAIN_OF_FULL_SCALE_V[full_scale_v]
        if self._chip.gain != gain:  # setting it costs two transactions
            self._chip.gain = gain
        return self._timed(mux, conversions)

    def _timed(self, mux: int, conversions: int) -> list[int]:
        """Conversions at the moments that `hum` names; one that is late starts at once."""
        began_s = self._clock.monotonic_s()
        codes = []
        for start_s in starts_s(conversions):
            early_s = began_s + start_s - self._clock.monotonic_s()
            if early_s > 0.0:
                self._clock.sleep(early_s)
            codes.append(self._chip.read(mux))
        return codes

    def _config(self) -> int:
        with self._chip.i2c_device as device:
            device.write_then_readinto(CONFIG_REGISTER, self._register)
        return int.from_bytes(self._register, "big")

    def _fail(self, fault: Fault, what: str, cause: Exception | None = None) -> NoReturn:
        """Say what happened and what a person should look at."""
        because = f" ({cause})" if cause else ""
        raise AdcError(
            fault,
            f"{self._name} {what}{because}: look at its supply, the SDA and SCL wires and the ADDR pin; "
            f"`i2cdetect -y {self._bus_number}` should show {self._address:02x}",
        ) from cause


class Chips:
    """The converters of a rig: one object for each chip, however many probes share it."""

    def __init__(self, rig: Rig, references: Iterable[Reference] = ()) -> None:
        self._rig = rig
        self._references = tuple(references)
        self._chips: dict[tuple[int, int], Ads1115] = {}

    def at(self, bus_number: int, address: int) -> Ads1115:
        """The chip at this address of this bus."""
        key = (bus_number, address)
        if key not in self._chips:
            i2c = self._rig.i2c(bus_number)
            here = tuple(one for one in self._references if (one.bus_number, one.address) == key)
            self._chips[key] = Ads1115(
                i2c=i2c, clock=self._rig.clock, bus_number=bus_number, address=address, references=here
            )
        return self._chips[key]

    def off_references(self) -> Iterator[tuple[int, int, str]]:
        """Bus, address and what is wrong, for each chip that measures a known voltage wrongly now."""
        for (bus_number, address), chip in self._chips.items():
            if chip.off_reference:
                yield bus_number, address, chip.off_reference


def mux_of(plus_input: int, minus_input: int | None = None) -> int:
    """The chip's input selection: one input (0..3) against ground, or a pair of MUX_OF_PAIR."""
    if minus_input is None:
        return MUX_SINGLE_ENDED + plus_input
    return MUX_OF_PAIR[plus_input, minus_input]


def _look(codes: list[int], full_scale_v: float) -> Look:
    volts_per_code = full_scale_v / CODES_PER_SIDE
    mean, spread = settled(codes, NEVER_AN_OUTLIER_CODES)
    return Look(
        volts=mean * volts_per_code,
        spread_v=spread * volts_per_code,
        clipped=max(codes) >= CLIPPED_CODE or min(codes) <= -CLIPPED_CODE,
    )
