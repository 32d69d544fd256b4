"""Ledgers of these tests live in memory where the system has such a folder: each commit waits for the disk."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from daemon.dose.ledger import Ledger
from tests.dose.ledgers import opened

IN_MEMORY = Path("/dev/shm")


@pytest.fixture
def tmp_path() -> Iterator[Path]:
    """A folder that goes away after the test, in memory if there is room for one."""
    with TemporaryDirectory(prefix="ledger-", dir=IN_MEMORY if IN_MEMORY.is_dir() else None) as name:
        yield Path(name)


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Ledger]:
    """A new ledger, closed in the end."""
    ledger = opened(tmp_path)
    yield ledger
    ledger.close()
