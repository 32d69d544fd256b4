"""What a pump delivers in a second: measured with a cylinder, how far to believe it, when it is old. Pure.

    timed runs + mL read  ->  RateFit  ->  PumpRate (kept in the book)  ->  InForce (what doses are reckoned by)

The settings' `ml_per_s` is the first guess. What was measured at the tank takes its place, unless the settings
name a later day, another tube is in, or the settings now mean quite another pump.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from math import inf

from daemon.values import Numbers, RateStanding

RUN_S = (3.0, 20.0)  # shorter ones say little; longer ones keep a person holding the tube
RUNS = (2, 5)
SPREAD_SHARE = 0.10  # of the mean, largest minus smallest rate: a cylinder is read to 2 %, a sound tube repeats
GUESS_SHARE = (0.5, 2.0)  # of the settings' guess: further off it is another pump, tube or unit
FASTEST_ML_PER_S = 20.0  # the most that the settings allow
_EARLIEST_DAYS = -1  # a rate of tomorrow may be a matter of time zones; later means a wrong clock
_DECIMALS = 6  # of a measured rate: limits hold exactly in spite of binary fractions


@dataclass(frozen=True, slots=True)
class TimedRun:
    """One run into a cylinder. entry: its line in the ledger; run_s: from on to off; ml: what was read."""

    entry: int
    run_s: float
    ml: float


@dataclass(frozen=True, slots=True)
class PumpRate:
    """A measured rate, the day it was measured (ISO date), and its runs (none where it was written by hand)."""

    ml_per_s: float
    day: str
    runs: tuple[TimedRun, ...] = ()


class RateReason(StrEnum):
    """Why a measured rate is kept or not. Words are made at the edge."""

    FINE = "fine"
    RUN_COUNT = "run_count"  # too few or too many runs
    NOT_A_NUMBER = "not_a_number"  # an amount or a time that is not above zero
    SPREAD = "spread"  # the runs disagree
    FAR_FROM_GUESS = "far_from_guess"  # below half or above twice what the settings say


@dataclass(frozen=True, slots=True)
class RateFit:
    """The outcome: a rate to keep, or None and why not. numbers: ml_per_s, spread_share, guess_ml_per_s, runs."""

    rate: PumpRate | None
    reason: RateReason
    numbers: Numbers = field(default_factory=dict)


EXPIRED = (RateStanding.EXPIRED, RateStanding.OTHER_TUBE, RateStanding.UNLIKE)
"""Nothing is dosed by these."""


@dataclass(frozen=True, slots=True)
class Guess:
    """What the settings say of one pump: the rate, its day ("" without one), from when on it is old, expired."""

    ml_per_s: float
    day: str
    warn_days: float
    expire_days: float


@dataclass(frozen=True, slots=True)
class Tube:
    """The tube that is in: since which line of the ledger and day ("" where never told), how long it has run."""

    after_entry: int
    day: str
    run_s: float


@dataclass(frozen=True, slots=True)
class InForce:
    """The rate that doses are reckoned by. age_days: None where no day is known."""

    ml_per_s: float
    day: str
    standing: RateStanding
    age_days: int | None = None

    @property
    def usable(self) -> bool:
        """Whether the program may dose by it."""
        return self.standing not in EXPIRED


def fit_rate(runs: Sequence[TimedRun], guess_ml_per_s: float, day: str) -> RateFit:
    """The rate that these runs show: all mL over all seconds; or why they show none."""
    fewest, most = RUNS
    if not fewest <= len(runs) <= most:
        return RateFit(None, RateReason.RUN_COUNT, {"runs": len(runs), "fewest": fewest, "most": most})
    if not all(0.0 < run.ml < inf and 0.0 < run.run_s < inf for run in runs):
        return RateFit(None, RateReason.NOT_A_NUMBER)
    ml_per_s = round(sum(run.ml for run in runs) / sum(run.run_s for run in runs), _DECIMALS)
    each = [run.ml / run.run_s for run in runs]
    mean_ml_per_s = sum(each) / len(each)
    spread_share = round((max(each) - min(each)) / mean_ml_per_s, _DECIMALS) if mean_ml_per_s > 0.0 else inf
    numbers = {"ml_per_s": ml_per_s, "spread_share": spread_share, "guess_ml_per_s": guess_ml_per_s}
    if not spread_share <= SPREAD_SHARE:
        return RateFit(None, RateReason.SPREAD, numbers)
    if not near_guess(ml_per_s, guess_ml_per_s):
        return RateFit(None, RateReason.FAR_FROM_GUESS, numbers)
    return RateFit(PumpRate(ml_per_s, day, tuple(runs)), RateReason.FINE, numbers)


def near_guess(ml_per_s: float, guess_ml_per_s: float) -> bool:
    """Whether a rate may be the one of the pump that the settings mean."""
    return GUESS_SHARE[0] * guess_ml_per_s <= ml_per_s <= GUESS_SHARE[1] * guess_ml_per_s


def in_force(guess: Guess, kept: PumpRate | None, tube: Tube | None, today: date) -> InForce:
    """Which rate holds today, and how far. tube: None where the ledger cannot tell."""
    if kept is not None and not near_guess(kept.ml_per_s, guess.ml_per_s):
        return InForce(guess.ml_per_s, guess.day, RateStanding.UNLIKE)
    rate = kept if kept is not None and kept.day >= guess.day else PumpRate(guess.ml_per_s, guess.day)
    age_days = (today - date.fromisoformat(rate.day)).days if rate.day else None
    return InForce(rate.ml_per_s, rate.day, _standing(guess, rate, tube, age_days), age_days)


def _standing(guess: Guess, rate: PumpRate, tube: Tube | None, age_days: int | None) -> RateStanding:
    if tube is not None and tube.day and not _is_of(tube, rate):
        return RateStanding.OTHER_TUBE
    if age_days is None:
        return RateStanding.UNDATED
    if not _EARLIEST_DAYS <= age_days <= guess.expire_days:
        return RateStanding.EXPIRED
    return RateStanding.OLD if age_days >= guess.warn_days else RateStanding.DATED


def _is_of(tube: Tube, rate: PumpRate) -> bool:
    """Whether a rate was measured with this tube: by the ledger's lines, else by the day."""
    if rate.runs:
        return min(run.entry for run in rate.runs) > tube.after_entry
    return rate.day >= tube.day
