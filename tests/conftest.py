"""What holds for every test: no example of a property fails for being slow on a busy machine; and a tank."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

if TYPE_CHECKING:
    from tests.at_the_tank import AtTheTank

settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")


@pytest.fixture
def tank(tmp_path: Path) -> Iterator[AtTheTank]:
    """The school garden after its first pass, calibrated, its water at pH 7.2."""
    from tests.at_the_tank import at_the_tank  # the whole program: loaded only where a test asks for it

    with at_the_tank(tmp_path) as at:
        at.passes(1)
        yield at
