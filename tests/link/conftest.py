"""Devices that are closed at the end, and a link with shorter pauses."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from daemon.link import mqtt, session
from tests.link.devices import Device, Make


@pytest.fixture(autouse=True)
def brisk(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same link with shorter pauses."""
    monkeypatch.setattr(mqtt, "STEP_S", 0.02)
    monkeypatch.setattr(mqtt, "RETRY_FIRST_S", 0.1)
    monkeypatch.setattr(session, "LEAST_BETWEEN_S", 0.05)


@pytest.fixture
def device() -> Iterator[Make]:
    """Makes devices and closes them at the end."""
    made: list[Device] = []

    def make(*args: Any, **kwargs: Any) -> Device:
        made.append(Device(*args, **kwargs))
        return made[-1]

    yield make
    for each in made:
        each.link.close()
