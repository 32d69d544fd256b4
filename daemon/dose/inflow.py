"""When was water last added, and how much since the start? From the level alone. Pure."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf

RISE_SHARE = 0.03  # above the lowest level since; waves and noise stay below


@dataclass(frozen=True, slots=True)
class Inflow:
    """The lowest level since the last rise, and when it last rose (-inf: never); risen: all rises together.

    lowest, risen: shares of the nominal volume.
    """

    lowest: float | None = None
    rose_s: float = -inf
    risen: float = 0.0


def follow(inflow: Inflow, share: float, now_s: float) -> Inflow:
    """The state after one look at the level. A float switch that goes from low to enough is a rise as well."""
    if not -inf < share < inf:
        return inflow
    if inflow.lowest is not None and share >= inflow.lowest + RISE_SHARE:
        return Inflow(share, now_s, inflow.risen + share - inflow.lowest)
    if inflow.lowest is not None and share >= inflow.lowest:
        return inflow
    return replace(inflow, lowest=share)


def since_rise_s(inflow: Inflow, now_s: float) -> float | None:
    """Seconds since the level last rose; None if it never did."""
    return None if inflow.rose_s == -inf else max(0.0, now_s - inflow.rose_s)
