"""A tank that the command line reaches, and commands typed beside it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from daemon.cli.main import main
from tests.at_the_tank import AtTheTank, at_the_tank


@pytest.fixture
def tank(tmp_path: Path) -> Iterator[AtTheTank]:
    """The school garden after its first pass, listening on its control socket."""
    with at_the_tank(tmp_path, control=True) as at:
        at.passes(1)
        yield at


@pytest.fixture
def held(tank: AtTheTank) -> AtTheTank:
    """The same, paused by a person."""
    tank.ask("hold", reason="at work")
    return tank


@pytest.fixture
def evenwater(tank: AtTheTank, tmp_path: Path) -> Callable[..., int]:
    """Gives the exit code of a command typed in another shell."""
    return lambda *words: tank.while_answering(lambda: main([*words, "--state", str(tmp_path)]))
