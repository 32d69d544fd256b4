"""Do acid and base fight: in turns, several times a day? Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

from daemon.dose.finding import Finding, Surprise
from daemon.dose.usual import Given
from daemon.dose.windows import DAY_S
from daemon.values import Role

MOST_REVERSALS = 3


def reversals(given: Mapping[Role, Sequence[Given]], now_s: float) -> Finding | None:
    """REVERSALS if the newest dose is opposite to the one before it, for the third time in 24 h.

    given: all of acid and of base, each oldest first, as the ledger keeps them, in proven time as `now_s`: while
    nothing vouches for time, no dose ages, and while something does, it ages by that alone.
    """
    doses = sorted((dose.end_s, pump) for pump, each in given.items() for dose in each)
    recent = [pump for end_s, pump in doses if not now_s - end_s > DAY_S]
    turns = [newer is not older for older, newer in pairwise(recent)]
    count = sum(turns)
    if not (turns and turns[-1] and count >= MOST_REVERSALS):
        return None
    return Finding(Surprise.REVERSALS, recent[-1], {"reversals": count, "hours": DAY_S / 3600.0})
