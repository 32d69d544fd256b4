"""What a probe can be in besides the tank: buffers, conductivity standards, a water bath, plain water, air.

Buffers are named by their label at 25 °C and have their own temperature dependence. Sources: 4.01 phthalate:
Hamer, Pinching & Acree 1946, J. Res. NBS 36:47; 6.86, 9.18 and 10.01 (phosphate, borax, carbonate): form and
coefficients of NBS SP 260-53 (Wu, Koch & Durst 1988; from memory, and held to the published values by a test);
7.00: a technical buffer, whose makers differ by 0.01 (common practice, from memory).
Conductivity: potassium chloride, temperature dependence of the 0.01 mol/kg standard (Pratt, Koch, Wu &
Berezansky 2001, Pure Appl. Chem. 73:1783).
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Sequence
from functools import partial
from typing import NamedTuple

WATER, AIR = "water", "air"
SAME_LABEL = 0.006
COLDEST_BATH_C, WARMEST_BATH_C = 0.0, 50.0
DISTILLED_PH, DISTILLED_MS_PER_CM = 6.8, 0.005  # stored in air; own choice
KELVIN = 273.15


class Touched(NamedTuple):
    """What a probe is in. ph and ec_ms_per_cm are those at temperature_c."""

    ph: float
    ec_ms_per_cm: float
    temperature_c: float


class StandardError(ValueError):
    """There is no such standard for that kind of probe."""


def _hamer(temperature_c: float) -> float:
    return 4.000 + 0.0000479 * (temperature_c - 15.0) ** 2


def _nbs(a: float, b: float, c: float, d: float, temperature_c: float) -> float:
    kelvin = temperature_c + KELVIN
    return a / kelvin + b + c * kelvin + d * kelvin * kelvin


def between(knots: Sequence[tuple[float, float]], x: float) -> float:
    """Straight lines through (x, y) knots, held flat beyond the ends."""
    place = bisect_right(knots, (x, float("inf")))
    if place == 0:
        return knots[0][1]
    if place == len(knots):
        return knots[-1][1]
    (x0, y0), (x1, y1) = knots[place - 1], knots[place]
    return y0 + (y1 - y0) * (x - x0) / (x1 - x0)


_TECHNICAL_7 = (
    *((0.0, 7.12), (5.0, 7.09), (10.0, 7.06), (15.0, 7.04), (20.0, 7.02)),
    *((25.0, 7.00), (30.0, 6.99), (35.0, 6.98), (40.0, 6.97)),
)
BUFFERS: dict[float, Callable[[float], float]] = {
    4.01: _hamer,
    6.86: partial(_nbs, 3459.39, -21.0574, 0.073301, -6.2266e-5),
    7.00: partial(between, _TECHNICAL_7),
    9.18: partial(_nbs, 5259.02, -33.1064, 0.114826, -1.0786e-4),
    10.01: partial(_nbs, 2557.1, -4.2846, 0.019185, 0.0),
}

CHLORIDES_MS_PER_CM = (0.147, 0.717, 1.413, 2.765, 12.88)
_KCL_US_PER_CM = (
    *((0.0, 772.92), (5.0, 890.96), (10.0, 1013.95), (15.0, 1141.45), (20.0, 1273.03)),
    *((25.0, 1408.23), (30.0, 1546.63), (35.0, 1687.79), (40.0, 1831.27)),
)


def buffer_ph(label: float, temperature_c: float) -> float:
    """pH of the buffer with this label (a key of BUFFERS) at its own temperature."""
    return BUFFERS[label](temperature_c)


def chloride_ms_per_cm(label_ms_per_cm: float, temperature_c: float) -> float:
    """Conductivity of a potassium chloride standard, labelled at 25 °C, at its own temperature."""
    return label_ms_per_cm * between(_KCL_US_PER_CM, temperature_c) / between(_KCL_US_PER_CM, 25.0)


def ph_standard(name: str, temperature_c: float) -> Touched | None:
    """What a pH electrode is in: a buffer, "water", or None for "air". Raises StandardError."""
    if name in {WATER, AIR}:
        return _plain(name, temperature_c)
    label = _label(name, list(BUFFERS), "pH buffer")
    return Touched(buffer_ph(label, temperature_c), 5.0, temperature_c)


def ec_standard(name: str, temperature_c: float) -> Touched | None:
    """What an EC cell is in: a chloride standard, "water", or None for "air". Raises StandardError."""
    if name in {WATER, AIR}:
        return _plain(name, temperature_c)
    label = _label(name, CHLORIDES_MS_PER_CM, "EC standard in mS/cm")
    return Touched(7.0, chloride_ms_per_cm(label, temperature_c), temperature_c)


def bath(name: str, temperature_c: float) -> Touched | None:
    """What a thermometer is in: a water bath of that many °C, "water", or None for "air"."""
    if name in {WATER, AIR}:
        return _plain(name, temperature_c)
    bath_c = _number(name)
    if bath_c is None or not COLDEST_BATH_C <= bath_c <= WARMEST_BATH_C:
        raise StandardError(
            f"{name!r} is no water bath: give its temperature, {COLDEST_BATH_C:g} to {WARMEST_BATH_C:g} °C, "
            f'or "{WATER}" or "{AIR}"'
        )
    return Touched(DISTILLED_PH, DISTILLED_MS_PER_CM, bath_c)


def _plain(name: str, temperature_c: float) -> Touched | None:
    return None if name == AIR else Touched(DISTILLED_PH, DISTILLED_MS_PER_CM, temperature_c)


def _label(name: str, labels: Sequence[float], what: str) -> float:
    asked = _number(name)
    for label in labels:
        if asked is not None and abs(asked - label) <= SAME_LABEL:
            return label
    known = ", ".join(f"{label:g}" if label != 7.0 else "7.00" for label in labels)
    raise StandardError(f'{name!r} is no {what}: there are {known}, "{WATER}" and "{AIR}"')


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None
