"""The page on a socket: how long a browser may take, how many there may be, and TLS."""

from __future__ import annotations

import asyncio
import socket
import ssl
from collections.abc import Mapping

import h11
import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

from daemon.page.answers import Page
from daemon.page.app import App
from daemon.page.door import Door
from daemon.page.glimpse import box_s
from daemon.page.passwords import PasswordFile
from daemon.page.place import Place

READ_S = 10.0  # for a request to arrive whole
TAKEN_S = 20.0  # for each part of an answer to be taken
KEPT_S = 5  # a connection without a request
MOST_AT_ONCE = 192  # connections: each phone that watches has one for that, and one or more for what it fetches
WAITING = 128  # connections that nobody has looked at yet

HEADERS: Mapping[str, str] = {
    "Content-Security-Policy": "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}


class TlsError(OSError):
    """The certificate or its key cannot be used. The message says which and why."""


class PageServer:
    """Listens from the start; serves until `shutdown`. Raises OSError where it cannot listen, TlsError."""

    def __init__(self, place: Place, page: Page, passwords: PasswordFile) -> None:
        self._place = place
        self._server = _Server(App(page, Door(passwords, box_s), place), place)
        self._socket = _listening(place)

    @property
    def url(self) -> str:
        """Where to point a browser on this box."""
        host, port = self._socket.getsockname()[:2]
        scheme = "http" if self._place.certificate is None else "https"
        return f"{scheme}://[{host}]:{port}/" if ":" in host else f"{scheme}://{host}:{port}/"

    @property
    def port(self) -> int:
        """The port it listens on."""
        return int(self._socket.getsockname()[1])

    def serve_forever(self) -> None:
        """Until `shutdown`, or in the main thread until Ctrl-C or SIGTERM."""
        self._server.run(sockets=[self._socket])

    def shutdown(self) -> None:
        """End it, from any thread."""
        self._server.should_exit = True

    def __enter__(self) -> PageServer:
        return self

    def __exit__(self, *_: object) -> None:
        self._socket.close()


class _Server(uvicorn.Server):
    """Ends without waiting for those who watch, who would stay."""

    def __init__(self, app: App, place: Place) -> None:
        super().__init__(_config(app, place))
        self._app = app

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """What is asked already is answered; streams end."""
        self._app.end()
        await super().shutdown(sockets)


def _config(app: App, place: Place) -> uvicorn.Config:
    config = uvicorn.Config(
        app.asgi,
        http=PatientToABound,
        ws="none",
        loop="asyncio",
        lifespan="on",
        log_level="error",
        access_log=False,
        server_header=False,
        headers=list(HEADERS.items()),
        proxy_headers=False,
        limit_concurrency=MOST_AT_ONCE,
        timeout_keep_alive=KEPT_S,
        timeout_graceful_shutdown=1,
        ssl_certfile=place.certificate,
        ssl_keyfile=place.key,
    )
    try:
        config.load()
    except (OSError, ssl.SSLError) as wrong:
        raise TlsError(f"--certificate {place.certificate} with --key {place.key}: {wrong}") from wrong
    return config


def _listening(place: Place) -> socket.socket:
    """A socket whose connections end by themselves when nobody takes what was sent: a phone that walked away."""
    family = socket.AF_INET6 if ":" in place.address else socket.AF_INET
    listener = socket.socket(family)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.setsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, int(TAKEN_S * 1000))
        listener.bind((place.address, place.port))
        listener.listen(WAITING)
    except BaseException:
        listener.close()
        raise
    return listener


class PatientToABound(H11Protocol):
    """HTTP/1.1 as uvicorn speaks it; a request that has not arrived whole after READ_S ends its connection."""

    _late: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """The first request is due."""
        super().connection_made(transport)
        self._due()

    def data_received(self, data: bytes) -> None:
        """Some of a request, or the last of it."""
        self._due()
        super().data_received(data)
        if self.conn.their_state in {h11.DONE, h11.MUST_CLOSE, h11.CLOSED, h11.ERROR}:
            self._in_time()

    def connection_lost(self, exc: Exception | None) -> None:
        """Nothing is due any more."""
        self._in_time()
        super().connection_lost(exc)

    def _due(self) -> None:
        if self._late is None:
            self._late = self.loop.call_later(READ_S, self.transport.abort)

    def _in_time(self) -> None:
        if self._late is not None:
            self._late.cancel()
            self._late = None
