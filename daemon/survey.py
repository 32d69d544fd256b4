"""What the volts at each input would mean for the probe put there, and which two would fit exchanged. Pure.

Before anything is calibrated, and with the probes in the reservoir's water: an electrode is taken for an ideal
one, a cell constant for 1. Two probes are called exchanged only where the one reading is far from what anybody
would expect and both fit clearly better at each other's input. Ranges that overlap, as those of pH and of a
thermistor, can hide it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import combinations
from math import inf, isfinite, log

from config.settings import Bands
from daemon.measure.convert import nernst_slope_mv_per_ph
from daemon.values import Quantity, Sample
from drivers.probe import SensorError
from drivers.wiring import AdcWiring

MV_PER_PH = nernst_slope_mv_per_ph(25.0)
HUM_V = 0.03  # the widest that the judge lets pass for any quantity
NO_ELECTRODE_MV = 7.0 * MV_PER_PH + 60.0  # pH 0 or 14, and the largest offset that is still an electrode
UNLIKELY_MV = 4.0 * MV_PER_PH  # pH 3 or 11: no nutrient solution
DRY_MS, UNLIKELY_MS = 0.02, 20.0
LIKELY = {Quantity.TEMPERATURE: (2.0, 40.0), Quantity.LIGHT: (-20.0, 3000.0)}  # °C, µmol/(m² s)
LIKELY_SHARE = (-0.05, 1.2)

# How far a reading may well be from the middle of the reservoir's bands, one standard deviation (our own choice).
USUAL_OFF_PH, USUAL_OFF_TIMES, USUAL_OFF_C = 0.7, 2.5, 5.0
USUAL_SHARE, USUAL_OFF_SHARE = 0.8, 0.3
ODDEST = 6.0  # standard deviations: what is impossible counts as this, so that one reading does not decide alone
ODD, FITS = 4.0, 3.0  # tap water at pH 8.5, once new, is not odd yet
RAILS_V, NEAR_A_RAIL_V = (3.3, 5.0), 0.2  # where an amplifier with nothing plugged in ends up
CLEARLY_BETTER = 9.0  # of the sum of squares, as one reading three standard deviations off


class Standing(StrEnum):
    """What the volts at a probe's input look like."""

    PLAUSIBLE = "plausible"
    UNLIKELY = "unlikely"  # the circuit can give it, the water of a reservoir does not
    DRY = "dry"  # a cell in air, or not plugged in
    BEYOND = "beyond"  # no sensor gives it: unplugged, shorted, railed, or another circuit's volts
    HUM = "hum"  # its conversions disagree: floating, or mains on it (a lamp may flicker)
    SILENT = "silent"  # it does not answer at all


@dataclass(frozen=True, slots=True)
class Wire:
    """One analog probe of the settings. name: as bed1/ph; bands: what its reservoir should be at."""

    name: str
    quantity: Quantity
    wiring: AdcWiring
    bands: Bands


@dataclass(frozen=True, slots=True)
class Meaning:
    """signal: electrode mV, mS, °C or share of volume; None where the circuit cannot give these volts."""

    standing: Standing
    signal: float | None = None


def meaning(wire: Wire, look: Sample) -> Meaning:
    """What these volts would be at this probe's circuit. look: its signal is the bare volts."""
    signal = _signal(wire.wiring, look.signal)
    if look.clipped or signal is None:
        return Meaning(Standing.BEYOND)
    if wire.quantity is not Quantity.LIGHT and (look.spread_v is None or not look.spread_v <= HUM_V):
        return Meaning(Standing.HUM, signal)
    return Meaning(_standing(wire.quantity, signal), signal)


def exchanged(wires: Sequence[Wire], looks: Sequence[Sample]) -> tuple[tuple[str, str], ...]:
    """Pairs of names that fit clearly better at each other's input, the clearest first, each name once."""
    taken: set[str] = set()
    found: list[tuple[str, str]] = []
    for _, one, other in sorted(_gains(wires, looks), reverse=True):
        if not taken & {one, other}:
            taken |= {one, other}
            found.append((one, other))
    return tuple(found)


def _gains(wires: Sequence[Wire], looks: Sequence[Sample]) -> Iterator[tuple[float, str, str]]:
    """How much better each pair fits exchanged, where it does clearly."""
    steady = [
        (wire, look)
        for wire, look in zip(wires, looks, strict=True)
        if _is_plugged_in(look) and wire.quantity is not Quantity.LIGHT  # from dark to bright, any volts fit
    ]
    for (one, its), (other, others) in combinations(steady, 2):
        here = (_oddness(one, its.signal), _oddness(other, others.signal))
        there = (_oddness(one, others.signal), _oddness(other, its.signal))
        gain = sum(odd**2 for odd in here) - sum(odd**2 for odd in there)
        if max(here) >= ODD and max(there) < FITS and gain >= CLEARLY_BETTER:
            yield gain, one.name, other.name


def _is_plugged_in(look: Sample) -> bool:
    """Whether these can be the volts of any sensor: neither hum, nor at a rail or the end of the range."""
    hums = look.spread_v is None or not look.spread_v <= HUM_V
    return not (hums or look.clipped or any(abs(look.signal - rail_v) < NEAR_A_RAIL_V for rail_v in RAILS_V))


def _oddness(wire: Wire, volts: float) -> float:
    """Standard deviations by which these volts are off what is expected there, at most ODDEST."""
    signal = _signal(wire.wiring, volts)
    return ODDEST if signal is None else min(ODDEST, abs(_off(wire, signal)))


def _off(wire: Wire, signal: float) -> float:
    bands = wire.bands
    if wire.quantity is Quantity.PH:
        return (7.0 - signal / MV_PER_PH - _middle(bands.ph_low, bands.ph_high)) / USUAL_OFF_PH
    if wire.quantity is Quantity.EC:
        middle = _middle(bands.ec_low_ms_per_cm, bands.ec_high_ms_per_cm)
        return log(signal / middle) / log(USUAL_OFF_TIMES) if signal > 0.0 else inf
    if wire.quantity is Quantity.TEMPERATURE:
        return (signal - _middle(bands.temperature_low_c, bands.temperature_high_c)) / USUAL_OFF_C
    return (signal - USUAL_SHARE) / USUAL_OFF_SHARE


def _middle(low: float, high: float) -> float:
    return (low + high) / 2.0


def _signal(wiring: AdcWiring, volts: float) -> float | None:
    try:
        signal = wiring.signal(volts)
    except SensorError:
        return None
    return signal if isfinite(signal) else None


def _standing(quantity: Quantity, signal: float) -> Standing:
    if quantity is Quantity.PH:
        if not abs(signal) <= NO_ELECTRODE_MV:
            return Standing.BEYOND
        return Standing.PLAUSIBLE if abs(signal) <= UNLIKELY_MV else Standing.UNLIKELY
    if quantity is Quantity.EC:
        if abs(signal) <= DRY_MS:
            return Standing.DRY
        return Standing.BEYOND if signal < 0.0 else _within(signal, (DRY_MS, UNLIKELY_MS))
    if quantity in LIKELY:
        return _within(signal, LIKELY[quantity])
    return Standing.PLAUSIBLE if LIKELY_SHARE[0] <= signal <= LIKELY_SHARE[1] else Standing.BEYOND


def _within(signal: float, likely: tuple[float, float]) -> Standing:
    return Standing.PLAUSIBLE if likely[0] <= signal <= likely[1] else Standing.UNLIKELY
