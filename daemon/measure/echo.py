"""Whether the pH electrode still answers our own doses as it did: evidence without a buffer. Pure.

    each dose:  shift seen / shift that the settings expect
    the first FIRST since the calibration, or since new water, after SKIPPED on the way in  ->  their median
    the newest NEWEST                                                                       ->  theirs, as a share

Doses that show prove that the probe lives and stands in this water. A share well below 1 is a reason to look, in
this order: bulb, pump, water. It is weak evidence, so nothing stops by it, and no dose grows: buffering alone
changes by a third along the way. And it does not show a slope that is lost: the keeper then holds the water at
another pH, where it buffers less, and the doses show no less than before
(tests/keeping/test_reservoir_learning.py). Only a buffer tells a slope.

The median and its spread: 1.48 MAD is a standard deviation, 1.25 / sqrt(n) of that is the median's (normal
scatter; NIST/SEMATECH e-Handbook 1.3.5.6, and from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from math import hypot, inf, isfinite, sqrt
from statistics import median

SKIPPED, FIRST, NEWEST = 8, 8, 8
WEAK, STRONG = 0.7, 1.5  # of what it was; beyond these by two standard deviations
SURE_SDS = 2.0
MAD_SD, MEDIAN_SD = 1.4826, 1.2533
LEAST_SD = 0.03  # of one dose's share: pump and noise, however alike a few of them look


class EchoNote(StrEnum):
    """What the doses say of the probe."""

    TOO_FEW = "too_few"
    AS_BEFORE = "as_before"
    WEAKER = "weaker"
    STRONGER = "stronger"


@dataclass(frozen=True, slots=True)
class Echo:
    """Shares (seen to expected by the settings) of the first doses, after those skipped, and of the newest."""

    skipped: int = 0
    first: tuple[float, ...] = ()
    newest: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Heard:
    """The verdict. share: of what it was, give or take one standard deviation; doses: it rests on."""

    note: EchoNote
    doses: int
    share: float | None = None
    give_or_take: float | None = None


def with_dose(echo: Echo, share: float) -> Echo:
    """The echo with one more dose; one that is no number, or shows nothing, is none."""
    if not (isfinite(share) and share > 0.0):
        return echo
    if echo.skipped < SKIPPED:
        return replace(echo, skipped=echo.skipped + 1)
    if len(echo.first) < FIRST:
        return replace(echo, first=(*echo.first, share))
    return replace(echo, newest=(*echo.newest, share)[-NEWEST:])


def heard(echo: Echo) -> Heard:
    """What the doses say of the probe."""
    doses = echo.skipped + len(echo.first) + len(echo.newest)
    if len(echo.newest) < NEWEST:
        return Heard(EchoNote.TOO_FEW, doses)
    share = median(echo.newest) / median(echo.first)
    sd = share * hypot(_relative_sd(echo.first), _relative_sd(echo.newest))
    note = EchoNote.AS_BEFORE
    if share + SURE_SDS * sd < WEAK:
        note = EchoNote.WEAKER
    elif share - SURE_SDS * sd > STRONG:
        note = EchoNote.STRONGER
    return Heard(note, doses, share, sd)


def _relative_sd(shares: tuple[float, ...]) -> float:
    """Of their median."""
    middle = median(shares)
    if not middle > 0.0:
        return inf
    sd = MAD_SD * median(abs(share - middle) for share in shares) / middle
    return MEDIAN_SD * max(LEAST_SD, sd) / sqrt(len(shares))
