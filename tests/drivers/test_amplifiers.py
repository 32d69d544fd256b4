"""pH and EC boards: volts to electrode mV and to mS."""

from __future__ import annotations

import math
from typing import Any

import pytest
from pydantic import ValidationError

from drivers.amplifiers import EcAmplifier, PhAmplifier, conductance_ms, electrode_mv

PH: dict[str, Any] = {"input": 0, "zero_v": 1.65, "gain": -3.0}
EC: dict[str, Any] = {"input": 1, "zero_v": 0.1, "ms_per_v": 2.0}


@pytest.mark.parametrize(("volts", "mv"), [(1.65, 0.0), (1.65 - 3 * 0.1774, 177.4), (1.65 + 3 * 0.0592, -59.2)])
def test_electrode_mv_of_an_inverting_board(volts: float, mv: float) -> None:
    """An acid's positive electrode voltage lowers an inverting board's output."""
    assert electrode_mv(volts, 1.65, -3.0) == pytest.approx(mv)
    assert PhAmplifier(**PH).signal(volts) == pytest.approx(mv)


@pytest.mark.parametrize(("volts", "ms"), [(0.1, 0.0), (0.8065, 1.413), (0.0, -0.2)])
def test_conductance_above_the_dry_output(volts: float, ms: float) -> None:
    """Conductance counts from the dry cell's output; below it the sign is kept for the judge to see."""
    assert conductance_ms(volts, 0.1, 2.0) == pytest.approx(ms)
    assert EcAmplifier(**EC).signal(volts) == pytest.approx(ms)


@pytest.mark.parametrize("gain", [0.0, 0.09, -0.09, 101.0, -101.0, math.nan, math.inf])
def test_refuses_a_gain_that_is_none(gain: float) -> None:
    """Zero, tiny, huge and not finite gains are refused, whatever their sign."""
    with pytest.raises(ValidationError, match="gain"):
        PhAmplifier(**PH | {"gain": gain})


@pytest.mark.parametrize("ms_per_v", [0.0, -1.0, 1001.0, math.nan])
def test_refuses_a_conductance_scale_that_is_none(ms_per_v: float) -> None:
    """mS per volt must be above 0 and finite."""
    with pytest.raises(ValidationError, match="ms_per_v"):
        EcAmplifier(**EC | {"ms_per_v": ms_per_v})
