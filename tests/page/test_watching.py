"""Fifty phones that watch: small in memory, and nothing to the daemon."""

from __future__ import annotations

from pathlib import Path

from daemon.page.app import BESIDE
from daemon.page.events import MOST_WATCHING
from daemon.page.glimpse import MOST_CALLS
from daemon.page.server import MOST_AT_ONCE
from tests.at_the_tank import AtTheTank
from tests.page.watching import PHONES, page_process, resident_mb, watched

MOST_MB = 80.0


def test_fifty_phones_are_small(tank: AtTheTank) -> None:
    """Each has opened the page and is told of passes; the process that serves them stays below 80 MB."""
    with page_process(tank.service.folder) as (process, port), watched(port):
        assert resident_mb(process) < MOST_MB


def test_there_is_room_for_them() -> None:
    """To watch, and to fetch what is new; what waits for the daemon is bounded all the same."""
    assert MOST_WATCHING >= PHONES
    assert MOST_AT_ONCE > 2 * MOST_WATCHING
    assert BESIDE < 2 * MOST_CALLS


def test_the_page_names_nothing_of_the_loop() -> None:
    """It knows the control socket and the history, so it cannot hold up a pass."""
    rooms = Path(__file__).parents[2] / "daemon" / "page"
    named = {line for file in rooms.rglob("*.py") for line in file.read_text().splitlines() if " import " in line}
    for room in ("loop", "desk", "service", "reservoir"):
        assert [line for line in named if line.startswith(f"from daemon.{room} ")] == []
