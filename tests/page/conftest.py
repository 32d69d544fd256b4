"""The school garden after its first dose, and its page."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.at_the_tank import TO_A_DOSE, AtTheTank, at_the_tank
from tests.page.browser import HOLDERS, Browser, passwords, serving


@pytest.fixture
def tank(tmp_path: Path) -> Iterator[AtTheTank]:
    """The school garden after its first dose, with its control socket."""
    with at_the_tank(tmp_path, control=True) as at:
        at.passes(TO_A_DOSE)
        yield at


@pytest.fixture
def browser(tank: AtTheTank) -> Iterator[Browser]:
    """The page of that garden without a password, and who looks at it."""
    with serving(tank) as looks:
        yield looks


@pytest.fixture
def guarded(tank: AtTheTank) -> Iterator[Browser]:
    """The same where passwords are set, for somebody who is not logged in yet."""
    passwords(tank.service.folder)
    with serving(tank) as looks:
        yield looks


@pytest.fixture
def holder(garden: AtTheTank) -> Iterator[Browser]:
    """The page of the garden that the test's file makes, and who has logged in with the password."""
    with serving(garden) as looks:
        looks.logs_in(HOLDERS)
        yield looks
