"""Calls to the running daemon, for the command line and the page."""

from __future__ import annotations

import contextlib
import json
import socket
from pathlib import Path
from typing import Any

from daemon.link.control import ANSWER_S, SOCKET_NAME, address

TIMEOUT_S = ANSWER_S + 5.0  # the daemon gives up first, and says so
LARGEST_ANSWER = 16 * 1024 * 1024  # bytes; a ledger of months is far below


# ClientError
#   NoDaemon      nobody answers in that state folder
#   CallRefused   the daemon answered, and said no


class ClientError(Exception):
    """A call to the daemon came to nothing. The message says why and what to do."""


class NoDaemon(ClientError, ConnectionError):  # noqa: N818 - what it says is the name
    """Nobody answers in that state folder."""


class CallRefused(ClientError, ValueError):  # noqa: N818 - a refusal is an answer, in this house's words
    """The daemon will not do it. `code` is that of JSON-RPC, or 1 for a refusal by the loop."""

    def __init__(self, message: str, code: int) -> None:
        super().__init__(message)
        self.code = code


class ControlClient:
    """The daemon whose state folder this is. Each call has a connection of its own."""

    def __init__(self, folder: Path, *, timeout_s: float = TIMEOUT_S) -> None:
        self._folder, self._timeout_s = folder, timeout_s

    def call(self, method: str, /, *, by: str = "", **params: Any) -> Any:
        """What the daemon answers. by: for whom it is asked, for the ledger. Raises NoDaemon or CallRefused."""
        call = {"jsonrpc": "2.0", "method": method, "params": params, "id": 1} | ({"by": by} if by else {})
        answer = self._exchange(json.dumps(call, allow_nan=False).encode() + b"\n")
        if not answer:
            raise NoDaemon(f"the daemon in {self._folder} ended before it answered: look at its log")
        try:
            reply = json.loads(answer)
            error = reply.get("error")
            if error is None:
                return reply["result"]
            refused = CallRefused(str(error["message"]), int(error["code"]))
        except (ValueError, KeyError, TypeError, AttributeError) as broken:
            raise NoDaemon(f"what answers in {self._folder} is not the daemon: {answer[:80]!r}") from broken
        raise refused

    def _exchange(self, line: bytes) -> bytes:
        try:
            with socket.socket(socket.AF_UNIX) as connection:
                connection.settimeout(self._timeout_s)
                with address(self._folder / SOCKET_NAME) as where:
                    connection.connect(where)
                with contextlib.suppress(BrokenPipeError):  # turned away at the door: the reason waits to be read
                    connection.sendall(line)
                with connection.makefile("rb") as answers:
                    return answers.readline(LARGEST_ANSWER)
        except TimeoutError as error:
            raise NoDaemon(
                f"the daemon in {self._folder} did not answer within {self._timeout_s:g} s; see its log"
            ) from error
        except PermissionError as error:
            raise NoDaemon(
                f"{self._folder / SOCKET_NAME} may not be opened: use sudo, or join the group that owns it"
            ) from error
        except OSError as error:
            raise NoDaemon(
                f"no daemon answers in the state folder {self._folder}: is it running? Start it with "
                "`evenwater run`, or name its folder with --state"
            ) from error
