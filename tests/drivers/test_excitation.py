"""A conductivity cell that is on only while it is looked at."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import ValidationError

from drivers.ads1115 import Chips
from drivers.probe import AdcError, Probe, Quantity
from drivers.registry import check_probe, open_probe, wiring_of
from tests.drivers.parts import StepRig

EC = {"input": 1, "ms_per_v": 1.0, "excitation_line": 26, "excitation_settle_s": 0.3}


def opened(rig: StepRig) -> Probe:
    return open_probe(Quantity.EC, "ec_amplifier", EC, rig, Chips(rig))


def level(rig: StepRig) -> bool:
    return bool(rig.pins.pin(26).state)


def test_is_off_before_and_after_each_look_and_on_during_it() -> None:
    """From on to the first conversion passes the time it needs to settle."""
    rig = StepRig(codes=[8000])
    probe = opened(rig)
    assert not level(rig)
    seen: list[tuple[float, bool]] = []
    rig.time.while_sleeping = lambda: seen.append((rig.time.now_s, level(rig)))
    began_s = rig.time.now_s
    assert probe.sample().volts == pytest.approx(1.0)
    assert not level(rig)
    assert all(on for _, on in seen)
    assert rig.bus.started_s[0] - began_s == pytest.approx(0.3)


def test_is_off_after_a_look_that_failed() -> None:
    """No converter there: the error comes through, and the current does not stay on."""
    rig = StepRig()
    rig.bus.missing = True
    probe = opened(rig)
    with pytest.raises(AdcError):
        probe.sample()
    assert not level(rig)


def test_is_off_once_closed() -> None:
    """Twice is harmless."""
    rig = StepRig(codes=[1])
    probe = opened(rig)
    probe.close()
    probe.close()
    assert not level(rig)


def test_claims_its_line_beside_its_input() -> None:
    """So that no pump is given the same."""
    assert check_probe("ec_amplifier", EC).claims() == {"i2c1:0x48:a1", "gpio26"}


def test_no_calibration_rests_on_how_it_is_switched() -> None:
    """Adding the switch to a calibrated cell asks for no new calibration."""
    without = {"input": 1, "ms_per_v": 1.0}
    assert wiring_of("ec_amplifier", EC) == wiring_of("ec_amplifier", without)


@pytest.mark.parametrize(
    "more", [{"excitation_line": 28}, {"excitation_settle_s": 0.04}, {"excitation_settle_s": float("nan")}]
)
def test_refuses_what_cannot_be(more: dict[str, Any]) -> None:
    """A line that is not on the header, a time that is none."""
    with pytest.raises(ValidationError, match=next(iter(more))):
        check_probe("ec_amplifier", EC | more)
