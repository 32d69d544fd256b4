"""pH at moments: those that belong together, thinned to what shows a movement, and asked for at a time. Pure."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from math import inf
from typing import NamedTuple

from daemon.dose.newest import BREAK_S, READINGS

POINT_S = 20.0  # apart, at least


class Point(NamedTuple):
    """pH at a monotonic time."""

    at_s: float
    ph: float


def following(newest: tuple[Point, ...], point: Point) -> tuple[Point, ...]:
    """The newest readings with this one, begun anew after a break."""
    if newest and not point.at_s - newest[-1].at_s <= BREAK_S:
        return (point,)
    return (*newest, point)[-READINGS:]


def thinned(points: tuple[Point, ...], point: Point, over_s: float) -> tuple[Point, ...]:
    """The points of the last `over_s` and a little more, this one added if the last is old enough."""
    if points and point.at_s - points[-1].at_s < POINT_S:
        return points
    return (*since(points, point.at_s - over_s - 2.0 * BREAK_S), point)


def since(points: tuple[Point, ...], at_s: float) -> tuple[Point, ...]:
    return points[bisect_left(points, (at_s, -inf)) :]


def median(points: tuple[Point, ...]) -> float:
    return sorted([point.ph for point in points])[len(points) // 2]


def ph_at(points: tuple[Point, ...], at_s: float) -> float | None:
    """Median of the last three points not after `at_s`; None if there are none, or too old to speak for it."""
    end = bisect_right(points, (at_s, inf))
    if end < 3 or at_s - points[end - 1].at_s > BREAK_S:
        return None
    return median(points[end - 3 : end])
