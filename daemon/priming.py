"""What has to be known to fill a pump's tube by hand, at the tank or from the page. Pure."""

from __future__ import annotations

from daemon.values import Role

USUAL_ML = 2.0
AT_MOST_S = 20.0  # the answer has to reach a person who still holds the cup
SHARP = (Role.PH_DOWN, Role.PH_UP)


def most_ml(ml_per_s: float) -> float:
    """The most that one run may give, in mL, of a pump that gives so much a second."""
    return ml_per_s * AT_MOST_S


def gear(pump: Role) -> str:
    """What to wear beside this pump, for the beginning of a sentence; nothing for most."""
    return "Acid and base burn: goggles and gloves on. " if pump in SHARP else ""
