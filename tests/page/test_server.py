"""The page as a browser meets it, beside the whole program on a stepped bench."""

from __future__ import annotations

import http.client
import itertools
import re
import threading
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlencode

import pytest

from daemon.page.glimpse import Daemon
from daemon.page.server import LARGEST_FORM, AddressError, Page, PageServer, is_our_name, loopback
from daemon.values import AlarmState, Condition
from tests.at_the_tank import TO_A_DOSE, AtTheTank, at_the_tank

LARGEST_VIEW = 200_000  # bytes, with all that it brings along
Got = tuple[int, str, dict[str, str]]
"""Status, text and headers of an answer."""
VIEWS = ("/", "/trend", "/trend?span=season", "/doses", "/alarms")


@pytest.fixture
def tank(tmp_path: Path) -> Iterator[AtTheTank]:
    """The school garden after its first dose, with its control socket."""
    with at_the_tank(tmp_path, control=True) as at:
        at.passes(TO_A_DOSE)
        yield at


class Browser:
    """One that speaks to the page, while the daemon goes on answering."""

    def __init__(self, server: PageServer, at: AtTheTank) -> None:
        self._server, self._at = server, at

    def asks(
        self, method: str, path: str, body: str | None = None, **headers: str
    ) -> tuple[int, str, dict[str, str]]:
        """Status, text and headers of the answer."""
        got: list[tuple[int, str, dict[str, str]]] = []

        def ask() -> None:
            connection = http.client.HTTPConnection("127.0.0.1", self._server.server_address[1], timeout=20)
            connection.request(method, path, body, {"Host": "localhost", **headers})
            answer = connection.getresponse()
            got.append((answer.status, answer.read().decode(), dict(answer.getheaders())))
            connection.close()

        thread = threading.Thread(target=ask)
        thread.start()
        while thread.is_alive():
            self._at.loop.answer_requests()
            thread.join(0.01)
        return got[0]

    def gets(self, path: str, **headers: str) -> str:
        """A view that is there."""
        status, text, _ = self.asks("GET", path, **headers)
        assert status == 200, text
        return text

    def posts(self, path: str, **fields: str) -> tuple[int, str]:
        """A form, with the token that the page's own forms carry."""
        token = re.search(r'name="token" value="([^"]+)"', self.gets("/" if path == "/hold" else "/alarms"))
        assert token is not None
        status, text, _ = self.asks("POST", path, urlencode({"token": token[1], **fields}))
        return status, text


@pytest.fixture
def browser(tank: AtTheTank) -> Iterator[Browser]:
    """The page of that garden, and who looks at it."""
    folder = tank.service.folder
    moments = itertools.count(0.0, 10.0)

    def later() -> float:
        return next(moments)  # so that no look is served by the one before

    with PageServer("127.0.0.1", 0, Page(folder, Daemon(folder, now_s=later))) as server:
        thread = threading.Thread(target=server.serve_forever, daemon=True)
        thread.start()
        yield Browser(server, tank)
        server.shutdown()
        thread.join()


@pytest.mark.parametrize("path", VIEWS)
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


@pytest.mark.parametrize("path", ["/release", "/clear", "/prime", "/calibrate", "/", "/doses"])
def test_nothing_else_can_be_done_from_here(browser: Browser, path: str) -> None:
    """There is no such address, token or not."""
    status, _, _ = browser.asks("POST", path, urlencode({"token": "x", "reservoir": "bed1"}))
    assert status == 404


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


@pytest.mark.parametrize("host", ["localhost", "LOCALHOST:8460", "127.0.0.1:1", "[::1]:8460"])
def test_our_own_names_are_let_in(host: str) -> None:
    """With any port: a reverse proxy or a tunnel has another."""
    assert is_our_name(host)


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
        policy = headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy
        assert "frame-ancestors 'none'" in policy
        assert "unsafe" not in policy
        assert headers["Cache-Control"] == "no-store"


def test_a_form_that_is_too_large_is_not_read(browser: Browser) -> None:
    """Nor one that does not say how large it is."""
    assert browser.asks("POST", "/hold", "x" * (LARGEST_FORM + 1))[0] == 413
    assert browser.asks("POST", "/hold", None, **{"Content-Length": "many"})[0] == 413


@pytest.mark.parametrize("path", ["/nothing", "/static/../server.py", "/static/page.py"])
def test_what_is_not_there(browser: Browser, path: str) -> None:
    """No file but the page's own."""
    assert browser.asks("GET", path)[0] == 404


def test_without_the_daemon_it_says_what_to_do(tmp_path: Path) -> None:
    """Measure by hand, pull the plug, look at the service; nothing old is shown as new."""
    answer = Page(tmp_path, Daemon(tmp_path)).get("/")
    text = answer.body.decode()
    assert answer.status == 503
    assert "measure by hand" in text
    assert "systemctl status evenwater" in text
    assert "no daemon answers" in text


@pytest.mark.parametrize("address", ["0.0.0.0", "::", "192.168.0.7", "localhost", "", "127.0.0.1.example"])
def test_it_listens_on_this_machine_only(address: str) -> None:
    """It asks for no password; how to look from elsewhere is said."""
    with pytest.raises(AddressError, match="ssh -L"):
        loopback(address)


@pytest.mark.parametrize("address", ["127.0.0.1", "127.0.0.5", "::1"])
def test_loopback_is_fine(address: str) -> None:
    """Any of it."""
    assert loopback(address) == address
