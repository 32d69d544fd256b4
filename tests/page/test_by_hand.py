"""What hands did at the pumps, told from the page: a bottle filled, a new tube, something poured in."""

from __future__ import annotations

import html
import re
import sqlite3
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest

from daemon.values import Condition, Role
from tests.at_the_tank import AtTheTank, at_the_tank, two_beds
from tests.page.browser import GUESTS, HOLDERS, WHO, Browser, passwords, serving

PUMP = {"reservoir": "bed1", "pump": "ph_down"}
FULL = {**PUMP, "full": "yes"}
POURED = {**PUMP, "ml": "5", "note": "wet hands <b>"}
TOLD = {"/bottle": FULL, "/tube": PUMP, "/poured": POURED}
BUTTONS = ("Count the bottle as full", "Note the new tube", "Note what was poured")


def renewed(tank: AtTheTank) -> list[tuple[str, str]]:
    """What was renewed, and who told it, as the ledger has it."""
    with sqlite3.connect(tank.service.folder / "ledger.db") as db:
        return list(db.execute("SELECT pump, who FROM refills ORDER BY number"))


@pytest.mark.parametrize("path", TOLD)
def test_it_is_told_by_the_password_alone(guarded: Browser, tank: AtTheTank, path: str) -> None:
    """Nothing is written by another; the same form with it goes through."""
    guarded.logs_in(HOLDERS)
    ledger = tank.ask("ledger")
    for password in ("", "wrong", GUESTS):
        assert guarded.posts(path, **TOLD[path], password=password)[0] == 403
    assert (renewed(tank), tank.ask("ledger")) == ([], ledger)
    status, text = guarded.posts(path, **TOLD[path], password=HOLDERS)
    assert (status, "Done" in text) == (200, True)
    assert len(renewed(tank)) + len(tank.ask("ledger")) == len(ledger) + 1


def test_a_bottle_that_was_filled_counts_as_full(guarded: Browser, tank: AtTheTank) -> None:
    """And who said so is written down."""
    guarded.logs_in(HOLDERS)
    assert tank.bed().caps[Role.PH_DOWN].bottle_left_ml < 1000.0
    status, text = guarded.posts("/bottle", **FULL, password=HOLDERS)
    assert (status, "pH down bottle counted as full: 1000 mL" in text) == (200, True)
    assert tank.passes(1).reservoirs["bed1"].caps[Role.PH_DOWN].bottle_left_ml == 1000.0
    assert renewed(tank) == [("ph_down", WHO)]


@pytest.mark.parametrize(
    ("path", "asked", "told"),
    [
        ("/bottle", {**PUMP}, "filled to the top: nothing was noted"),
        ("/bottle", {**FULL, "full": "no"}, "filled to the top: nothing was noted"),
        ("/bottle", {**FULL, "pump": ""}, "Of which pump? Choose it"),
        ("/bottle", {**FULL, "pump": "stock_a"}, "Bed 1 has no stock A pump"),
        ("/bottle", {**FULL, "reservoir": "bed9"}, "no reservoir bed9; there is bed1"),
        ("/tube", {**PUMP, "pump": ""}, "Of which pump? Choose it"),
        ("/tube", {**PUMP, "pump": "juice"}, "Input should be"),
        ("/poured", {**POURED, "pump": ""}, "Of which pump? Choose it"),
        ("/poured", {**PUMP}, "How many mL did you pour?"),
        ("/poured", {**POURED, "ml": ""}, "How many mL did you pour?"),
        ("/poured", {**POURED, "ml": "a cup"}, "is no number"),
        ("/poured", {**POURED, "ml": "nan"}, "is no number"),
        ("/poured", {**POURED, "ml": "0"}, "must be above 0 mL and at most 3000 mL"),
        ("/poured", {**POURED, "ml": "-5"}, "must be above 0 mL and at most 3000 mL"),
        ("/poured", {**POURED, "ml": "3001", "sure": "yes"}, "must be above 0 mL and at most 3000 mL"),
        ("/poured", {**POURED, "pump": "top_up"}, "water by hand needs no line"),
    ],
)
def test_what_cannot_be_is_told_and_nothing_noted(
    guarded: Browser, tank: AtTheTank, path: str, asked: dict[str, str], told: str
) -> None:
    """What is wrong, in a sentence, and the way back."""
    guarded.logs_in(HOLDERS)
    ledger = tank.ask("ledger")
    answer, text = guarded.posts(path, **asked, password=HOLDERS)
    assert (answer in (400, 409), told in text) == (True, True), text
    assert (renewed(tank), tank.ask("ledger")) == ([], ledger)


def test_a_pump_with_a_new_tube_waits_until_it_is_measured(guarded: Browser, tank: AtTheTank) -> None:
    """As at the tank: the answer tells the next step, and no dose comes."""
    guarded.logs_in(HOLDERS)
    status, text = guarded.posts("/tube", **PUMP, password=HOLDERS)
    assert (status, "It does not dose until measured" in text) == (200, True)
    before = len(tank.runs())
    tank.passes(6 * 60)
    assert len(tank.runs()) == before
    ((what, who),) = renewed(tank)
    assert (what.endswith("ph_down"), who) == (True, WHO)


def test_what_was_poured_is_charged_with_who_and_why(guarded: Browser, tank: AtTheTank) -> None:
    """And no pump turns for it."""
    guarded.logs_in(HOLDERS)
    before = len(tank.runs())
    status, text = guarded.posts("/poured", **(POURED | {"ml": "4,5"}), password=HOLDERS)
    assert (status, "4.5 mL pH down by hand noted" in text) == (200, True)
    assert '<a href="/doses">Back</a>' in text  # to an empty form: told twice, it would be charged twice
    (entry,) = tank.ask("ledger", last=1)
    assert (entry["reason"], entry["ml"], entry["note"]) == ("by_hand", 4.5, f"{WHO}: wet hands <b>")
    assert f"poured by hand ({WHO}: wet hands &lt;b&gt;)" in guarded.gets("/doses")
    assert len(tank.runs()) == before


def test_more_than_a_dose_is_asked_about_once_more(guarded: Browser, tank: AtTheTank) -> None:
    """What was typed is not lost: sent again as sure, by the password again, or gone back to."""
    guarded.logs_in(HOLDERS)
    ledger = tank.ask("ledger")
    status, text = guarded.posts("/poured", **(POURED | {"ml": "8.5"}), password=HOLDERS)
    assert (status, "is more than the 8 mL of one dose; not noted yet" in text) == (409, True)
    assert tank.ask("ledger") == ledger
    assert "Yes, so much: note it" in text
    sent = {
        name: html.unescape(of) for name, of in re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', text)
    }
    sent.pop("token")
    assert sent == {**POURED, "ml": "8.5", "sure": "yes"}
    assert guarded.posts("/poured", **sent)[0] == 403
    assert tank.ask("ledger") == ledger
    assert guarded.posts("/poured", **sent, password=HOLDERS)[0] == 200
    assert tank.ask("ledger", last=1)[0]["ml"] == 8.5


@pytest.mark.parametrize(("ml", "password"), [("8.5", HOLDERS), ("5", "wrong"), ("a cup", HOLDERS)])
def test_on_the_way_back_what_was_typed_stands_there(
    guarded: Browser, tank: AtTheTank, ml: str, password: str
) -> None:
    """In its own form, which is open; after a question, a wrong password, a slip."""
    guarded.logs_in(HOLDERS)
    _, text = guarded.posts("/poured", **(POURED | {"ml": ml}), password=password)
    back = html.unescape(re.findall(r'<a href="(/doses[^"]*)"', text)[-1])
    typed = POURED | {"ml": ml, "form": "poured"}
    assert parse_qs(urlsplit(back).query) == {name: [of] for name, of in typed.items()}
    text = guarded.gets(back)
    assert re.search(r'<details id="poured-bed1" open>', text)
    assert re.search(rf'<input id="poured-ml-bed1" name="ml"[^>]* value="{ml}"', text)
    assert 'value="wet hands &lt;b&gt;"' in text
    assert re.search(r'<option value="ph_down" id="poured-pump-bed1-\d" selected>', text)


@pytest.mark.parametrize(("path", "sent"), [*TOLD.items(), ("/prime", {**PUMP, "ml": "1.5", "cup": "yes"})])
def test_after_a_wrong_password_the_same_pump_is_chosen_in_the_same_form(
    guarded: Browser, tank: AtTheTank, path: str, sent: dict[str, str]
) -> None:
    """And in no other; what somebody gives their word for is ticked anew."""
    guarded.logs_in(HOLDERS)
    tank.ask("hold", reason="filling a tube")
    tank.passes(1)
    _, text = guarded.posts(path, **sent, password="wrong")
    text = guarded.gets(html.unescape(re.findall(r'<a href="(/doses[^"]*)"', text)[-1]))
    form = path.strip("/")
    assert re.findall(r'<details id="(\w+)-bed1" open>', text) == [form]
    assert re.findall(r'<option value="ph_down" id="(\w+)-pump-bed1-\d" selected>', text) == [form]
    assert "checked" not in text
    if "ml" in sent:
        assert re.search(rf'<input id="{form}-ml-bed1" name="ml"[^>]* value="{sent["ml"]}"', text)


def test_nothing_is_chosen_for_the_person(guarded: Browser) -> None:
    """The wrong bottle counted as full is a slip that a list should not make."""
    guarded.logs_in(HOLDERS)
    text = guarded.gets("/doses")
    for told in ("bottle", "tube", "poured"):
        assert re.search(rf'<option value="" id="{told}-pump-bed1-0" selected>which one …', text)
        assert re.search(rf'<select id="{told}-pump-bed1" name="pump" required>', text)


def test_it_comes_with_its_cautions(guarded: Browser) -> None:
    """Where acid, base and stocks are handled."""
    guarded.logs_in(HOLDERS)
    text = html.unescape(guarded.gets("/doses"))
    bottle, tube, poured = (
        text.partition(f'action="/{path}"')[2].partition("</form>")[0] for path in ("bottle", "tube", "poured")
    )
    for form in (bottle, tube, poured):
        assert "goggles and gloves on" in form
        assert "Water to rinse within reach; follow the bottle's label." in form
    for form in (bottle, poured):
        assert "Acid into water, never water into acid." in form
    assert "no acid or base into a stock" in bottle
    assert "Never pour concentrates A and B together" in poured


def test_without_a_password_it_is_told_at_the_tank(browser: Browser) -> None:
    """By the commands that are shown, and by no form."""
    text = browser.gets("/doses")
    for command in ("bottle ph_down", "tube ph_down", "poured bed1 ph_down --ml 5"):
        assert f"evenwater {command}<" in text
    for path in TOLD:
        assert f'action="{path}"' not in text


def test_a_guest_is_offered_neither_form_nor_command(guarded: Browser) -> None:
    """A guest looks."""
    guarded.logs_in(GUESTS)
    text = guarded.gets("/doses")
    assert not any(button in text for button in BUTTONS)
    assert "evenwater poured" not in text


def test_each_reservoir_has_forms_of_its_own(tmp_path: Path) -> None:
    """That say which it is; what was poured into one is charged to that one."""
    with at_the_tank(tmp_path, two_beds(), control=True) as at:
        at.passes(1)
        passwords(tmp_path)
        with serving(at) as browser:
            browser.logs_in(HOLDERS)
            text = browser.gets("/doses?form=poured&reservoir=bed2&ml=7")
            assert 'id="poured-bed2" open' in text
            assert 'id="poured-bed1" open' not in text
            for label in ("Which bottle of Bed 2", "Which tube of Bed 1", "What was poured into Bed 2"):
                assert label in text
            assert browser.posts("/poured", **(POURED | {"reservoir": "bed2"}), password=HOLDERS)[0] == 200
        assert [entry["reservoir"] for entry in at.ask("ledger")] == ["bed2"]
        assert at.bed().condition is Condition.KEEPING
