"""Least squares of which no part is negative: how much of each of a few things comes nearest to what is wanted.

The method of Lawson & Hanson 1974, Solving Least Squares Problems, chapter 23, for a few dozen columns at most.
Our own: the library that has it weighs 100 MB and has no package for a 32-bit Pi; the tests hold ours to it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import isfinite, sqrt

_NOTHING = 1e-10  # of a column of length 1, against what is wanted of length 1: below it, rounding
_ROUNDS_PER_COLUMN = 30  # three are the rule of thumb; far beyond it the arithmetic has lost its way

Column = Sequence[float]


class NoAnswerError(ArithmeticError):
    """The columns are so nearly alike that rounding never lets it settle."""


def nonnegative(columns: Sequence[Column], wanted: Column) -> tuple[float, ...]:
    """One amount for each column, none below 0, whose sum of amount times column is nearest to `wanted`.

    All columns are as long as `wanted`; all numbers finite. Where several answers are equally near, one in which
    few amounts are above 0. Raises NoAnswerError; ValueError for numbers that are not finite or other lengths.
    """
    if any(len(column) != len(wanted) for column in columns):
        raise ValueError(
            f"columns of {sorted({len(column) for column in columns})} rows for {len(wanted)} wanted"
        )
    if not all(isfinite(number) for column in (*columns, wanted) for number in column):
        raise ValueError("a number that is not finite")
    lengths = [_length(column) for column in columns]
    whole = _length(wanted)
    if whole == 0.0:
        return (0.0,) * len(columns)
    units = [
        [v / length if length else 0.0 for v in column] for column, length in zip(columns, lengths, strict=True)
    ]
    found = _found(units, [value / whole for value in wanted])
    return tuple(amount * whole / (length or 1.0) for amount, length in zip(found, lengths, strict=True))


def _found(columns: Sequence[Column], wanted: Column) -> list[float]:
    """The same for columns of length 1 (or 0) and `wanted` of length 1."""
    amounts = [0.0] * len(columns)
    used: list[int] = []
    vain: set[int] = set()  # columns that add nothing to those used now
    for _ in range(_ROUNDS_PER_COLUMN * (len(columns) + 1)):
        left = _left(columns, amounts, wanted)
        pull, best = max(
            ((_dot(columns[j], left), j) for j in range(len(columns)) if j not in used and j not in vain),
            default=(0.0, -1),
        )
        if not pull > _NOTHING:
            return amounts
        solved = _least([columns[j] for j in (*used, best)], wanted)
        if solved is None or not solved[-1] > 0.0:
            vain.add(best)
            continue
        used, vain = [*used, best], set()
        amounts, used = _stepped(columns, wanted, amounts, used)
    raise NoAnswerError("the things to mix are too nearly alike: leave one of them out")


def _stepped(
    columns: Sequence[Column], wanted: Column, amounts: list[float], used: list[int]
) -> tuple[list[float], list[int]]:
    """From these amounts towards the least squares of the columns used; what would turn negative is let go."""
    while True:
        solved = _least([columns[j] for j in used], wanted)
        if solved is None:
            raise NoAnswerError("the things to mix are too nearly alike: leave one of them out")
        if min(solved, default=1.0) > 0.0:
            exact = [0.0] * len(amounts)
            for j, amount in zip(used, solved, strict=True):
                exact[j] = amount
            return exact, used
        share, first = min(
            (amounts[j] / (amounts[j] - to), j) for j, to in zip(used, solved, strict=True) if not to > 0.0
        )
        moved = list(amounts)
        for j, to in zip(used, solved, strict=True):
            moved[j] = max(0.0, amounts[j] + share * (to - amounts[j]))
        moved[first] = 0.0
        amounts, used = moved, [j for j in used if moved[j] > 0.0]


def _least(columns: Sequence[Column], wanted: Column) -> list[float] | None:
    """Least squares without bounds, by Gram & Schmidt, each column cleared twice; None if one adds nothing."""
    axes: list[list[float]] = []
    corner: list[list[float]] = []  # of column j: its parts along the axes 0..j
    for column in columns:
        rest, parts = list(column), [0.0] * len(axes)
        for _ in range(2):
            for i, axis in enumerate(axes):
                part = _dot(axis, rest)
                parts[i] += part
                rest = [value - part * along for value, along in zip(rest, axis, strict=True)]
        length = _length(rest)
        if not length > _NOTHING:
            return None
        axes.append([value / length for value in rest])
        corner.append([*parts, length])
    solved = [0.0] * len(columns)
    for j in reversed(range(len(columns))):
        later = sum(corner[k][j] * solved[k] for k in range(j + 1, len(columns)))
        solved[j] = (_dot(axes[j], wanted) - later) / corner[j][j]
    return solved


def _left(columns: Sequence[Column], amounts: Sequence[float], wanted: Column) -> list[float]:
    return [
        value - sum(amount * column[i] for amount, column in zip(amounts, columns, strict=True) if amount)
        for i, value in enumerate(wanted)
    ]


def _dot(one: Iterable[float], other: Iterable[float]) -> float:
    return sum(a * b for a, b in zip(one, other, strict=True))


def _length(column: Column) -> float:
    return sqrt(_dot(column, column))
