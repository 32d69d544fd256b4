"""What all analog probes share: their table's bounds, their claims, their samples."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import ValidationError

from drivers.ads1115 import Chips
from drivers.amplifiers import PhAmplifier
from drivers.probe import AdcError, Quantity
from drivers.registry import check_probe, open_probe
from tests.drivers.parts import StepRig

PH = {"i2c_bus": 1, "address": 0x48, "input": 0, "full_scale_v": 4.096, "zero_v": 1.65, "gain": -3.0}


def test_a_sample_keeps_volts_spread_and_time() -> None:
    """Signal, volts, spread, clipping and the rig's time all come along."""
    rig = StepRig(codes=[13200, 13000, 13280, 13320])
    probe = open_probe(Quantity.PH, "ph_amplifier", PH, rig, Chips(rig))
    sample = probe.sample()
    assert (sample.quantity, sample.clipped) == (Quantity.PH, False)
    assert sample.at_s == pytest.approx(100.035)
    assert (sample.volts, sample.spread_v) == pytest.approx((1.65, 0.04))
    assert sample.signal == pytest.approx(0.0, abs=1e-9)


def test_a_clipped_sample_says_so() -> None:
    """At the end of the range the sample is marked, and the volts are those of the end."""
    rig = StepRig(codes=[32767])
    sample = open_probe(Quantity.PH, "ph_amplifier", PH, rig, Chips(rig)).sample()
    assert sample.clipped
    assert sample.volts == pytest.approx(4.096, abs=2e-4)


def test_a_probe_on_a_missing_chip_opens_and_then_says_so() -> None:
    """A missing converter is a fault of each sample, not of the start: the other probes go on."""
    rig = StepRig()
    rig.bus.missing = True
    probe = open_probe(Quantity.PH, "ph_amplifier", PH, rig, Chips(rig))
    with pytest.raises(AdcError):
        probe.sample()
    probe.close()
    probe.close()


@pytest.mark.parametrize(
    ("more", "claim"),
    [({}, "i2c1:0x48:a0"), ({"i2c_bus": 3, "address": 0x4B, "input": 2, "minus_input": 3}, "i2c3:0x4b:a2")],
)
def test_claims_its_input(more: dict[str, Any], claim: str) -> None:
    """Bus, address and plus input name what two probes may not share."""
    assert check_probe("ph_amplifier", PH | more).claims() == {claim}


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"address": 0x47}, "address"),
        ({"address": 0x4C}, "address"),
        ({"input": 4}, "input"),
        ({"input": -1}, "input"),
        ({"full_scale_v": 3.3}, "must be one of 6.144, 4.096"),
        ({"full_scale_v": float("nan")}, "full_scale_v"),
        ({"conversions": 5}, "4, 8, 12 or 16"),
        ({"conversions": 0}, "conversions"),
        ({"conversions": 20}, "conversions"),
        ({"input": 0, "minus_input": 2}, "pairs 0 and 1, 0 and 3, 1 and 3, 2 and 3"),
        ({"input": 3, "minus_input": 3}, "pairs"),
        ({"inputs": 1}, "inputs"),
        ({"address": "0x48"}, "address"),
    ],
)
def test_refuses_a_wiring_that_cannot_be(more: dict[str, Any], says: str) -> None:
    """Out of range, of another type or unknown: the complaint names the key or the rule."""
    with pytest.raises(ValidationError, match=says):
        PhAmplifier.model_validate(PH | more)


def test_needs_no_more_than_an_input_and_the_circuit() -> None:
    """The first bus, address and a range for 3.3 V circuits are what is not said."""
    wiring = PhAmplifier.model_validate({"input": 1, "zero_v": 1.5, "gain": 5.0})
    assert (wiring.i2c_bus, wiring.address, wiring.full_scale_v, wiring.conversions) == (1, 0x48, 4.096, 4)
