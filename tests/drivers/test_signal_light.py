"""The lamp at the box."""

from __future__ import annotations

from gpiozero.pins.mock import MockFactory

from drivers.signal_light import SignalLight


def test_it_is_off_from_the_start_and_at_the_end() -> None:
    """And on in between as it is told; closing twice is harmless."""
    factory = MockFactory()
    light = SignalLight(line=23, pin_factory=factory)
    pin = factory.pin(23)
    assert not pin.state
    light.show(on=True)
    light.show(on=True)
    assert pin.state
    light.show(on=False)
    assert not pin.state
    light.show(on=True)
    light.close()
    light.close()
    assert not pin.state or pin.function == "input"
