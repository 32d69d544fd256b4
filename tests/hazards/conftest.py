"""What a hazard's test measured goes on the page: `python -m tests.hazards --measure` gathers it."""

from __future__ import annotations

from collections.abc import Callable

import pytest

Figure = Callable[[str], None]


@pytest.fixture
def figure(record_property: Callable[[str, object], None]) -> Figure:
    """Call it with what was measured, in a few words with units, once all has been held to its claim."""
    return lambda text: record_property("figure", text)
