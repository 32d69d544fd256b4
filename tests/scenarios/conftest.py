"""What the scenarios share: a folder whose path is short enough for sockets."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest


@pytest.fixture
def folder() -> Iterator[Path]:
    """A folder of one's own."""
    with tempfile.TemporaryDirectory(prefix="evenwater-") as made:
        yield Path(made)
