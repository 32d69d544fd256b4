"""A contact at a line, through gpiozero on mock pins."""

from __future__ import annotations

import gpiozero
from gpiozero.pins.mock import MockFactory

from drivers.contact import Contact


def test_a_closed_contact_pulls_its_line_to_ground() -> None:
    """Closed, open, closed again."""
    pins = MockFactory()
    contact = Contact(line=5, pin_factory=pins)
    for closed in (True, False, True):
        pins.pin(5).drive_low() if closed else pins.pin(5).drive_high()
        assert contact.closed() is closed
    contact.close()


def test_a_broken_wire_reads_open() -> None:
    """The line is pulled up inside the computer."""
    pins = MockFactory()
    contact = Contact(line=5, pin_factory=pins)
    assert pins.pin(5).pull == "up"
    assert not contact.closed()
    contact.close()


def test_gives_its_line_back_once() -> None:
    """Closing twice is harmless, and the line is free for another device."""
    pins = MockFactory()
    contact = Contact(line=5, pin_factory=pins)
    contact.close()
    contact.close()
    gpiozero.InputDevice(5, pull_up=True, pin_factory=pins).close()
