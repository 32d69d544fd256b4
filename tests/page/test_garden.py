"""The garden beside its plan, on the page: calendar, growth, harvest book, as the command line has them."""

from __future__ import annotations

import html
import re
from collections.abc import Mapping
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from icalendar import Calendar

from daemon.cli.main import main
from daemon.crop.diary_file import FILE_NAME, event_of, read, write
from daemon.crop.garden import day_of
from daemon.service import settings_with
from tests.at_the_tank import AtTheTank, one_bed
from tests.page.browser import GUESTS, Browser, passwords, serving

LIVED: tuple[tuple[str, int, Mapping[str, Any]], ...] = (
    ("sown", 60, {"crop": "lettuce", "variety": "butterhead", "plugs": 8}),
    ("transplanted", 40, {"heads": 6, "reservoir": "bed1"}),
    ("picked", 10, {"heads": 2, "grams": 310.0}),
)
LAMP = {"rated_w": 120.0, "hours_per_day": 16.0, "light_umol_per_m2_s": 220.0, "on_at_h": 5.0}


def words_of(text: str) -> str:
    """What a person reads of it."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", text)).split())


def lived(tank: AtTheTank, name: str = "spring-1") -> None:
    """A batch that was sown and set out, and two heads of it picked."""
    for kind, days_ago, fields in LIVED:
        day = tank.clock.utc().date() - timedelta(days=days_ago)
        event = event_of(kind, {"batch": name, **fields})
        write(tank.service.folder / FILE_NAME, event, day, tank.clock.utc())


def test_all_tasks_are_kept_for_a_calendar(browser: Browser, tank: AtTheTank) -> None:
    """Another library reads it: each task of the plan on its day, by the UID that the command gives it too."""
    lived(tank)
    status, text, headers = browser.asks("GET", "/crop/garden.ics")
    assert status == 200
    assert headers["content-type"] == "text/calendar; charset=utf-8"
    assert headers["content-disposition"] == 'attachment; filename="garden.ics"'
    events = Calendar.from_ical(text).walk("VEVENT")
    lines = read(tank.service.folder / FILE_NAME).lines
    settings = tank.loop.site.settings
    tasks = day_of(settings, lines, tank.clock.utc().astimezone().date()).tasks
    assert len(tasks) >= 5
    assert [(str(one["uid"]), one.decoded("dtstart")) for one in events] == [
        (f"{task.id}@{settings.site.device_id}", task.due) for task in tasks
    ]


def test_a_diary_that_cannot_be_read_gives_no_calendar(browser: Browser, tank: AtTheTank) -> None:
    """It says which file; so does the view of growth."""
    (tank.service.folder / FILE_NAME).write_text("no diary\nat all\n", encoding="utf-8")
    status, text, _ = browser.asks("GET", "/crop/garden.ics")
    assert (status, FILE_NAME in text) == (503, True)
    assert FILE_NAME in browser.gets("/crop/growth")


def test_a_guest_may_keep_it_and_a_stranger_not(guarded: Browser) -> None:
    """As any look."""
    assert guarded.asks("GET", "/crop/garden.ics")[0] == 401
    guarded.logs_in(GUESTS)
    assert guarded.asks("GET", "/crop/garden.ics")[0] == 200


def test_without_light_it_is_told_what_is_missing(browser: Browser, tank: AtTheTank) -> None:
    """Growth cannot be reckoned; the harvest book still can."""
    lived(tank)
    text = words_of(browser.gets("/crop/growth"))
    assert "light" in text
    assert "eight times in ten" not in text
    assert "2 heads picked of 6 set out, 310 g in all." in text


def test_how_heads_grow_and_what_threatens(tank: AtTheTank, monkeypatch: pytest.MonkeyPatch) -> None:
    """By the lamp that the settings name."""
    lived(tank)
    settings = settings_with(one_bed(), appliance={"lamp": LAMP})
    monkeypatch.setattr(tank.service.loop, "site", replace(tank.loop.site, settings=settings))
    with serving(tank) as browser:
        text = words_of(browser.gets("/crop/growth"))
    assert "spring-1: 4 butterhead heads in bed1, set out 2026-02-20, day 40" in text
    assert re.search(r"A head weighs \d+ g, eight times in ten \d+ to \d+ g", text)
    assert "light not measured: by the lamp's timetable" in text
    assert "What threatens" in text
    assert "plants on a m²" in text


def test_the_harvest_book_is_that_of_the_command(
    browser: Browser, tank: AtTheTank, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each cell of each batch, and what became of all."""
    lived(tank)
    lived(tank, "spring-2")
    page = browser.gets("/crop/growth")
    rows = re.findall(r'<tr><th scope="row">([^<]+)</th>(.*?)</tr>', page)
    shown = [[name, *re.findall(r"<td>([^<]*)</td>", cells)] for name, cells in rows]
    assert main(["crop", "book", "--state", str(tank.service.folder)]) == 0
    _, *printed = capsys.readouterr().out.splitlines()
    cells = [re.split(r"  +", line.strip()) for line in printed if line.startswith("spring-")]
    assert [" ".join(map(html.unescape, row)) for row in shown] == [" ".join(row) for row in cells]
    assert len(shown) == 2
    for line in printed[printed.index("") + 1 :]:
        assert line in words_of(page)


def test_nothing_sown_is_told(tank: AtTheTank) -> None:
    """And the kitchen tablet may look."""
    passwords(tank.service.folder)
    with serving(tank) as browser:
        browser.logs_in(GUESTS)
        text = words_of(browser.gets("/crop/growth"))
    assert "No head stands in a reservoir." in text
    assert "Nothing was sown yet." in text
