"""When to top up, and with how much: by the level at rest. Pure.

level at rest below `below_share`  ->  runs of the water pump until it is at `fill_to_share` again
"""

from __future__ import annotations

from dataclasses import dataclass

from config.settings import Reservoir
from daemon.dose.permit import ML_PER_L
from daemon.dose.strength import LEAST_WATER_SHARE
from daemon.values import DoseReason, DoseRequest, Role


@dataclass(frozen=True, slots=True)
class WaterAim:
    """Shares of the full reservoir: top up once the level at rest is below `below`, then to `fill_to`."""

    below: float
    fill_to: float
    full_l: float
    has_water: bool


def water_aim_of(reservoir: Reservoir) -> WaterAim:
    """The aim that the settings give."""
    water = reservoir.water
    return WaterAim(
        below=water.top_up_below_share,
        fill_to=water.fill_to_share,
        full_l=reservoir.volume_l,
        has_water="top_up" in reservoir.pump,
    )


def ask_water(reservoir: str, aim: WaterAim, rest_share: float | None, *, filling: bool) -> DoseRequest | None:
    """Water to ask for now, if any. rest_share: the level at rest, None where unknown; filling: it has begun."""
    if not aim.has_water or rest_share is None:
        return None
    begins = rest_share < aim.below
    goes_on = filling and aim.fill_to - rest_share >= LEAST_WATER_SHARE
    if not (begins or goes_on):
        return None
    ml = aim.full_l * (aim.fill_to - rest_share) * ML_PER_L
    numbers = {"level_share": rest_share, "below_share": aim.below, "fill_to_share": aim.fill_to}
    return DoseRequest(reservoir, Role.TOP_UP, ml, DoseReason.LEVEL_LOW, numbers)
