"""What air and water offer a crop: the day's vapour pressure deficit, and oxygen at saturation. Pure.

The deficit of one moment is in daemon/measure/air.py, the light of a day in daemon/measure/daily_light.py.
"""

from __future__ import annotations

from math import exp, fsum

from daemon.measure.air import saturation_kpa

WATER_C = (0.0, 40.0)  # for which the equation was made
KELVIN_AT_0_C = 273.15
BENSON_KRAUSE = (-139.34411, 1.575701e5, -6.642308e7, 1.2438e10, -8.621949e11)


def oxygen_mg_per_l(water_c: float) -> float:
    """The oxygen that fresh water holds when it is full of air, in mg/L: at sea level, under moist air.

    water_c: 0..40. Raises ValueError outside. A pump or roots may leave less; an air stone never brings more. At
    900 m above the sea it is a tenth less.
    Source: Benson & Krause 1984, Limnol. Oceanogr. 29:620 (Standard Methods 4500-O).
    """
    if not WATER_C[0] <= water_c <= WATER_C[1]:
        raise ValueError(f"water of {water_c} °C: must be {WATER_C[0]:g} to {WATER_C[1]:g} °C")
    kelvin = water_c + KELVIN_AT_0_C
    return exp(fsum(coefficient / kelvin**power for power, coefficient in enumerate(BENSON_KRAUSE)))


def day_deficit_kpa(
    *, coolest_c: float, warmest_c: float, dampest_percent: float, driest_percent: float
) -> float:
    """What the air of a day could still take up, in kPa, 0 or more, from its extremes.

    Air is dampest when it is coolest. The pressures of both ends are averaged, never taken of the mean
    temperature: the curve is bent, and that would be too little.
    Source: FAO Irrigation and Drainage Paper 56 (1998), equations 12 and 17.
    """
    cool_kpa, warm_kpa = saturation_kpa(coolest_c), saturation_kpa(warmest_c)
    held_kpa = (cool_kpa * dampest_percent + warm_kpa * driest_percent) / 100.0 / 2.0
    return max(0.0, (cool_kpa + warm_kpa) / 2.0 - held_kpa)
