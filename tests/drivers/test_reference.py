"""A known voltage at a spare input, as the settings tell of it."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from drivers.reference import ReferenceInput


def test_it_becomes_what_the_converter_measures() -> None:
    """Its name, its place and its volts, 1 % either way."""
    reference = ReferenceInput(address=0x49, input=3, expected_v=2.5).named("shunt")
    assert (reference.name, reference.bus_number, reference.address, reference.mux) == ("shunt", 1, 0x49, 7)
    assert (reference.full_scale_v, reference.conversions, reference.expected_v) == (4.096, 4, 2.5)
    assert reference.allowed_v == pytest.approx((2.475, 2.525))


def test_it_claims_its_input() -> None:
    """As any probe at a converter does."""
    assert ReferenceInput(input=3, expected_v=2.5).claims() == {"i2c1:0x48:a3"}


@pytest.mark.parametrize(
    ("full_scale_v", "expected_v", "fits"),
    [
        (4.096, 3.96, True),
        (4.096, 3.97, False),  # 1 % more would be clipped
        (4.096, 0.41, True),
        (4.096, 0.40, False),
        (2.048, 2.5, False),
        (6.144, 5.0, True),
    ],
)
def test_it_must_lie_well_within_the_range(full_scale_v: float, expected_v: float, fits: bool) -> None:
    """So that 1 % too much is not yet clipped, and 1 % is far more than noise."""
    if fits:
        assert ReferenceInput(input=3, full_scale_v=full_scale_v, expected_v=expected_v).expected_v == expected_v
        return
    with pytest.raises(
        ValidationError, match=rf"expected_v = {expected_v:g}: must be from .* V where full_scale_v"
    ):
        ReferenceInput(input=3, full_scale_v=full_scale_v, expected_v=expected_v)


@pytest.mark.parametrize("expected_v", [0.0, -2.5, 6.1, float("nan"), float("inf")])
def test_volts_that_no_reference_has_are_refused(expected_v: float) -> None:
    """Below 0 the wires are swapped."""
    with pytest.raises(ValidationError):
        ReferenceInput(input=3, full_scale_v=6.144, expected_v=expected_v)
