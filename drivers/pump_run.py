"""What a run of a pump comes to: the report of one that was, the refusal of one that may not be, a fault.

ValueError  <- RunRefused
OSError     <- PumpError <- LineStuck
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

OVER_S: Final = 0.5  # a run this much longer than asked is told as such


class Ended(StrEnum):
    """How a run ended. The words are the ledger's."""

    DONE = "done"
    CUT_SHORT = "cut_short"
    FAILED = "failed"  # the pump was never turned on


@dataclass(frozen=True, slots=True)
class RunReport:
    """A finished run: how it ended, the seconds from on to off, and what a person should know of it."""

    outcome: Ended
    ran_s: float
    note: str = ""


class RunRefused(ValueError):  # noqa: N818 - a refusal, as elsewhere in this house
    """This run may not be; nothing was turned on. The message says what is allowed."""


class PumpError(OSError):
    """The pumps cannot be driven. The message says why, and what to look at."""


class LineStuck(PumpError):  # noqa: N818 - what it is
    """A line that was driven low could not be, or still reads high: the wiring has to stop that pump."""


def report_of(*, asked_s: float, ran_s: float, cut_short_by: str) -> RunReport:
    """The report of a run that was on for `ran_s`. cut_short_by: why before its end, or "" where it was not."""
    if cut_short_by:
        return RunReport(Ended.CUT_SHORT, ran_s, cut_short_by)
    over = "" if ran_s <= asked_s + OVER_S else f"ran {ran_s:.1f} s instead of {asked_s:.1f} s"
    return RunReport(Ended.DONE, ran_s, over)
