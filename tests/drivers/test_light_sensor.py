"""Volts of a light sensor."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import ValidationError

from drivers.light_sensor import LightSensor


@pytest.mark.parametrize(("volts", "umol"), [(0.1, 0.0), (0.6, 200.0), (2.6, 1000.0), (0.0, -40.0)])
def test_volts_run_straight_with_the_light(volts: float, umol: float) -> None:
    """From the dark volts on; below them a little less than nothing, which is noise."""
    assert LightSensor(input=0, dark_v=0.1, umol_per_v=400.0).signal(volts) == pytest.approx(umol)


@pytest.mark.parametrize("more", [{}, {"umol_per_v": 0.0}, {"umol_per_v": float("nan")}])
def test_needs_what_a_volt_is_worth(more: dict[str, Any]) -> None:
    """Without it there is no light."""
    with pytest.raises(ValidationError, match="umol_per_v"):
        LightSensor.model_validate({"input": 0} | more)
