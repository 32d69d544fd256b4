"""The garden, once for all who only look."""

from __future__ import annotations

from pathlib import Path

import pytest

from daemon.report.facts import Facts
from tests.report.gardens import garden, told


@pytest.fixture(scope="package")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Its folder."""
    return garden(tmp_path_factory.mktemp("garden"))


@pytest.fixture(scope="package")
def facts(kept: Path) -> Facts:
    """All that is told of it."""
    return told(kept)
