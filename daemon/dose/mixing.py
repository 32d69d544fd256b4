"""How long a dose mixes, and from when readings tell of it: one rule for pH and strength. Pure.

dose ends  . . 2.5 mixing times . .  the first of five readings counts  . . 3 . .  the newest of them does
"""

from __future__ import annotations

from math import inf
from typing import NamedTuple

from config.pump import MIXING_TIMES

SHOWS_TIMES = 2.5  # from here readings may be gathered: 0.06 % of the dose is still to come


class Mixing(NamedTuple):
    """Monotonic times in s, -inf where nothing was dosed: the dose shows, and the water is even."""

    shows_s: float = -inf
    mixed_s: float = -inf


def mixing_after(dosed_s: float | None, mixing_time_s: float) -> Mixing:
    """Of the last dose, which ended at `dosed_s` (monotonic, in s; None where there was none)."""
    if dosed_s is None:
        return Mixing()
    return Mixing(dosed_s + SHOWS_TIMES * mixing_time_s, dosed_s + MIXING_TIMES * mixing_time_s)
