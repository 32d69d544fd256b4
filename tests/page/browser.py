"""A browser that meets the page, beside the whole program on a stepped bench; no real one."""

from __future__ import annotations

import http.client
import itertools
import re
import secrets
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import TypeVar
from urllib.parse import urlencode

from daemon.page.answers import Page
from daemon.page.glimpse import Daemon
from daemon.page.passwords import FILE, SALT_BYTES, Key, N, PasswordFile, R, made
from daemon.page.place import Place
from daemon.page.server import PageServer
from daemon.page.visitor import Rank
from tests.at_the_tank import AtTheTank

HOLDERS, GUESTS = "wet hands, dry phone", "only the kitchen tablet"
WHO = "local, page, password holder, from 127.0.0.1"
"""Who did what the holder did by this browser, as it is written down."""
T = TypeVar("T")
Got = tuple[int, str, Mapping[str, str]]
"""Status, text and headers of an answer."""


class Browser:
    """One that speaks to the page, while the daemon goes on answering. It keeps its cookie."""

    def __init__(self, port: int, at: AtTheTank) -> None:
        self.port, self._at, self.cookie = port, at, ""

    def asks(self, method: str, path: str, body: str | None = None, **headers: str) -> Got:
        """One request and its answer."""
        return self.meanwhile(lambda: self._ask(method, path, body, headers))

    def meanwhile(self, act: Callable[[], T]) -> T:
        """What comes of it while the daemon answers."""
        return self._at.while_answering(act)

    def _ask(self, method: str, path: str, body: str | None, headers: Mapping[str, str]) -> Got:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=20)
        cookie = {"Cookie": self.cookie} if self.cookie else {}
        connection.request(method, path, body, {"Host": "localhost", **cookie, **headers})
        answer = connection.getresponse()
        text, told = answer.read().decode(), dict(answer.getheaders())
        connection.close()
        if "set-cookie" in told:
            self.cookie = told["set-cookie"].partition(";")[0]
        return answer.status, text, told

    def gets(self, path: str, **headers: str) -> str:
        """A view that is there."""
        status, text, _ = self.asks("GET", path, **headers)
        assert status == 200, text
        return text

    def token(self, path: str = "/") -> str:
        """What the forms of this view carry."""
        found = re.search(r'name="token" value="([^"]+)"', self.gets(path))
        assert found is not None
        return found[1]

    def posts(self, path: str, **fields: str) -> tuple[int, str]:
        """A form, with the token that the page's own forms carry."""
        token = self.token("/alarms" if path == "/acknowledge" else "/")
        status, text, _ = self.asks("POST", path, urlencode({"token": token, **fields}))
        return status, text

    def logs_in(self, password: str) -> Got:
        """What the door says."""
        return self.asks("POST", "/login", urlencode({"password": password}))


@cache
def cheap(password: str) -> Key:
    """What is kept of it, made once over where the real one is made five times."""
    salt = secrets.token_bytes(SALT_BYTES)
    return Key(salt.hex(), made(password, salt, N, R, 1).hex(), N, R, 1)


def passwords(folder: Path, *, guest: bool = True) -> PasswordFile:
    """Those of a holder and of a guest, set in this state folder."""
    kept = PasswordFile(folder / FILE)
    kept.set(Rank.HOLDER, cheap(HOLDERS))
    if guest:
        kept.set(Rank.GUEST, cheap(GUESTS))
    return kept


@contextmanager
def serving(at: AtTheTank, place: Place | None = None) -> Iterator[Browser]:
    """The page of this program's state folder, and who looks at it."""
    folder = at.service.folder
    moments = itertools.count(0.0, 10.0)

    def later() -> float:
        return next(moments)  # so that no look is served by the one before

    page = Page(folder, Daemon(folder, now_s=later))
    with PageServer(place or Place(port=0), page, PasswordFile(folder / FILE)) as server:
        thread = threading.Thread(target=server.serve_forever, daemon=True)
        thread.start()
        yield Browser(server.port, at)
        server.shutdown()
        thread.join()
