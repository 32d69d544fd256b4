"""The float switch, through gpiozero on mock pins."""

from __future__ import annotations

import gpiozero
import pytest
from gpiozero.pins.mock import MockFactory

from drivers.float_switch import FloatSwitch, FloatSwitchWiring
from tests.drivers.parts import StepClock


def switch(closed_means: str, pins: MockFactory) -> FloatSwitch:
    wiring = FloatSwitchWiring.model_validate({"line": 23, "closed_means": closed_means})
    return FloatSwitch(wiring=wiring, pin_factory=pins, clock=StepClock())


@pytest.mark.parametrize(
    ("closed_means", "closed", "signal"),
    [("enough", True, 1.0), ("enough", False, 0.0), ("low", True, 0.0), ("low", False, 1.0)],
)
def test_tells_enough_from_low(closed_means: str, closed: bool, signal: float) -> None:
    """A closed contact pulls the line to ground; which level that is, the wiring says."""
    pins = MockFactory()
    contact = switch(closed_means, pins)
    if closed:
        pins.pin(23).drive_low()
    sample = contact.sample()
    assert (sample.signal, sample.volts, sample.at_s) == (signal, None, 100.0)
    contact.close()


def test_a_broken_wire_reads_low() -> None:
    """With the usual wiring an open line is pulled up, and that means too little water."""
    pins = MockFactory()
    contact = switch("enough", pins)
    assert pins.pin(23).pull == "up"
    assert contact.sample().signal == 0.0
    contact.close()


def test_gives_its_line_back_once() -> None:
    """Closing twice is harmless, and the line is free for another device."""
    pins = MockFactory()
    contact = switch("enough", pins)
    contact.close()
    contact.close()
    gpiozero.InputDevice(23, pull_up=True, pin_factory=pins).close()


def test_claims_its_line() -> None:
    """The GPIO line is what nothing else may use."""
    assert FloatSwitchWiring(line=23).claims() == {"gpio23"}
