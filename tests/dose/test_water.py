"""When water is added, and how much."""

from __future__ import annotations

from math import nan

import pytest

from daemon.dose.water import WaterAim, ask_water
from daemon.values import DoseReason, DoseRequest, Role

AIM = WaterAim(below=0.9, fill_to=0.95, full_l=60.0, has_water=True)


def asked(share: float | None, *, filling: bool = False, aim: WaterAim = AIM) -> DoseRequest | None:
    """What is asked at this level at rest."""
    return ask_water("bed1", aim, share, filling=filling)


def test_a_low_level_is_filled_up() -> None:
    """From 85 % to 95 % of 60 L are 6 L."""
    request = asked(0.85)
    assert request is not None
    assert (request.pump, request.reason) == (Role.TOP_UP, DoseReason.LEVEL_LOW)
    assert request.ml == pytest.approx(6000.0)


def test_once_begun_it_goes_on_to_the_upper_mark() -> None:
    """And then waits for the lower one again."""
    assert asked(0.92) is None
    assert asked(0.89) is not None
    assert asked(0.92, filling=True) is not None
    assert asked(0.95, filling=True) is None


@pytest.mark.parametrize("share", [None, nan])
def test_a_level_that_is_not_known_asks_for_nothing(share: float | None) -> None:
    """Nor while filling."""
    assert asked(share) is None
    assert asked(share, filling=True) is None


def test_without_a_water_pump_nothing_is_asked() -> None:
    """However low the level."""
    assert asked(0.5, aim=WaterAim(below=0.9, fill_to=0.95, full_l=60.0, has_water=False)) is None
