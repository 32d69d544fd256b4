"""The vapour pressure deficit where it cannot be told."""

from __future__ import annotations

from math import nan

import pytest

from daemon.measure.air import deficit_kpa


@pytest.mark.parametrize(
    ("celsius", "percent"),
    [
        (None, 50.0),
        (20.0, None),
        (nan, 50.0),
        (20.0, nan),
        (20.0, -1.0),
        (20.0, 101.0),
        (-40.0, 50.0),
        (90.0, 50.0),
    ],
)
def test_what_is_not_known_or_cannot_be_gives_none(celsius: float | None, percent: float | None) -> None:
    """Never a made-up number."""
    assert deficit_kpa(celsius, percent) is None


def test_saturated_air_takes_nothing_more() -> None:
    """At 100 %; at 0 % all that it can hold."""
    assert deficit_kpa(20.0, 100.0) == 0.0
    assert deficit_kpa(20.0, 0.0) == pytest.approx(2.338, abs=0.001)
