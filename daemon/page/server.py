"""The page's HTTP: which path gives what, and what is not let in. Loopback only.

Whoever may open the page may look, pause dosing and acknowledge, nothing that could make a pump run. Against a
web site open in the same browser: a POST carries a token that only this page's own forms show, the Host header
must name this machine (a name that somebody else's server resolves to 127.0.0.1 does not), and the
Content-Security-Policy lets nothing of anybody else's in, nor a frame around it.
"""

from __future__ import annotations

import ipaddress
import re
import secrets
import socket
import sys
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from importlib.resources import files
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

from daemon.link.client import CallRefused, ClientError
from daemon.page import views
from daemon.page.chart import Line
from daemon.page.frame import document
from daemon.page.glimpse import Daemon, Glimpse
from daemon.page.markup import Markup, element
from daemon.store.minutes import MINUTE_S
from daemon.store.trend import HistoryError, Trends, opened
from daemon.values import Quantity, State

PORT = 8460
OUR_NAMES = frozenset({"localhost", "127.0.0.1", "[::1]"})
LARGEST_FORM = 4096  # bytes
READ_S = 10.0  # for a request to arrive, and for each part of an answer to be taken
MOST_AT_ONCE = 64  # connections; more are closed at once
DOSES_SHOWN = 50
POINTS, ROWS = 320, 8  # of a line, and of its table
MOST_LOOKED_BACK = 1000  # lines of the ledger, for marks in the trend
RECENT = timedelta(days=7)  # alarms that began and ended since are listed

HEADERS: Mapping[str, str] = {
    "Content-Security-Policy": "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}
STATIC: Mapping[str, str] = {
    "page.css": "text/css; charset=utf-8",
    "page.js": "text/javascript; charset=utf-8",
    "drop.svg": "image/svg+xml",
}
HTML = "text/html; charset=utf-8"


class AddressError(ValueError):
    """The page will not listen there. The message says why and what to do instead."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What goes back for one request."""

    status: HTTPStatus
    body: bytes
    kind: str = HTML


def loopback(address: str) -> str:
    """The address, if only this machine can reach it. Raises AddressError."""
    try:
        is_ours = ipaddress.ip_address(address).is_loopback
    except ValueError:
        is_ours = False
    if not is_ours:
        raise AddressError(
            f"--address {address}: must be a loopback address, 127.0.0.1 or ::1, because the page asks for no "
            "password. To look from elsewhere: ssh -L "
            f"{PORT}:127.0.0.1:{PORT} the-box, or a reverse proxy on this box that asks for a password, speaks "
            f"TLS and passes on `Host: localhost`"
        )
    return address


def is_our_name(host: str) -> bool:
    """Whether a Host header names this machine, with any port."""
    return re.sub(r":[0-9]{1,5}\Z", "", host).lower() in OUR_NAMES


class Page:
    """Answers requests, from what the daemon and the history say. Knows nothing of sockets."""

    def __init__(self, folder: Path, daemon: Daemon) -> None:
        self._folder, self._daemon = folder, daemon
        self._token = secrets.token_urlsafe(32)
        self._views: Mapping[str, Callable[[Glimpse, Mapping[str, str]], Markup]] = {
            "/": lambda glimpse, _: views.now(glimpse.state, self._token),
            "/trend": lambda glimpse, asked: self._trend(glimpse.state, asked),
            "/doses": lambda glimpse, _: views.doses(glimpse.state, self._daemon.doses(DOSES_SHOWN)),
            "/alarms": lambda glimpse, _: self._alarms(glimpse.state),
        }
        self._acts: Mapping[str, tuple[str, Callable[[Mapping[str, str]], str]]] = {
            "/hold": ("/", lambda form: self._daemon.hold(form["reservoir"], form["reason"])),
            "/acknowledge": ("/alarms", lambda form: self._daemon.acknowledge(form["key"])),
        }

    def get(self, target: str) -> Answer:
        """A view, or a file of the page's own."""
        asked = urlsplit(target)
        if asked.path.startswith("/static/"):
            return _static(asked.path.removeprefix("/static/"))
        view = self._views.get(asked.path)
        if view is None:
            return _plain(HTTPStatus.NOT_FOUND, "There is no such view.", asked.path)
        glimpse = None
        try:
            glimpse = self._daemon.glimpse()
            content = view(glimpse, _fields(asked.query))
        except ClientError as trouble:
            return Answer(HTTPStatus.SERVICE_UNAVAILABLE, document(asked.path, glimpse, trouble=str(trouble)))
        return Answer(HTTPStatus.OK, document(asked.path, glimpse, content))

    def post(self, target: str, form: bytes) -> Answer:
        """Pause, or acknowledge: nothing else is done from here."""
        path = urlsplit(target).path
        if path not in self._acts:
            return _plain(HTTPStatus.NOT_FOUND, "Nothing of that kind is done from here.", path)
        back, act = self._acts[path]
        fields = _fields(form.decode("utf-8", errors="replace"))
        if not secrets.compare_digest(fields.get("token", "").encode(), self._token.encode()):
            return _outcome(
                HTTPStatus.FORBIDDEN, "The form is of before this page was restarted. Load it again.", back
            )
        try:
            said = act(fields)
        except KeyError as missing:
            return _outcome(HTTPStatus.BAD_REQUEST, f"The form has no field {missing}.", back)
        except CallRefused as refused:
            return _outcome(HTTPStatus.CONFLICT, str(refused), back)
        except ClientError as trouble:
            text = f"{trouble}. Whether it was done is not known: look again, or do it at the tank."
            return _outcome(HTTPStatus.SERVICE_UNAVAILABLE, text, back)
        return _outcome(HTTPStatus.OK, said, back)

    def _alarms(self, state: State) -> Markup:
        try:
            with opened(self._folder) as trends:
                events = trends.events(state.utc - RECENT, state.utc + timedelta(seconds=1))
        except HistoryError:
            events = ()
        return views.alarms(state, [event for event in events if event.key], self._token)

    def _trend(self, state: State, asked: Mapping[str, str]) -> Markup:
        titles = {name: of.title for name, of in state.reservoirs.items()}
        chosen = asked["of"] if asked.get("of") in titles else next(iter(titles), "")
        span = asked["span"] if asked.get("span") in views.SPANS else "day"
        try:
            with opened(self._folder) as trends:
                stretches = self._stretches(trends, state, chosen, views.SPANS[span])
        except HistoryError as trouble:
            return element("p", f"{trouble}.")
        return views.trend(titles, chosen, span, stretches)

    def _stretches(self, trends: Trends, state: State, chosen: str, days: int) -> list[views.Stretch]:
        begin, end = state.utc - timedelta(days=days), state.utc
        alarms = [
            event.at
            for event in trends.events(begin, end)
            if event.what == "raised" and event.reservoir == chosen
        ]
        doses = [
            dose.utc
            for dose in self._daemon.doses(MOST_LOOKED_BACK)
            if dose.reservoir == chosen and begin <= dose.utc <= end
        ]
        made = []
        for reservoir, name in trends.series():
            if reservoir == chosen and name in set(Quantity):
                quantity = Quantity(name)
                line = Line(
                    quantity,
                    trends.buckets((reservoir, name), begin, end, POINTS),
                    begin,
                    end,
                    max(timedelta(seconds=MINUTE_S), (end - begin) / POINTS),
                    state.reservoirs[chosen].bands.get(quantity),
                    doses,
                    alarms,
                )
                made.append(views.Stretch(line, trends.buckets((reservoir, name), begin, end, ROWS)))
        return made


def _fields(text: str) -> dict[str, str]:
    """A form or a query: the last of each name."""
    try:
        return {key: values[-1] for key, values in parse_qs(text, max_num_fields=16).items()}
    except ValueError:
        return {}


def _static(name: str) -> Answer:
    if name not in STATIC:
        return _plain(HTTPStatus.NOT_FOUND, "There is no such file.", name)
    return Answer(HTTPStatus.OK, (files("daemon.page") / "static" / name).read_bytes(), STATIC[name])


def _plain(status: HTTPStatus, text: str, path: str) -> Answer:
    return Answer(status, document(path, None, views.answered(text, "/", done=False)))


def _outcome(status: HTTPStatus, text: str, back: str) -> Answer:
    done = status is HTTPStatus.OK
    return Answer(status, document("", None, views.answered(text, back, done=done)))


class PageServer(ThreadingHTTPServer):
    """Listens on a loopback address until closed. Raises AddressError, or OSError where it cannot listen."""

    daemon_threads = True
    block_on_close = False

    def __init__(self, address: str, port: int, page: Page) -> None:
        self.page = page
        self.address_family = socket.AF_INET6 if ":" in loopback(address) else socket.AF_INET
        self._places = threading.BoundedSemaphore(MOST_AT_ONCE)
        super().__init__((address, port), _Handler)

    @property
    def url(self) -> str:
        """Where to point a browser."""
        host, port = self.server_address[:2]
        return (
            f"http://[{host!s}]:{port}/" if self.address_family is socket.AF_INET6 else f"http://{host!s}:{port}/"
        )

    def process_request(self, request: Any, client_address: Any) -> None:
        """In a thread of its own, if there is room."""
        if not self._places.acquire(blocking=False):
            self.shutdown_request(request)
            return
        super().process_request(request, client_address)

    def process_request_thread(self, request: Any, client_address: Any) -> None:
        """One connection, from beginning to end."""
        try:
            super().process_request_thread(request, client_address)
        finally:
            self._places.release()

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A phone that went away is nothing to tell of; anything else goes to the log."""
        if not isinstance(sys.exc_info()[1], OSError):
            super().handle_error(request, client_address)


class _Handler(BaseHTTPRequestHandler):
    """Reads a request, lets it in or not, and writes the answer."""

    timeout = READ_S
    server_version, sys_version = "evenwater", ""
    server: PageServer

    def do_GET(self) -> None:
        if self._is_let_in():
            self._send(self.server.page.get(self.path))

    do_HEAD = do_GET  # noqa: N815

    def do_POST(self) -> None:
        if not self._is_let_in():
            return
        length = self.headers.get("Content-Length", "")
        if not (length.isascii() and length.isdigit() and int(length) <= LARGEST_FORM):
            text = f"A form may have {LARGEST_FORM} bytes, and must say how many it has."
            self._send(_plain(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, text, ""))
            return
        self._send(self.server.page.post(self.path, self.rfile.read(int(length))))

    def _is_let_in(self) -> bool:
        hosts: Sequence[str] = self.headers.get_all("Host") or ()
        if len(hosts) == 1 and is_our_name(hosts[0]):
            return True
        ours = "This page answers to localhost, 127.0.0.1 and [::1] only."
        text = f"{ours} A reverse proxy has to pass on `Host: localhost`."
        self._send(_plain(HTTPStatus.FORBIDDEN, text, ""))
        return False

    def _send(self, answer: Answer) -> None:
        self.send_response(answer.status)
        self.send_header("Content-Type", answer.kind)
        self.send_header("Content-Length", str(len(answer.body)))
        self.end_headers()
        if self.command != "HEAD":
            self.wfile.write(answer.body)

    def end_headers(self) -> None:
        """Those that every answer has, the library's own errors too."""
        for name, value in HEADERS.items():
            self.send_header(name, value)
        super().end_headers()

    def log_message(self, *_: Any) -> None:
        """Each look of each phone is nothing to keep."""
