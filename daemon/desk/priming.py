"""What has to be known to run a pump by hand, into a cup or a cylinder, at the tank or from the page. Pure."""

from __future__ import annotations

from daemon.values import Role

USUAL_ML = 2.0
AT_MOST_S = 20.0  # the answer has to reach a person who still holds the cup
SHARP = (Role.PH_DOWN, Role.PH_UP)
HANGING = "Let the tube's end hang as high as it does over the reservoir."
READ_OFF = "Read the cylinder at the lower edge of the surface, and empty it before the next run."
ONE_IN_A_CYLINDER = "Never acid and base in one cylinder."


def most_ml(ml_per_s: float) -> float:
    """The most that one run may give, in mL, of a pump that gives so much a second."""
    return ml_per_s * AT_MOST_S


def gear(pump: Role) -> str:
    """What to wear beside this pump, for the beginning of a sentence; nothing for most."""
    return "Acid and base burn: goggles and gloves on. " if pump in SHARP else ""
