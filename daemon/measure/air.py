"""How dry the air is for a plant: the vapour pressure deficit. Pure; nothing is dosed by it."""

from __future__ import annotations

from math import exp, isfinite

LIKELY_C = (-10.0, 60.0)


def saturation_kpa(temperature_c: float) -> float:
    """Vapour pressure of saturated air, kPa. Source: FAO Irrigation and Drainage Paper 56 (1998), eq. 11."""
    return 0.6108 * exp(17.27 * temperature_c / (temperature_c + 237.3))


def deficit_kpa(temperature_c: float | None, humidity_percent: float | None) -> float | None:
    """What the air could still take up, kPa, leaves as warm as it; None where either is not known or cannot be.

    humidity_percent: relative, 0..100. Source: FAO Irrigation and Drainage Paper 56, eq. 11, for one moment.
    """
    if temperature_c is None or humidity_percent is None:
        return None
    if not (LIKELY_C[0] <= temperature_c <= LIKELY_C[1] and 0.0 <= humidity_percent <= 100.0):
        return None
    deficit = saturation_kpa(temperature_c) * (1.0 - humidity_percent / 100.0)
    return deficit if isfinite(deficit) else None
