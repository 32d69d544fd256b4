"""New water, from the page: paused, the steps, the word that it is in."""

from __future__ import annotations

import html
import re
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from daemon.dose.ledger_renewed import NEW_WATER
from daemon.values import Condition
from daemon.words import change_out_steps
from tests.at_the_tank import AtTheTank, at_the_tank, two_beds
from tests.hazards.kept import fed_bed
from tests.page.browser import GUESTS, HOLDERS, WHO, Browser, passwords, serving

WATER = "/doses/water?reservoir=bed1"
DONE = {"reservoir": "bed1", "new": "yes", "password": HOLDERS}
NOTE = "Note the new water"


@pytest.fixture
def garden(tmp_path: Path) -> Iterator[AtTheTank]:
    """The school garden with stocks, its password set."""
    passwords(tmp_path)
    with at_the_tank(tmp_path, fed_bed(), control=True) as at:
        at.passes(1)
        yield at


def noted(tank: AtTheTank) -> list[tuple[str, str]]:
    """Which reservoirs were given new water, and who told it."""
    with sqlite3.connect(tank.service.folder / "ledger.db") as db:
        return list(db.execute("SELECT reservoir, who FROM refills WHERE pump = ?", (NEW_WATER,)))


def test_the_steps_are_those_of_the_command_with_their_cautions(garden: AtTheTank, holder: Browser) -> None:
    """Of this reservoir, in order, before anything is begun and while it goes on."""
    for _ in range(2):
        text = holder.gets(WATER)
        shown = re.findall("<li>(.*?)</li>", re.sub("</?code>", "`", text.rpartition("<ol>")[2]))
        assert [html.unescape(step) for step in shown] == list(change_out_steps(fed_bed().reservoir["bed1"]))
        assert "goggles and gloves on" in text
        assert "Never pour concentrates A and B together" in text
        holder.posts("/change-out/begin", reservoir="bed1")
        garden.passes(1)


def test_it_begins_with_a_pause_and_ends_with_the_word_that_it_is_in(garden: AtTheTank, holder: Browser) -> None:
    """That ends the pause again; the ledger keeps who."""
    text = holder.gets(WATER)
    assert ("Pause dosing of Bed 1" in text, "When it is in" in text) == (True, False)
    status, text = holder.posts("/change-out/begin", reservoir="bed1")
    assert (status, "dosing paused while the water is changed" in text) == (200, True)
    garden.passes(1)
    assert garden.bed().condition is Condition.HELD
    text = holder.gets(WATER)
    assert ("Pause dosing of Bed 1" in text, "When it is in" in text) == (False, True)
    status, text = holder.posts("/change-out/done", **DONE)
    assert (status, "new water noted" in text) == (200, True)
    garden.passes(1)
    assert (garden.bed().condition, noted(garden)) == (Condition.KEEPING, [("bed1", WHO)])


def test_the_word_for_it_is_a_tick_and_the_password(garden: AtTheTank, holder: Browser) -> None:
    """Without either nothing is noted, and it stays paused; the way back leads to the steps."""
    holder.posts("/change-out/begin", reservoir="bed1")
    for lacking in ({"new": ""}, {"new": "no"}, {"password": ""}, {"password": "wrong"}, {"password": GUESTS}):
        status, text = holder.posts("/change-out/done", **(DONE | lacking))
        assert status == (400 if "new" in lacking else 403)
        assert f'<a href="{WATER}">Back</a>' in text
    garden.passes(1)
    assert (garden.bed().condition, noted(garden)) == (Condition.HELD, [])


def test_it_may_be_told_afterwards(garden: AtTheTank, holder: Browser) -> None:
    """By a form that is folded away."""
    text = holder.gets(WATER)
    assert text.index("It has been changed already") < text.index(NOTE)
    assert holder.posts("/change-out/done", **DONE)[0] == 200
    assert noted(garden) == [("bed1", WHO)]


def test_a_pause_of_another_reason_stays(garden: AtTheTank, holder: Browser) -> None:
    """The hose is still off, though the water is new."""
    garden.ask("hold", reason="the hose came off")
    garden.passes(1)
    assert "the hose came off" in holder.gets(WATER)
    assert holder.posts("/change-out/begin", reservoir="bed1")[0] == 200
    assert holder.posts("/change-out/done", **DONE)[0] == 200
    garden.passes(1)
    assert (garden.bed().condition, garden.bed().condition_reason) == (Condition.HELD, "the hose came off")


def test_now_leads_there_only_while_the_water_is_changed(garden: AtTheTank, holder: Browser) -> None:
    """A release alone would go on by what was learned of the old water."""
    garden.ask("hold", reason="the hose came off")
    garden.passes(1)
    assert WATER not in holder.gets("/")
    garden.ask("release")
    garden.ask("change_out.begin")
    garden.passes(1)
    assert f'href="{WATER}"' in holder.gets("/")


def test_without_a_password_it_begins_here_and_ends_at_the_tank(browser: Browser, tank: AtTheTank) -> None:
    """A pause is anybody's; what lets it dose again is a command."""
    text = browser.gets(WATER)
    assert "Pause dosing of Bed 1" in text
    assert ("evenwater change-out done<" in text, NOTE in text) == (True, False)
    assert browser.posts("/change-out/begin", reservoir="bed1")[0] == 200
    tank.passes(1)
    assert tank.bed().condition is Condition.HELD


def test_a_guest_reads_the_steps(guarded: Browser) -> None:
    """And begins and tells nothing."""
    guarded.logs_in(GUESTS)
    text = guarded.gets(WATER)
    assert "mains first" in text
    assert ("Pause dosing" in text, NOTE in text, "change-out done" in text) == (False, False, False)


def test_each_reservoir_has_steps_of_its_own(tmp_path: Path) -> None:
    """Reached from its doses; the other is not touched."""
    with at_the_tank(tmp_path, two_beds(), control=True) as at, serving(at) as browser:
        at.passes(1)
        assert 'href="/doses/water?reservoir=bed2"' in browser.gets("/doses")
        text = browser.gets("/doses/water?reservoir=bed2")
        assert "New water for Bed 2" in text
        assert "evenwater change-out done --reservoir bed2" in text
        assert browser.posts("/change-out/begin", reservoir="bed2")[0] == 200
        at.passes(1)
        assert (at.bed("bed1").condition is Condition.HELD, at.bed("bed2").condition) == (False, Condition.HELD)
