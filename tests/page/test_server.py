"""The page as a browser meets it, beside the whole program on a stepped bench."""

from __future__ import annotations

import re
import socket
from pathlib import Path
from urllib.parse import urlencode

import pytest

from daemon.page import frame, server
from daemon.page.acts import ACTS
from daemon.page.answers import Page
from daemon.page.app import LARGEST_FORM
from daemon.page.glimpse import Daemon
from daemon.page.pages import VIEWS
from daemon.page.place import Place
from daemon.page.visitor import Rank, Visitor
from daemon.values import AlarmState, Condition
from tests.at_the_tank import AtTheTank
from tests.page.browser import Browser, serving

LARGEST_VIEW = 200_000  # bytes, with all that it brings along
LOOKED_AT = (*VIEWS, "/trend?span=season")


@pytest.mark.parametrize("path", LOOKED_AT)
def test_every_view_is_there_whole_and_small(browser: Browser, path: str) -> None:
    """Under 200 kB with style and script, in one language, with one heading and a way past the links."""
    text = browser.gets(path)
    brought = sum(len(browser.gets(f"/static/{name}")) for name in ("page.css", "page.js", "drop.svg"))
    assert len(text) + brought < LARGEST_VIEW
    assert text.startswith('<!doctype html><html lang="en">')
    assert text.count("<h1>") == 1
    assert 'href="#what" class="skip"' in text
    assert "<style" not in text
    assert " style=" not in text
    assert re.findall(r"<script(?! src=\"/static/page.js\" defer></script>)", text) == []


def test_now_shows_values_bands_condition_and_what_it_waits_for(browser: Browser, tank: AtTheTank) -> None:
    """In words; what would make it dose is a command to type at the tank."""
    text = browser.gets("/")
    bed = tank.bed()
    assert bed.waiting_for in text.replace("&#x27;", "'")
    assert "inside its band" in text
    assert "above its band 5.5 to 6.5" in text
    assert "Pause dosing of Bed 1" in text
    tank.ask("hold", reason="cleaning <b>")
    tank.passes(1)
    text = browser.gets("/")
    assert "evenwater release" in text
    assert "cleaning &lt;b&gt;" in text
    assert "<b>" not in text


def test_a_hold_is_done_and_stays(browser: Browser, tank: AtTheTank) -> None:
    """From the phone to the tank."""
    status, text = browser.posts("/hold", reservoir="bed1", reason="wet hands")
    assert (status, "Done" in text) == (200, True)
    tank.passes(1)
    assert (tank.bed().condition, tank.bed().condition_reason) == (Condition.HELD, "wet hands")


def test_an_alarm_is_acknowledged_by_its_key(browser: Browser, tank: AtTheTank) -> None:
    """With what to do beside it; the cause stays."""
    tank.bench.play("unplug", probe="ph")
    tank.passes(2)
    text = browser.gets("/alarms")
    assert "Check plug, cable and bulb" in text
    status, _ = browser.posts("/acknowledge", key="bed1-ph-probe")
    assert status == 200
    tank.passes(1)
    assert tank.alarms()["bed1-ph-probe"].state is AlarmState.ACKNOWLEDGED


@pytest.mark.parametrize("path", ["/change-out", "/calibrate/pump", "/shelve", "/", "/doses", "/events"])
def test_nothing_else_can_be_done_from_here(browser: Browser, path: str) -> None:
    """There is no such address, or nothing is sent to it; token or not."""
    status, _, _ = browser.asks("POST", path, urlencode({"token": "x", "reservoir": "bed1"}))
    assert status in (404, 405)


@pytest.mark.parametrize("path", [path for path, act in ACTS.items() if act.raises])
def test_what_may_make_it_dose_is_not_offered_without_a_password(
    browser: Browser, tank: AtTheTank, path: str
) -> None:
    """Neither as a form nor to one who sends it nevertheless."""
    token = browser.token()
    tank.ask("hold", reason="cleaning")
    tank.passes(1)
    assert f'action="{path}"' not in browser.gets("/")
    for given in (token, ""):
        form = urlencode({"token": given, "reservoir": "bed1", "quantity": "ph", "password": "a password"})
        assert browser.asks("POST", path, form)[0] == 403
    tank.passes(1)
    assert tank.bed().condition is Condition.HELD


@pytest.mark.parametrize("token", ["", "wrong", "ä"])
def test_another_sites_form_does_nothing(browser: Browser, tank: AtTheTank, token: str) -> None:
    """It cannot know the token."""
    form = urlencode({"token": token, "reservoir": "bed1", "reason": "x"})
    status, _, _ = browser.asks("POST", "/hold", form)
    assert status == 403
    tank.passes(1)
    assert tank.bed().condition is Condition.KEEPING


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1.evil.example", "192.168.0.7:8460", "localhost:x", ""]
)
def test_a_name_that_is_not_ours_gets_nothing(browser: Browser, host: str) -> None:
    """A web site whose name was made to point here."""
    assert browser.asks("GET", "/", Host=host)[0] == 403
    assert browser.asks("POST", "/hold", "token=x", Host=host)[0] == 403


def test_every_answer_forbids_what_is_not_its_own(browser: Browser) -> None:
    """Also those that say no."""
    for method, path in (
        ("GET", "/"),
        ("GET", "/nothing"),
        ("POST", "/hold"),
        ("PUT", "/"),
        ("GET", "/static/x"),
    ):
        headers = browser.asks(method, path)[2]
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "frame-ancestors 'none'" in policy
        assert "unsafe" not in policy
        assert headers["cache-control"] == "no-store"


def test_a_form_that_is_too_large_is_not_read(browser: Browser) -> None:
    """Nor one that does not say how large it is."""
    assert browser.asks("POST", "/hold", "x" * (LARGEST_FORM + 1))[0] == 413
    assert browser.asks("POST", "/hold", "0\r\n\r\n", **{"Transfer-Encoding": "chunked"})[0] == 413
    assert browser.asks("POST", "/hold", None, **{"Content-Length": "many"})[0] == 400


@pytest.mark.parametrize("path", ["/nothing", "/static/../server.py", "/static/page.py"])
def test_what_is_not_there(browser: Browser, path: str) -> None:
    """No file but the page's own."""
    assert browser.asks("GET", path)[0] == 404


def test_without_the_daemon_it_says_what_to_do(tmp_path: Path) -> None:
    """Measure by hand, pull the plug, look at the service; nothing old is shown as new."""
    answer = Page(tmp_path, Daemon(tmp_path)).look("/", {}, Visitor(Rank.OPEN, "token"))
    text = answer.body.decode()
    assert answer.status == 503
    assert "measure by hand" in text
    assert "systemctl status evenwater" in text
    assert "no daemon answers" in text


def test_every_view_has_a_title_in_the_frame() -> None:
    """And leads there from every other."""
    assert [path for path in VIEWS if path not in frame.BELOW] == list(frame.VIEWS)
    assert {above for above, _ in frame.BELOW.values()} <= set(frame.VIEWS)


@pytest.mark.parametrize("sent", [b"", b"GET / HTT", b"GET / HTTP/1.1\r\nHost: loc", b"POST /hold HTTP/1.1\r\n"])
def test_a_request_that_does_not_arrive_ends(
    tank: AtTheTank, monkeypatch: pytest.MonkeyPatch, sent: bytes
) -> None:
    """A phone at the edge of the network holds no place for ever."""
    monkeypatch.setattr(server, "READ_S", 0.2)
    with serving(tank) as looks, socket.create_connection(("127.0.0.1", looks.port), timeout=10) as phone:
        phone.sendall(sent)
        assert ended(phone)


def test_a_form_that_does_not_arrive_ends(tank: AtTheTank, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its head alone is no request yet."""
    monkeypatch.setattr(server, "READ_S", 0.2)
    with serving(tank) as looks, socket.create_connection(("127.0.0.1", looks.port), timeout=10) as phone:
        phone.sendall(b"POST /hold HTTP/1.1\r\nHost: localhost\r\nContent-Length: 90\r\n\r\ntoken=")
        assert ended(phone)


def ended(phone: socket.socket) -> bool:
    """Whether the page ended the connection with nothing said."""
    try:
        return phone.recv(1000) == b""
    except ConnectionResetError:
        return True


def test_an_answer_that_is_not_taken_ends() -> None:
    """The kernel ends the connection when what was sent stays untaken."""
    with server._listening(Place(port=0)) as listener:
        left_ms = listener.getsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT)
    assert left_ms == int(server.TAKEN_S * 1000)


def test_more_connections_than_there_is_room_for_are_told(
    tank: AtTheTank, monkeypatch: pytest.MonkeyPatch
) -> None:
    """And the page goes on."""
    monkeypatch.setattr(server, "MOST_AT_ONCE", 3)
    with serving(tank) as looks:
        waiting = [socket.create_connection(("127.0.0.1", looks.port), timeout=10) for _ in range(3)]
        status, _, headers = looks.asks("GET", "/")
        assert status == 503
        assert "default-src 'none'" in headers["content-security-policy"]
        for phone in waiting:
            phone.close()
