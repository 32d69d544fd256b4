"""Do acid and base fight: in turns, several times a day? Pure."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise

from daemon.dose.finding import Finding, Surprise
from daemon.dose.windows import DAY_S, OPPOSITE, Stamp
from daemon.values import NOT_OF_ITS_OWN, Entry

MOST_REVERSALS = 3


def reversals(entries: Iterable[Entry], stamp: Stamp) -> Finding | None:
    """REVERSALS if the newest dose is opposite to the one before it, for the third time in 24 h.

    entries: of one reservoir, newest first, as the ledger keeps them. An age that is not proven counts as
    nothing: within this boot it is monotonic, across boots the wall clock where both were synchronised.
    """
    doses = [entry for entry in entries if entry.pump in OPPOSITE and entry.reason not in NOT_OF_ITS_OWN]
    recent = [entry for entry in doses if not _age_s(entry, stamp) > DAY_S]
    turns = [newer.pump is not older.pump for newer, older in pairwise(recent)]
    count = sum(turns)
    if not (turns and turns[0] and count >= MOST_REVERSALS):
        return None
    return Finding(Surprise.REVERSALS, recent[0].pump, {"reversals": count, "hours": DAY_S / 3600.0})


def _age_s(entry: Entry, stamp: Stamp) -> float:
    if entry.boot_id == stamp.boot_id:
        return stamp.at_s - entry.at_s
    if entry.utc_trusted and stamp.utc_trusted:
        return (stamp.utc - entry.utc).total_seconds()
    return 0.0
