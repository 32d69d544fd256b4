"""A service on loopback that takes messages, refuses them, or hangs: by the first word of the path."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any


class Service(ThreadingHTTPServer):
    """What came in: the path and the fields of each message."""

    daemon_threads = True

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), _Desk)
        self.got: list[tuple[str, dict[str, Any]]] = []
        self.over = threading.Event()

    def url(self, path: str, private: str = "") -> str:
        """Its address in the form that the senders know. private: `user:password@`."""
        return f"json://{private}127.0.0.1:{self.server_port}/{path}"


class _Desk(BaseHTTPRequestHandler):
    server: Service

    def do_POST(self) -> None:
        content = self.rfile.read(int(self.headers["content-length"]))
        self.server.got.append((self.path, json.loads(content)))
        if self.path.startswith("/hang"):
            self.server.over.wait(30.0)
        self.send_response(500 if self.path.startswith("/bad") else 200)
        self.end_headers()
        self.wfile.write(f"you asked for {self.path}".encode())

    def log_message(self, *_: object) -> None:
        """Nothing on the screen."""


@contextmanager
def running() -> Iterator[Service]:
    """One that runs, and is gone at the end."""
    with Service() as service:
        thread = threading.Thread(target=service.serve_forever, args=(0.02,))
        thread.start()
        yield service
        service.over.set()
        service.shutdown()
        thread.join()
