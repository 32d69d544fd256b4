"""A service on loopback for each test that asks for one."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.services import Service, running


@pytest.fixture
def service() -> Iterator[Service]:
    """Running, and gone at the end."""
    with running() as one:
        yield one
