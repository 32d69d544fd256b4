"""The level sender's straight line from volts to share."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from drivers.level_sender import LevelSender


def sender(empty_v: float = 0.5, full_v: float = 2.5) -> LevelSender:
    """A sender on input 3."""
    return LevelSender(input=3, empty_v=empty_v, full_v=full_v)


@pytest.mark.parametrize(("volts", "share"), [(0.5, 0.0), (1.5, 0.5), (2.5, 1.0), (2.7, 1.1), (0.0, -0.25)])
def test_share_runs_straight_from_empty_to_full(volts: float, share: float) -> None:
    """Below empty it is less than nothing, so that a broken wire is told from an empty tank."""
    assert sender().signal(volts) == pytest.approx(share)


def test_a_sender_may_fall_as_the_water_rises() -> None:
    """An ultrasonic one above the water."""
    assert sender(2.5, 0.5).signal(2.0) == pytest.approx(0.25)


@pytest.mark.parametrize("full_v", [0.5, 0.59, 0.41])
def test_full_and_empty_must_be_apart(full_v: float) -> None:
    """Else noise alone would fill and empty the tank."""
    with pytest.raises(ValidationError, match=r"at least 0\.1 V apart"):
        sender(0.5, full_v)
