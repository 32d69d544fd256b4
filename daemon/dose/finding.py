"""What may be found of water and doses against expectation, and which of it stops the reservoir. Pure."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from daemon.values import Numbers, Role


class Surprise(StrEnum):
    """What water and doses do against expectation."""

    NO_EFFECT = "no_effect"
    UNPROVEN = "unproven"
    LITTLE_EFFECT = "little_effect"
    STILL = "still"
    WRONG_SIGN = "wrong_sign"
    RUNAWAY = "runaway"
    TOO_STRONG = "too_strong"
    MOVED_ALONE = "moved_alone"
    STEPPED = "stepped"
    REVERSALS = "reversals"  # acid and base in turns
    EC_NO_EFFECT = "ec_no_effect"  # of stock A and B: daemon.dose.strength_response
    EC_RUNAWAY = "ec_runaway"
    EC_MOVED_ALONE = "ec_moved_alone"


GOING_ON = {Surprise.LITTLE_EFFECT, Surprise.TOO_STRONG, Surprise.STEPPED}
LATCHING = frozenset(Surprise) - GOING_ON
DOUBTED = {Surprise.NO_EFFECT, Surprise.UNPROVEN}  # looked at once more before they latch


@dataclass(frozen=True, slots=True)
class Finding:
    """What was found, of which pump (None where it is none's), with the numbers a person can check it by."""

    surprise: Surprise
    pump: Role | None = None
    numbers: Numbers = field(default_factory=dict)

    @property
    def latches(self) -> bool:
        """Whether it stops the reservoir until a person has looked."""
        return self.surprise in LATCHING
