"""H42: a page that is flooded, killed or lied to."""

from __future__ import annotations

import itertools
import re
import socket
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext, suppress
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from daemon.page.acts import ACTS
from daemon.page.pages import VIEWS
from daemon.service import settings_with
from daemon.values import Condition
from tests.at_the_tank import AtTheTank, at_the_tank, one_bed
from tests.brokers import HOUSE
from tests.hazards.conftest import Figure
from tests.page.browser import GUESTS, HOLDERS, Browser, passwords, serving
from tests.scenarios.site import soon

PASSES, KILLED_AT = 24 * 60, 16 * 60  # of a minute each
CALLERS = 6
FIRST = 100  # answers before the day begins
SENT = (
    *(f"GET {path} HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n".encode() for path in VIEWS),
    b"GET /events HTTP/1.1\r\nHost: localhost\r\n\r\n",  # and gone again
    b"POST /prime HTTP/1.1\r\nHost: localhost\r\nContent-Length: 8000\r\n\r\npump=ph_down",  # never whole
    b"\x00\xff" * 4000,
    b"GET / HTTP/1.1\r\nHost: evil.example\r\n\r\n",
)


class Flooded:
    """A page as a process, and callers that do not stop."""

    def __init__(self, folder: Path) -> None:
        command = [sys.executable, "-m", "daemon.cli.main", "page", "--port", "0", "--state", str(folder)]
        self.page = subprocess.Popen(command, cwd=HOUSE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
        self.answered, self.over = 0, threading.Event()
        assert self.page.stdout is not None
        found = re.search(rb":(\d+)/", self.page.stdout.readline())
        assert found is not None
        self._port = int(found[1])
        self._callers = [threading.Thread(target=self._call, args=(n,)) for n in range(CALLERS)]
        for caller in self._callers:
            caller.start()
        soon(lambda: self.answered >= FIRST)

    def _call(self, number: int) -> None:
        for sent in itertools.cycle(SENT[number:] + SENT[:number]):
            if self.over.is_set() or self.page.poll() is not None:
                return
            with suppress(OSError), socket.create_connection(("127.0.0.1", self._port), 1.0) as caller:
                caller.settimeout(0.5)
                caller.sendall(sent)
                self.answered += bool(caller.recv(65536))

    def end(self) -> None:
        """The page killed, the callers gone."""
        self.over.set()
        self.page.kill()
        self.page.wait()
        for caller in self._callers:
            caller.join()
        assert self.page.stdout is not None
        self.page.stdout.close()


@contextmanager
def flooded(folder: Path) -> Iterator[Flooded]:
    """A page of this state folder in a flood."""
    page = Flooded(folder)
    try:
        yield page
    finally:
        page.end()


def a_day(folder: Path, *, flood: bool) -> tuple[list[tuple[float, int, bool]], int]:
    """Everything the pump lines did in a day, and how often a page answered that was killed in the afternoon."""
    folder.mkdir()
    settings = settings_with(one_bed(), site={"pass_every_s": 60.0})
    with (
        at_the_tank(folder, settings, control=True) as at,
        flooded(folder) if flood else nullcontext(None) as page,
    ):
        for number in range(PASSES):
            if page is not None and number == KILLED_AT:
                page.page.kill()
            at.loop.one_pass()
            at.clock.sleep(60.0)
        edges = [(edge.at_s - at.bench.clock.opened_s, edge.line, edge.on) for edge in at.bench.edges]
        return edges, 0 if page is None else page.answered


def test_h42_flooded_and_killed_it_touches_no_pass(tmp_path: Path, figure: Figure) -> None:
    """A day with a page that answers whoever shouts, then dies, and one without: the same edges."""
    alone, _ = a_day(tmp_path / "alone", flood=False)
    beside, answered = a_day(tmp_path / "beside", flood=True)
    assert len(alone) > 10
    assert beside == alone
    assert answered >= FIRST
    figure(
        f"{len(alone) // 2} doses in 24 h, the same beside a page that was flooded and then killed as without one"
    )


ASKED = {
    "reservoir": "bed1",
    "quantity": "ph",
    "pump": "ph_down",
    "ml": "2",
    "cup": "yes",
    "accept": "yes",
    "stop_gap": "yes",
    "measured_ph": "6.0",
    "run_s": "8",
    "runs": "0",
    "full": "yes",
    "new": "yes",
    "sure": "yes",
}


def test_h42_no_form_doses_without_the_holders_password(tmp_path: Path, figure: Figure) -> None:
    """Each form that may make it dose, by whoever lacks one thing: still paused, and no pump turns."""
    with at_the_tank(tmp_path, control=True) as at:
        at.passes(60)
        at.ask("hold", reason="the hose came off")
        before, sent, kept = len(at.runs()), 0, _kept(at)
        for path in (path for path, act in ACTS.items() if act.raises):
            sent += sum(_refused(at, path))
        at.passes(60)
        assert at.bed().condition is Condition.HELD
        assert len(at.runs()) == before
        assert _kept(at) == kept
        assert sent >= 9 * len([act for act in ACTS.values() if act.raises])
        figure(f"{sent} forms, each lacking one thing: still paused, nothing noted, 0 s of pumping")


def _kept(at: AtTheTank) -> list[list[Any]]:
    """What the ledger holds of doses, and of bottles, tubes and water."""
    with sqlite3.connect(at.service.folder / "ledger.db") as db:
        return [db.execute(f"SELECT * FROM {table}").fetchall() for table in ("entries", "refills")]


def _refused(at: AtTheTank, path: str) -> Iterator[int]:
    """One for each form that is sent to this path, all refused: before passwords are set, and after."""
    (at.service.folder / "page-password").unlink(missing_ok=True)
    with serving(at) as anyone:
        yield _sent(anyone, path, anyone.token("/settings"), HOLDERS)
    passwords(at.service.folder)
    with serving(at) as looks:
        yield _sent(looks, path, "", HOLDERS)
        looks.logs_in(GUESTS)
        yield _sent(looks, path, looks.token(), HOLDERS)
        looks.logs_in(HOLDERS)
        yield _sent(looks, path, "another", HOLDERS)
        token = looks.token()
        yield _sent(looks, path, token, HOLDERS, **{"Sec-Fetch-Site": "cross-site"})
        yield _sent(looks, path, token, HOLDERS, Host="evil.example")
        for password in ("", "a guess of mine", GUESTS):
            yield _sent(looks, path, token, password)


def _sent(looks: Browser, path: str, token: str, password: str, **headers: str) -> int:
    status, _, _ = looks.asks("POST", path, urlencode({**ASKED, "token": token, "password": password}), **headers)
    assert status in (401, 403, 429)
    return 1
