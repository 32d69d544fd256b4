"""What two probes for one quantity say together. Pure.

One probe cannot tell its own slow drift from the water's; two that age apart can. While they agree, their mean
is believed: where one wanders, the mean is off by half. Beyond the limit one of the two is wrong, and nobody
here knows which: no dose rests on it at once, and after half an hour it is bad. They are believed again when
they have agreed for a number of looks. Where one is out for a reason of its own, the other goes on alone, as a
single probe would; but not out of a disagreement, where the one left may be the wrong one: then a person has to
calibrate, or both agree again.

Limits: two calibrations in two buffers are each good for about 0.01 pH at 5.8 (docs/uncertainty.md), noise and
streaks in the water add a few hundredths each; 0.2 pH apart is no chance, and moves the mean by 0.1 at most.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from daemon.values import Quality, Quantity, Verdict, VerdictReason

MOST_APART: Mapping[Quantity, float] = {Quantity.PH: 0.2, Quantity.EC: 0.1, Quantity.TEMPERATURE: 1.0}
MOST_APART_SHARE: Mapping[Quantity, float] = {Quantity.EC: 0.1}  # of the mean, where that is more
BAD_AFTER_S = 1800.0
TOGETHER_AGAIN = 5  # looks in a row


@dataclass(frozen=True, slots=True)
class Apart:
    """Since when two probes disagree (None: they do not), and the looks in a row in which they agreed since."""

    since_s: float | None = None
    agreed: int = 0


def vote(first: Verdict, second: Verdict, apart: Apart, now_s: float) -> tuple[Verdict, Apart]:
    """The verdict on the quantity of `first`, and what to hand in next time.

    now_s: monotonic. Both verdicts are of one look. NaN never agrees.
    """
    calibrating = next((v for v in (first, second) if v.reason is VerdictReason.CALIBRATING), None)
    if calibrating is not None:
        return replace(calibrating, quantity=first.quantity), apart
    if not (first.usable or second.usable):
        return first, apart
    if not (first.usable and second.usable):
        one = _one_left(first, second)
        return (one if apart.since_s is None else _disagree(one, apart.since_s, now_s)), apart
    off, most = _off(first, second)
    apart = _followed(apart, now_s, together=off <= most)
    mean = _mean(first, second)
    if apart.since_s is None:
        return mean, apart
    note = f"{_value(first):.3g} and {_value(second):.3g}, {off:.2g} apart, {most:.2g} is allowed"
    told = replace(mean, numbers={"apart": off, "most_apart": most}, note=note)
    return _disagree(told, apart.since_s, now_s), apart


def agree(both: Verdict) -> bool:
    """Whether a verdict of `vote` rests on two probes that agree; not on one that is left, nor on two apart."""
    return both.usable and both.reason is not VerdictReason.ONE_LEFT


def _disagree(shown: Verdict, since_s: float, now_s: float) -> Verdict:
    """No dose rests on what is shown: uncertain, and bad after BAD_AFTER_S."""
    quality = Quality.UNCERTAIN if now_s - since_s < BAD_AFTER_S else Quality.BAD
    return replace(shown, quality=quality, reason=VerdictReason.DISAGREE, since_s=since_s)


def _followed(apart: Apart, now_s: float, *, together: bool) -> Apart:
    if not together:
        return Apart(now_s if apart.since_s is None else apart.since_s)
    if apart.since_s is None or apart.agreed + 1 >= TOGETHER_AGAIN:
        return Apart()
    return replace(apart, agreed=apart.agreed + 1)


def _one_left(first: Verdict, second: Verdict) -> Verdict:
    """The one that can be used, for both."""
    left, out = (first, second) if first.usable else (second, first)
    note = f"{'the second' if out is second else 'the first'}: {out.reason.value.replace('_', ' ')}"
    note = f"{note}, {out.note}" if out.note else note
    return Verdict(
        first.quantity, Quality.UNCERTAIN, VerdictReason.ONE_LEFT, left.reading, out.since_s, out.numbers, note
    )


def _mean(first: Verdict, second: Verdict) -> Verdict:
    """Both together: the first's verdict with the mean of the two readings."""
    if first.reading is None or second.reading is None:
        return first
    return replace(first, reading=replace(first.reading, value=_between(first, second)))


def _off(first: Verdict, second: Verdict) -> tuple[float, float]:
    """How far the two are apart, and the most that is allowed, in the quantity's unit."""
    mean = abs(_between(first, second))
    most = max(MOST_APART[first.quantity], MOST_APART_SHARE.get(first.quantity, 0.0) * mean)
    return abs(_value(first) - _value(second)), most


def _value(of: Verdict) -> float:
    return float("nan") if of.reading is None else of.reading.value


def _between(first: Verdict, second: Verdict) -> float:
    """The mean, which no two finite readings can make infinite."""
    return _value(first) / 2.0 + _value(second) / 2.0
