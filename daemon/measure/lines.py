"""Straight lines through points, by least squares. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from math import isfinite


def line(xs: Sequence[float], ys: Sequence[float]) -> tuple[float, float]:
    """Slope and value at zero. The xs must not all be equal."""
    mean_x, mean_y = sum(xs) / len(xs), sum(ys) / len(ys)
    from_mean = [x - mean_x for x in xs]
    square = sum(x * x for x in from_mean)
    steep = sum(x * (y - mean_y) for x, y in zip(from_mean, ys, strict=True)) / square
    return steep, mean_y - steep * mean_x


def slope(xs: Sequence[float], ys: Sequence[float]) -> float | None:
    """The slope alone; None where none can be told: fewer than two different xs, or something not a number."""
    if not all(isfinite(number) for number in (*xs, *ys)) or len(set(xs)) < 2:
        return None
    steep, _ = line(xs, ys)
    return steep if isfinite(steep) else None
