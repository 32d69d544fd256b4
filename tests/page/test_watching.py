"""Fifty phones that watch: small in memory, and nothing to the daemon."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from daemon.page.app import BESIDE
from daemon.page.events import MOST_WATCHING
from daemon.page.glimpse import MOST_CALLS
from daemon.page.pages import FILES, VIEWS
from daemon.page.server import MOST_AT_ONCE
from daemon.service import settings_with
from tests.at_the_tank import AtTheTank
from tests.page.browser import Browser
from tests.page.watching import PHONES, page_process, resident_mb, watched

MOST_MB = 80.0
TOP = Path(__file__).parents[2]


def test_fifty_phones_are_small(tank: AtTheTank) -> None:
    """Each has opened the page and is told of passes; the process that serves them stays below 80 MB.

    Also once somebody has opened every view, had a mix reckoned and kept every file.
    """
    mix = TOP / "config" / "mixes" / "quince-lane.toml"
    named = settings_with(tank.loop.site.settings, garden={"mix_file": str(mix)})
    tank.service.loop.site = replace(tank.loop.site, settings=named)
    with page_process(tank.service.folder) as (process, port), watched(port):
        assert resident_mb(process) < MOST_MB
        everything = Browser(port, tank)
        for path in (*VIEWS, *FILES):
            assert everything.asks("GET", path)[0] == 200, path
        assert resident_mb(process) < MOST_MB


def test_there_is_room_for_them() -> None:
    """To watch, and to fetch what is new; what waits for the daemon is bounded all the same."""
    assert MOST_WATCHING >= PHONES
    assert MOST_AT_ONCE > 2 * MOST_WATCHING
    assert BESIDE < 2 * MOST_CALLS


def test_the_page_names_nothing_of_the_loop() -> None:
    """It knows the control socket and the history, so it cannot hold up a pass."""
    rooms = TOP / "daemon" / "page"
    named = {line for file in rooms.rglob("*.py") for line in file.read_text().splitlines() if " import " in line}
    for room in ("loop", "desk", "service", "reservoir"):
        assert [line for line in named if line.startswith(f"from daemon.{room} ")] == []
