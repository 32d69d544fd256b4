"""daemon.crop.nonnegative: as near as scipy's, never negative, the nearest by the conditions of Kuhn & Tucker."""

from __future__ import annotations

from math import inf, nan, sqrt
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.crop.nonnegative import nonnegative

Columns = list[list[float]]


def left_over(columns: Columns, amounts: tuple[float, ...], wanted: list[float]) -> list[float]:
    """What is wanted, less what the amounts give."""
    return [
        value - sum(amount * column[i] for amount, column in zip(amounts, columns, strict=True))
        for i, value in enumerate(wanted)
    ]


def length(values: list[float]) -> float:
    return sqrt(sum(value * value for value in values))


def drawn(seed: int) -> tuple[Columns, list[float]]:
    """Few or many columns, with zeros as in fertilisers, some twice or sums of others, at any magnitude."""
    chance = Random(seed)
    rows, count = chance.randint(1, 14), chance.randint(1, 20)
    columns = [
        [chance.choice([0.0, chance.uniform(0.0, 1.0), chance.uniform(-1.0, 1.0)]) for _ in range(rows)]
        for _ in range(count)
    ]
    if count > 3 and chance.random() < 0.5:
        columns[1] = list(columns[0])
        columns[2] = [a + 2.0 * b for a, b in zip(columns[0], columns[3], strict=True)]
    scale = 10.0 ** chance.uniform(-3.0, 3.0)
    return [[scale * value for value in column] for column in columns], [
        chance.uniform(-0.5, 1.0) for _ in range(rows)
    ]


def test_as_near_as_the_other_one() -> None:
    """scipy.optimize.nnls on 1,000 drawn problems, many with columns that say the same: as much is left."""
    optimize = pytest.importorskip("scipy.optimize", reason="no scipy here: it has no wheel for this machine")
    for seed in range(1000):
        columns, wanted = drawn(seed)
        ours = length(left_over(columns, nonnegative(columns, wanted), wanted))
        _, theirs = optimize.nnls([[column[i] for column in columns] for i in range(len(wanted))], wanted)
        assert ours == pytest.approx(theirs, abs=1e-8), f"seed {seed}"


numbers = st.floats(-10.0, 10.0).map(lambda number: round(number, 6))  # none whose square is no number any more
problems = st.integers(1, 8).flatmap(
    lambda rows: st.tuples(
        st.lists(st.lists(numbers, min_size=rows, max_size=rows), min_size=1, max_size=10),
        st.lists(numbers, min_size=rows, max_size=rows),
    )
)


@given(problem=problems)
def test_it_is_the_nearest(problem: tuple[Columns, list[float]]) -> None:
    """Nothing negative; more of no column, and less of none that is used, would come nearer."""
    columns, wanted = problem
    amounts = nonnegative(columns, wanted)
    left = left_over(columns, amounts, wanted)
    assert min(amounts) >= 0.0
    for amount, column in zip(amounts, columns, strict=True):
        pull = sum(a * b for a, b in zip(column, left, strict=True))
        slack = 1e-7 * length(column) * (length(wanted) + 1.0)
        assert pull <= slack
        assert amount == 0.0 or abs(pull) <= slack


def test_what_can_be_met_is_met() -> None:
    """Two columns and their sum."""
    assert nonnegative([[1.0, 0.0], [1.0, 2.0]], [3.0, 4.0]) == pytest.approx((1.0, 2.0))


def test_what_would_be_negative_is_nothing() -> None:
    """The one column that would have to be taken away stays at 0, the other makes the best of it."""
    assert nonnegative([[1.0, 0.0], [1.0, 1.0]], [0.0, 1.0]) == pytest.approx((0.0, 0.5))


def test_nothing_wanted_is_nothing_given() -> None:
    """Nor is anything given of a column that is empty."""
    assert nonnegative([[1.0, 2.0]], [0.0, 0.0]) == (0.0,)
    assert nonnegative([[0.0, 0.0], [0.0, 2.0]], [0.0, 1.0]) == pytest.approx((0.0, 0.5))
    assert nonnegative([], [1.0]) == ()


@pytest.mark.parametrize("bad", [nan, inf, -inf])
def test_what_is_no_number_is_refused(bad: float) -> None:
    """Wherever it stands."""
    with pytest.raises(ValueError, match="not finite"):
        nonnegative([[1.0, bad]], [1.0, 1.0])
    with pytest.raises(ValueError, match="not finite"):
        nonnegative([[1.0, 1.0]], [1.0, bad])


def test_lengths_that_differ_are_refused() -> None:
    """Before anything is reckoned."""
    with pytest.raises(ValueError, match="rows"):
        nonnegative([[1.0]], [1.0, 1.0])
