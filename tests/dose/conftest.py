"""Ledgers of these tests live in memory where the system has such a folder: each commit waits for the disk."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

IN_MEMORY = Path("/dev/shm")


@pytest.fixture
def tmp_path() -> Iterator[Path]:
    """A folder that goes away after the test, in memory if there is room for one."""
    with TemporaryDirectory(prefix="ledger-", dir=IN_MEMORY if IN_MEMORY.is_dir() else None) as name:
        yield Path(name)
