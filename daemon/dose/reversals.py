"""Do acid and base fight: in turns, several times a day? Pure."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from daemon.dose.finding import Finding, Surprise
from daemon.dose.usual import Given
from daemon.dose.windows import DAY_S

MOST_REVERSALS = 3


def reversals(given: Sequence[Given], now_s: float) -> Finding | None:
    """REVERSALS if the newest dose is opposite to the one before it, for the third time in 24 h.

    given: all acid and base, oldest first, as the ledger keeps them, in proven time as `now_s`: while nothing
    vouches for time, no dose ages, and while something does, it ages by that alone. What a person poured does not
    count.
    """
    recent = [dose.pump for dose in given if not (dose.by_hand or now_s - dose.end_s > DAY_S)]
    turns = [newer is not older for older, newer in pairwise(recent)]
    count = sum(turns)
    if not (turns and turns[-1] and count >= MOST_REVERSALS):
        return None
    return Finding(Surprise.REVERSALS, recent[-1], {"reversals": count, "hours": DAY_S / 3600.0})
