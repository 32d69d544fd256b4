"""Two probes for one quantity: agreeing, disagreeing, and one of them out."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.measure.vote import BAD_AFTER_S, MOST_APART, TOGETHER_AGAIN, Apart, agree, vote
from daemon.values import Quality, Quantity, Reading, Sample, Verdict, VerdictReason

OUT = (VerdictReason.NO_ANSWER, VerdictReason.CLIPPED, VerdictReason.NOT_CALIBRATED, VerdictReason.WARMING_UP)


def says(value: float, quantity: Quantity = Quantity.PH, reason: VerdictReason = VerdictReason.FINE) -> Verdict:
    """What one probe says; out for any reason but a fine one."""
    quality = Quality.GOOD if reason is VerdictReason.FINE else Quality.BAD
    sample = Sample(quantity.kind, 100.0, 1.0, 1.5)
    return Verdict(quantity, quality, reason, Reading(quantity.kind, value, 100.0, sample))


def second(value: float, reason: VerdictReason = VerdictReason.FINE) -> Verdict:
    """What the second pH probe says."""
    return says(value, Quantity.PH_2, reason)


def value(of: Verdict) -> float:
    """Of its reading."""
    assert of.reading is not None
    return of.reading.value


def test_two_that_agree_give_their_mean() -> None:
    """Each is off by its own half."""
    verdict, apart = vote(says(6.0), second(6.1), Apart(), 100.0)
    assert (verdict.quantity, verdict.usable) == (Quantity.PH, True)
    assert value(verdict) == pytest.approx(6.05)
    assert apart == Apart()


@pytest.mark.parametrize(
    ("quantity", "first", "other", "agree"),
    [
        (Quantity.PH, 6.0, 6.199, True),
        (Quantity.PH, 6.0, 6.201, False),
        (Quantity.EC, 0.5, 0.599, True),
        (Quantity.EC, 0.5, 0.601, False),
        (Quantity.EC, 2.0, 2.2, True),
        (Quantity.EC, 2.0, 2.25, False),
        (Quantity.TEMPERATURE, 20.0, 21.0, True),
        (Quantity.TEMPERATURE, 20.0, 21.01, False),
        (Quantity.PH, 6.0, math.nan, False),
        (Quantity.PH, math.nan, 6.0, False),
    ],
)
def test_how_far_apart_they_may_be(quantity: Quantity, first: float, other: float, agree: bool) -> None:
    """By the quantity, for EC also by the strength; what is no number never agrees."""
    assert quantity.second is not None
    verdict, _ = vote(says(first, quantity), says(other, quantity.second), Apart(), 100.0)
    assert verdict.usable is agree
    assert (verdict.reason is VerdictReason.DISAGREE) is not agree


def test_disagreement_is_uncertain_then_bad_and_over_after_some_looks() -> None:
    """No dose rests on it at any time of it; a single look in which they meet ends nothing."""
    apart, now_s, qualities = Apart(), 100.0, []
    for _ in range(int(BAD_AFTER_S / 60.0) + 2):
        verdict, apart = vote(says(6.0), second(6.5), apart, now_s)
        assert not verdict.usable
        assert verdict.since_s == 100.0
        qualities.append(verdict.quality)
        now_s += 60.0
    assert qualities[0] is Quality.UNCERTAIN
    assert qualities[-1] is Quality.BAD
    _, met = vote(says(6.0), second(6.0), apart, now_s)
    again, _ = vote(says(6.0), second(6.5), met, now_s)
    assert again.quality is Quality.BAD
    usable = []
    for _ in range(TOGETHER_AGAIN):
        verdict, apart = vote(says(6.0), second(6.1), apart, now_s)
        usable.append(verdict.usable)
    assert usable == [False] * (TOGETHER_AGAIN - 1) + [True]


@pytest.mark.parametrize("reason", OUT)
def test_where_one_is_out_the_other_goes_on_alone(reason: VerdictReason) -> None:
    """By the value of the one that is left, and marked; a dose may rest on it as on a single probe."""
    for first, other in ((says(6.0), second(7.0, reason)), (says(7.0, reason=reason), second(6.0))):
        verdict, _ = vote(first, other, Apart(), 100.0)
        assert (verdict.quantity, verdict.usable, value(verdict)) == (Quantity.PH, True, 6.0)
        assert verdict.reason is VerdictReason.ONE_LEFT
        assert reason.value.replace("_", " ") in verdict.note


def test_one_that_goes_out_while_they_disagree_leaves_nobody_to_believe() -> None:
    """The one left may be the wrong one."""
    _, apart = vote(says(6.0), second(6.5), Apart(), 100.0)
    for first, other in (
        (says(6.0), second(6.5, VerdictReason.NO_ANSWER)),
        (says(6.0, reason=VerdictReason.OUT_OF_SPAN), second(6.5)),
    ):
        verdict, still = vote(first, other, apart, 160.0)
        assert (verdict.reason, verdict.usable, still) == (VerdictReason.DISAGREE, False, apart)


def test_where_both_are_out_nothing_is_left() -> None:
    """The first says why, also where they disagreed before; that is not forgotten by it."""
    first = says(6.0, reason=VerdictReason.CLIPPED)
    for apart in (Apart(), Apart(90.0)):
        verdict, still = vote(first, second(6.0, VerdictReason.NO_ANSWER), apart, 100.0)
        assert (verdict, still) == (first, apart)


def test_one_in_a_standard_says_nothing_of_the_water() -> None:
    """Nor does it end a disagreement: only a calibration that is kept does."""
    for first, other in (
        (says(4.0, reason=VerdictReason.CALIBRATING), second(6.0)),
        (says(6.0), second(4.0, VerdictReason.CALIBRATING)),
    ):
        verdict, apart = vote(first, other, Apart(1.0), 100.0)
        assert (verdict.quantity, verdict.reason) == (Quantity.PH, VerdictReason.CALIBRATING)
        assert not verdict.usable
        assert apart == Apart(1.0)


@given(first=st.floats(allow_subnormal=False), other=st.floats(allow_subnormal=False))
def test_what_is_believed_lies_between_two_that_are_near(first: float, other: float) -> None:
    """Whatever the two say, a dose rests only on the mean of two within the limit."""
    verdict, _ = vote(says(first), second(other), Apart(), 100.0)
    if verdict.usable:
        assert abs(first - other) <= MOST_APART[Quantity.PH]
        slack = 1e-9 + 1e-9 * abs(first)
        assert min(first, other) - slack <= value(verdict) <= max(first, other) + slack


def test_two_agree_only_where_both_are_believed_and_together() -> None:
    """Neither one alone, whichever is left, nor two apart, nor two that have met again for a look."""
    out = VerdictReason.NO_ANSWER

    def agreeing(first: Verdict, other: Verdict, since_s: float | None = None) -> bool:
        return agree(vote(first, other, Apart(since_s), 100.0)[0])

    assert agreeing(says(6.0), second(6.1))
    assert not agreeing(says(6.0), second(6.1, out))
    assert not agreeing(says(6.0, reason=out), second(6.1))
    assert not agreeing(says(6.0, reason=out), second(6.1, out))
    assert not agreeing(says(6.0), second(6.5))
    assert not agreeing(says(6.0), second(6.1), since_s=50.0)
    assert not agreeing(says(math.nan), second(math.nan))
    assert not agreeing(says(6.0), second(6.1, VerdictReason.CALIBRATING))
