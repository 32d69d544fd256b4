"""Who is let in where passwords are set, and what each of them may have done."""

from __future__ import annotations

import sqlite3
from urllib.parse import urlencode

import pytest

from daemon.page import attempts
from daemon.page.acts import ACTS
from daemon.page.pages import VIEWS
from daemon.page.passwords import FILE, PasswordFile
from daemon.page.place import Place
from daemon.page.visitor import Rank
from daemon.values import Condition
from tests.at_the_tank import AtTheTank
from tests.page.browser import GUESTS, HOLDERS, Browser, cheap, passwords, serving


def held(tank: AtTheTank) -> None:
    """A person has paused it."""
    tank.ask("hold", reason="cleaning")
    tank.passes(1)


def ended_by(tank: AtTheTank) -> list[str]:
    """Who ended each hold and lock, as the ledger has it."""
    with sqlite3.connect(tank.service.folder / "ledger.db") as db:
        return [who for (who,) in db.execute("SELECT ended_by FROM conditions WHERE ended_by IS NOT NULL")]


@pytest.mark.parametrize("path", [*VIEWS])
def test_a_stranger_sees_the_door(guarded: Browser, path: str) -> None:
    """From every view, which is gone on with after the login."""
    status, text, headers = guarded.asks("GET", path)
    assert (status, text) == (303, "")
    assert headers["location"] == ("/login" if path == "/" else f"/login?to={path}")
    door = guarded.gets(headers["location"])
    assert 'type="password"' in door
    assert f'name="to" value="{path}"' in door
    assert "Bed 1" not in door


@pytest.mark.parametrize("path", [*ACTS, "/logout"])
def test_a_stranger_does_nothing(guarded: Browser, tank: AtTheTank, path: str) -> None:
    """Whatever they send."""
    held(tank)
    form = urlencode({"token": "", "reservoir": "bed1", "password": HOLDERS, "reason": "x", "key": "x"})
    assert guarded.asks("POST", path, form)[0] == 401
    tank.passes(1)
    assert tank.bed().condition is Condition.HELD


def test_a_stranger_hears_nothing(guarded: Browser) -> None:
    """Of what is told to those who watch."""
    assert guarded.asks("GET", "/events")[0] == 401


def test_the_holder_comes_in_and_goes(guarded: Browser) -> None:
    """With a cookie that no script and no other site sees; logged out, it is worth nothing."""
    status, _, headers = guarded.logs_in(HOLDERS)
    assert (status, headers["location"]) == (303, "/")
    kept = headers["set-cookie"].lower()
    assert {"httponly", "samesite=strict", "path=/"} <= {part.strip() for part in kept.split(";")}
    assert "Bed 1" in guarded.gets("/")
    cookie = guarded.cookie
    assert guarded.posts("/logout")[0] == 303
    guarded.cookie = cookie
    assert guarded.asks("GET", "/")[0] == 303


def test_by_tls_the_cookie_is_bound_to_it_and_to_this_host(tank: AtTheTank) -> None:
    """By the prefix that a browser lets nobody else set, behind a proxy too."""
    passwords(tank.service.folder)
    with serving(tank, Place(port=0, behind_proxy=True)) as looks:
        kept = looks.logs_in(HOLDERS)[2]["set-cookie"]
    assert kept.startswith("__Host-evenwater=")
    assert "secure" in {part.strip().lower() for part in kept.split(";")}


@pytest.mark.parametrize("to", ["https://evil.example/", "//evil.example", "/nothing", "/hold"])
def test_after_the_login_it_goes_on_here(guarded: Browser, to: str) -> None:
    """Nobody's link leads from our door to somewhere else."""
    form = urlencode({"password": HOLDERS, "to": to})
    assert guarded.asks("POST", "/login", form)[2]["location"] == "/"


@pytest.mark.parametrize("password", ["", "wrong", HOLDERS + " ", HOLDERS.upper(), "é" * 200])
def test_a_wrong_password_opens_nothing(guarded: Browser, password: str) -> None:
    """And sets no cookie."""
    status, text, headers = guarded.logs_in(password)
    assert (status, "set-cookie" in headers) == (403, False)
    assert "That is not the password." in text


def test_a_guest_looks_and_is_offered_no_form(guarded: Browser, tank: AtTheTank) -> None:
    """But the way out."""
    tank.bench.play("unplug", probe="ph")
    held(tank)
    guarded.logs_in(GUESTS)
    for path in VIEWS:
        text = guarded.gets(path)
        assert text.count('method="post"') == text.count('action="/logout"') == 1, path


@pytest.mark.parametrize("path", [*ACTS])
def test_a_guest_cannot_post(guarded: Browser, tank: AtTheTank, path: str) -> None:
    """Even with the token of the way out and the holder's own password."""
    held(tank)
    guarded.logs_in(GUESTS)
    fields = {"reservoir": "bed1", "password": HOLDERS, "reason": "x", "key": "x"}
    form = urlencode({"token": guarded.token(), **fields})
    assert guarded.asks("POST", path, form)[0] == 403
    tank.passes(1)
    assert tank.bed().condition is Condition.HELD


def test_a_release_asks_for_the_password_and_is_written_down(guarded: Browser, tank: AtTheTank) -> None:
    """With who asked; from the page to the ledger."""
    held(tank)
    guarded.logs_in(HOLDERS)
    assert "Let Bed 1 dose again" in guarded.gets("/")
    status, text = guarded.posts("/release", reservoir="bed1", password=HOLDERS)
    assert (status, "Bed 1 is" in text) == (200, True)
    tank.passes(1)
    assert tank.bed().condition is Condition.KEEPING
    assert ended_by(tank)[-1:] == ["local, page, password holder, from 127.0.0.1"]


def test_a_lock_is_cleared_with_the_password(guarded: Browser, tank: AtTheTank) -> None:
    """As at the tank, and by the same rules."""
    tank.loop.ledger.lock("bed1", "for a try", "evenwater", tank.loop.stamp())
    tank.passes(1)
    assert tank.bed().condition is Condition.LOCKED
    guarded.logs_in(HOLDERS)
    assert "Clear the lock of Bed 1" in guarded.gets("/")
    assert guarded.posts("/clear", reservoir="bed1", password=HOLDERS, measured_ph="six")[0] == 400
    assert guarded.posts("/clear", reservoir="bed1", password=HOLDERS, measured_ph="nan")[0] == 400
    tank.passes(1)
    assert tank.bed().condition is Condition.LOCKED
    status, text = guarded.posts("/clear", reservoir="bed1", password=HOLDERS, measured_ph="6,1")
    assert (status, "lock cleared" in text) == (200, True)
    assert ended_by(tank)[-1].startswith("local, page, password holder, from 127.0.0.1: measured pH 6.10")


PRIME = {"reservoir": "bed1", "pump": "ph_down", "password": HOLDERS}


def test_a_tube_is_filled_by_the_password_and_who_asked_is_written_down(
    guarded: Browser, tank: AtTheTank
) -> None:
    """As `evenwater prime` does it: the pump turns once, and what ran counts as dosed."""
    held(tank)
    tank.passes(60)
    guarded.logs_in(HOLDERS)
    assert "Run the pump now" in guarded.gets("/doses")
    before = len(tank.runs())
    for password in ("", "wrong", GUESTS):
        assert guarded.posts("/prime", **(PRIME | {"password": password}), ml="2", cup="yes")[0] == 403
    assert len(tank.runs()) == before
    status, text = guarded.posts("/prime", **PRIME, ml="2,0", cup="yes")
    assert (status, "2.0 mL. It counts as dosed" in text, len(tank.runs()) - before) == (200, True, 1)
    (entry,) = tank.ask("ledger", last=1)
    assert (entry["reason"], entry["ml"], entry["outcome"]) == ("prime", 2.0, "done")
    assert entry["note"] == "local, page, password holder, from 127.0.0.1"
    assert " (local, page, password holder, from 127.0.0.1)</li>" in guarded.gets("/doses")


@pytest.mark.parametrize(
    ("asked", "status", "told"),
    [
        ({"ml": "2"}, 400, "in an empty cup: nothing ran"),
        ({"ml": "2", "cup": "no"}, 400, "in an empty cup: nothing ran"),
        ({"ml": "", "cup": "yes"}, 400, "How many mL"),
        ({"ml": "nan", "cup": "yes"}, 400, "is no number"),
        ({"ml": "two", "cup": "yes"}, 400, "is no number"),
        ({"ml": "0", "cup": "yes"}, 409, "0 mL pH down to fill its tube: must be above 0 mL"),
        ({"ml": "-1", "cup": "yes"}, 409, "-1 mL pH down to fill its tube: must be above 0 mL"),
        ({"ml": "500", "cup": "yes"}, 409, "500 mL pH down would run longer than 20 s: ask for at most"),
        ({"ml": "2", "cup": "yes", "pump": "stock_a"}, 409, "Bed 1 has no stock A pump"),
    ],
)
def test_a_tube_is_filled_over_a_cup_and_within_bounds(
    guarded: Browser, tank: AtTheTank, asked: dict[str, str], status: int, told: str
) -> None:
    """What is wrong is told, and no pump turns."""
    held(tank)
    guarded.logs_in(HOLDERS)
    assert '<option value="" id="prime-pump-bed1-0" selected>which one …' in guarded.gets("/doses")
    before = len(tank.runs())
    answer, text = guarded.posts("/prime", **(PRIME | asked))
    assert (answer, told in text, len(tank.runs()) - before) == (status, True, 0), text


def test_a_tube_is_filled_under_the_caps_alone(guarded: Browser, tank: AtTheTank) -> None:
    """Not while it corrects by itself, and not again before the last has mixed: as at the tank."""
    guarded.logs_in(HOLDERS)
    text = guarded.gets("/doses")
    assert ("pause it first" in text, "/prime" in text) == (True, False)
    before = len(tank.runs())
    status, text = guarded.posts("/prime", **PRIME, ml="2", cup="yes")
    assert (status, "pause it first" in text) == (409, True)
    held(tank)
    tank.passes(60)
    assert guarded.posts("/prime", **PRIME, ml="2", cup="yes")[0] == 200
    status, text = guarded.posts("/prime", **PRIME, ml="2", cup="yes")
    assert (status, "no pH down" in text) == (409, True)
    assert len(tank.runs()) - before == 1


def test_a_locked_reservoirs_tube_is_not_filled(guarded: Browser, tank: AtTheTank) -> None:
    """First what locked it."""
    tank.loop.ledger.lock("bed1", "for a try", "evenwater", tank.loop.stamp())
    tank.passes(1)
    guarded.logs_in(HOLDERS)
    assert "see to that first" in guarded.gets("/doses")
    before = len(tank.runs())
    assert guarded.posts("/prime", **PRIME, ml="2", cup="yes")[0] == 409
    assert len(tank.runs()) == before


def test_without_a_password_a_tube_is_filled_at_the_tank(browser: Browser, tank: AtTheTank) -> None:
    """By the command that is shown, and by no form."""
    held(tank)
    text = browser.gets("/doses")
    assert ("evenwater prime bed1 ph_down" in text, 'action="/prime"' in text) == (True, False)


def test_what_may_make_it_dose_is_this() -> None:
    """A new form says whether it may; one of these that no longer does is a hole."""
    raises = {path for path, act in ACTS.items() if act.raises}
    told = {"/bottle", "/tube", "/poured", "/change-out/done", "/measure/run", "/measure/keep"}
    assert raises == {"/release", "/clear", "/prime", *told, "/calibrate/keep", "/calibrate/back"}


@pytest.mark.parametrize("password", ["", "wrong", GUESTS])
@pytest.mark.parametrize("path", [path for path, act in ACTS.items() if act.raises])
def test_what_may_make_it_dose_is_refused_without_the_holders_password(
    guarded: Browser, tank: AtTheTank, path: str, password: str
) -> None:
    """A phone left lying about is not enough, nor is the guest's."""
    held(tank)
    guarded.logs_in(HOLDERS)
    status, text = guarded.posts(path, reservoir="bed1", password=password)
    assert (status, "Nothing was done" in text) == (403, True)
    tank.passes(1)
    assert tank.bed().condition is Condition.HELD


def test_another_logins_form_does_nothing(guarded: Browser, tank: AtTheTank) -> None:
    """Each session has a token of its own."""
    guarded.logs_in(HOLDERS)
    old, before = guarded.token(), guarded.cookie
    guarded.logs_in(HOLDERS)
    form = urlencode({"token": old, "reservoir": "bed1", "reason": "x"})
    assert guarded.asks("POST", "/hold", form)[0] == 403
    guarded.cookie = before
    assert guarded.asks("GET", "/")[0] == 303  # the login in its place has ended it
    tank.passes(1)
    assert tank.bed().condition is Condition.KEEPING


def test_a_form_of_another_site_is_refused_where_the_browser_says_so(browser: Browser, tank: AtTheTank) -> None:
    """Even if it knew the token."""
    form = urlencode({"token": browser.token(), "reservoir": "bed1", "reason": "x"})
    assert browser.asks("POST", "/hold", form, **{"Sec-Fetch-Site": "cross-site"})[0] == 403
    tank.passes(1)
    assert tank.bed().condition is Condition.KEEPING


def test_too_many_wrong_ones_have_to_wait(guarded: Browser, monkeypatch: pytest.MonkeyPatch) -> None:
    """For as long as is told; the right one too, so that guessing goes no faster."""
    monkeypatch.setattr(attempts, "FREE", 2)
    assert [guarded.logs_in("wrong")[0] for _ in range(2)] == [403, 429]
    status, text, headers = guarded.logs_in(HOLDERS)
    assert (status, "set-cookie" in headers) == (429, False)
    assert f"try again in {headers['retry-after']} s" in text


def test_guessing_in_a_form_counts_as_guessing_at_the_door(
    guarded: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One count for both."""
    guarded.logs_in(HOLDERS)
    monkeypatch.setattr(attempts, "FREE", 2)
    assert guarded.posts("/release", reservoir="bed1", password="wrong")[0] == 403
    assert guarded.posts("/release", reservoir="bed1", password="wrong")[0] == 429
    assert guarded.logs_in(HOLDERS)[0] == 429


def test_behind_a_proxy_each_address_is_its_own(tank: AtTheTank, monkeypatch: pytest.MonkeyPatch) -> None:
    """By what the proxy put last; what a browser wrote before it is not believed."""
    monkeypatch.setattr(attempts, "FREE", 1)
    passwords(tank.service.folder)
    with serving(tank, Place(port=0, behind_proxy=True)) as looks:

        def tries(forwarded: str, password: str) -> int:
            form = urlencode({"password": password})
            return looks.asks("POST", "/login", form, **{"X-Forwarded-For": forwarded})[0]

        assert tries("192.0.2.4", "wrong") == 429
        assert tries("192.0.2.99, 192.0.2.4", HOLDERS) == 429
        assert tries("192.0.2.4, 192.0.2.5", HOLDERS) == 303


def test_without_a_proxy_nobody_says_where_they_come_from(guarded: Browser, tank: AtTheTank) -> None:
    """The header is anybody's word."""
    held(tank)
    guarded.logs_in(HOLDERS)
    form = urlencode({"token": guarded.token(), "reservoir": "bed1", "password": HOLDERS})
    guarded.asks("POST", "/release", form, **{"X-Forwarded-For": "192.0.2.9"})
    assert ended_by(tank)[-1:] == ["local, page, password holder, from 127.0.0.1"]


def test_a_new_password_logs_everybody_out(guarded: Browser, tank: AtTheTank) -> None:
    """At the next look; the old one opens nothing any more."""
    guarded.logs_in(HOLDERS)
    PasswordFile(tank.service.folder / FILE).set(Rank.HOLDER, cheap("another password"))
    assert guarded.asks("GET", "/")[0] == 303
    assert guarded.logs_in(HOLDERS)[0] == 403
    assert guarded.logs_in("another password")[0] == 303


def test_a_password_set_while_it_runs_counts_at_once(browser: Browser, tank: AtTheTank) -> None:
    """And stays: a file that is lost opens nothing."""
    assert "Bed 1" in browser.gets("/")
    kept = passwords(tank.service.folder)
    assert browser.asks("GET", "/")[0] == 303
    kept.path.unlink()
    assert browser.asks("GET", "/")[0] == 303


def test_a_spoiled_file_of_passwords_opens_nothing(guarded: Browser, tank: AtTheTank) -> None:
    """It says what to do at the tank."""
    (tank.service.folder / FILE).write_text("{}x")
    status, text, _ = guarded.asks("GET", "/")
    assert (status, "evenwater page --set-password" in text, "Bed 1" in text) == (503, True, False)


def test_names_it_was_told_are_let_in(tank: AtTheTank) -> None:
    """And no other."""
    with serving(tank, Place(port=0, names=frozenset({"box.lan"}))) as looks:
        assert looks.asks("GET", "/", Host="BOX.lan:443")[0] == 200
        assert looks.asks("GET", "/", Host="box.lan.evil.example")[0] == 403
