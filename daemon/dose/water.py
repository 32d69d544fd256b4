"""When to top up, and with how much: by the level at rest. Pure.

    level at rest below `below_share`  ->  runs of the water pump until it is at `fill_to_share` again

An ebb-and-flow reservoir falls while its bed is flooded. So the level at rest is the highest that was seen
within the last `rest_s`, which the settings make longer than a flood.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from math import isfinite

from config.settings import Reservoir
from daemon.dose.permit import ML_PER_L
from daemon.dose.strength import LEAST_WATER_SHARE
from daemon.values import DoseReason, DoseRequest, Role, Verdict

MINUTE_S = 60.0
STILL_S = 300.0  # of a reservoir that is never flooded: waves and splashing
POINT_S = 20.0


@dataclass(frozen=True, slots=True)
class WaterAim:
    """Shares of the full reservoir: top up once the level at rest is below `below`, then to `fill_to`."""

    below: float
    fill_to: float
    rest_s: float
    full_l: float
    has_water: bool


@dataclass(slots=True)
class RestLevel:
    """The levels of the last `rest_s`, and whether topping up has begun."""

    seen: deque[tuple[float, float]] = field(default_factory=deque)  # (monotonic s, share), shares falling
    since_s: float | None = None
    filling: bool = False

    def see(self, at_s: float, share: float, rest_s: float) -> None:
        """One more look. Lower ones that came earlier can never be the highest again."""
        if not isfinite(share):
            return
        if self.since_s is None:
            self.since_s = at_s
        if self.seen and at_s - self.seen[-1][0] < POINT_S and share <= self.seen[-1][1]:
            return
        while self.seen and self.seen[-1][1] <= share:
            self.seen.pop()
        self.seen.append((at_s, share))
        while self.seen[0][0] < at_s - rest_s:
            self.seen.popleft()

    def share(self, now_s: float, rest_s: float) -> float | None:
        """The level at rest; None until it was watched for as long as a flood may last, or not lately."""
        if self.since_s is None or not self.seen or not now_s - self.since_s >= rest_s:
            return None
        return self.seen[0][1] if self.seen[0][0] >= now_s - rest_s else None


def water_aim_of(reservoir: Reservoir) -> WaterAim:
    """The aim that the settings give."""
    water = reservoir.water
    flooded = reservoir.system == "ebb_and_flow"
    return WaterAim(
        below=water.top_up_below_share,
        fill_to=water.fill_to_share,
        rest_s=water.longest_flood_min * MINUTE_S if flooded else STILL_S,
        full_l=reservoir.volume_l,
        has_water="top_up" in reservoir.pump,
    )


def ask_water(reservoir: str, aim: WaterAim, level: Verdict, rest: RestLevel) -> DoseRequest | None:
    """Water to ask for now, if any. level: of a probe that measures a share; rest: followed at each look."""
    if not (aim.has_water and level.usable and level.reading is not None):
        return None
    now_s = level.reading.at_s
    rest.see(now_s, level.reading.value, aim.rest_s)
    share = rest.share(now_s, aim.rest_s)
    if share is None:
        return None
    rest.filling = share < aim.below or (rest.filling and aim.fill_to - share >= LEAST_WATER_SHARE)
    if not rest.filling:
        return None
    ml = aim.full_l * (aim.fill_to - share) * ML_PER_L
    numbers = {"level_share": share, "below_share": aim.below, "fill_to_share": aim.fill_to}
    return DoseRequest(reservoir, Role.TOP_UP, ml, DoseReason.LEVEL_LOW, numbers)
