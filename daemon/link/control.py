"""The control socket: JSON-RPC 2.0, one object a line, on `control.sock` in the state folder.

`ping` and `status` are answered from the newest snapshot; every other method becomes a `Request` that
the loop answers between passes. Whoever may open the socket (mode 0660) counts as being at the tank; a program
that asks for somebody else says who in `by`, which stands in the ledger beside what was asked.
Batches are refused: one call a line says the same.
"""

from __future__ import annotations

import contextlib
import json
import logging
import math
import os
import queue
import socket
import stat
import threading
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

from daemon.desk.requests import Origin, Request, RequestRefused, UnknownMethod, WrongParams
from daemon.link.plain import plain
from daemon.values import State

LOG = logging.getLogger(__name__)
SOCKET_NAME = "control.sock"
MODE = 0o660
MOST_CLIENTS = 16
LARGEST_LINE = 65_536  # bytes of one call
IDLE_S = 120.0  # a connection that says nothing for this long is ended
ANSWER_S = 30.0  # for the loop to answer
LONGEST_BY = 120  # characters that tell who asks
LONGEST_ADDRESS = 107  # bytes that Linux allows for the path of a socket

# Codes of the JSON-RPC 2.0 specification, then ours
PARSE_ERROR = -32700
INVALID_REQUEST = -32600
METHOD_NOT_FOUND = -32601
INVALID_PARAMS = -32602
INTERNAL_ERROR = -32603
NO_ANSWER = -32000
REFUSED = 1


class ControlError(OSError):
    """The control socket cannot be opened. The message says which and why."""


class CallError(Exception):
    """A call that gets an error for an answer."""

    def __init__(self, code: int, message: str) -> None:
        super().__init__(message)
        self.code = code


@contextlib.contextmanager
def address(path: Path) -> Iterator[str]:
    """The path of a socket in words short enough for the kernel, however long it is. Raises OSError."""
    whole = str(path.absolute())
    if len(os.fsencode(whole)) <= LONGEST_ADDRESS:
        yield whole
        return
    folder = os.open(path.parent, os.O_RDONLY | os.O_DIRECTORY)
    try:
        yield f"/proc/self/fd/{folder}/{path.name}"
    finally:
        os.close(folder)


class ControlServer:
    """Answers on the control socket until `close`. Its threads never touch the loop's things.

    A socket file that nobody answers on is replaced. Raises ControlError where it cannot listen.
    """

    def __init__(
        self, folder: Path, *, snapshot: Callable[[], State | None], submit: Callable[[Request], None]
    ) -> None:
        self._path, self._snapshot, self._submit = folder / SOCKET_NAME, snapshot, submit
        self._clients: set[socket.socket] = set()
        self._lock = threading.Lock()
        try:
            _refuse_taken(self._path)
            self._listener = _listen(self._path)
            self._inode = self._path.stat().st_ino
        except ControlError:
            raise
        except OSError as error:
            raise ControlError(f"{self._path}: cannot listen there ({error})") from error
        threading.Thread(target=self._accept, name="control", daemon=True).start()

    def close(self) -> None:
        """Stop listening, end the connections, remove the socket file. Twice is harmless."""
        with contextlib.suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)  # wakes the thread that accepts
        self._listener.close()
        with contextlib.suppress(OSError):
            if self._path.stat().st_ino == self._inode:  # not one that a later daemon put there
                self._path.unlink()
        with self._lock:
            for client in self._clients:
                with contextlib.suppress(OSError):
                    client.shutdown(socket.SHUT_RDWR)

    def _accept(self) -> None:
        while True:
            try:
                client, _ = self._listener.accept()
            except OSError:
                return  # closed
            client.settimeout(IDLE_S)
            if self._admit(client):
                threading.Thread(target=self._serve, args=(client,), name="control", daemon=True).start()

    def _admit(self, client: socket.socket) -> bool:
        with self._lock:
            if len(self._clients) < MOST_CLIENTS:
                self._clients.add(client)
                return True
        error = CallError(REFUSED, f"{MOST_CLIENTS} connections are open already: close one and try again")
        with contextlib.suppress(OSError):
            client.sendall(_line(_failed(None, error)))
        client.close()
        return False

    def _serve(self, client: socket.socket) -> None:
        try:
            with client, client.makefile("rb") as lines:
                while line := lines.readline(LARGEST_LINE + 1):
                    if len(line) > LARGEST_LINE:
                        too_long = CallError(INVALID_REQUEST, f"a call may have {LARGEST_LINE} bytes, not more")
                        client.sendall(_line(_failed(None, too_long)))
                        return
                    answer = self._answer(line)
                    if answer is not None:
                        client.sendall(_line(answer))
        except OSError:
            pass  # the client went away or fell silent: nobody is left to tell
        finally:
            with self._lock:
                self._clients.discard(client)

    def _answer(self, line: bytes) -> dict[str, Any] | None:
        """What to say to one line; None to a notification."""
        try:
            call = _call(line)
        except CallError as error:
            return _failed(None, error)
        try:
            outcome = {"result": plain(self._do(call["method"], _params(call), _by(call)))}
        except CallError as error:
            outcome = {"error": _said(error)}
        except Exception as error:
            LOG.exception("Control: %s could not be answered", call["method"])
            outcome = {"error": _said(CallError(INTERNAL_ERROR, f"internal error: {error!r}"))}
        return {"jsonrpc": "2.0", **outcome, "id": call["id"]} if "id" in call else None

    def _do(self, method: str, params: Mapping[str, Any], by: str) -> Any:
        if method == "ping":
            return "pong"
        if method == "status":
            return self._status()
        return self._ask(method, params, by)

    def _status(self) -> State:
        state = self._snapshot()
        if state is None:
            raise CallError(REFUSED, "the first pass is not done yet: try again in a moment")
        return state

    def _ask(self, method: str, params: Mapping[str, Any], by: str) -> Any:
        """What the loop answers. A late answer is dropped."""
        answers: queue.SimpleQueue[Any] = queue.SimpleQueue()
        request = Request(method, params, Origin.LOCAL, answers.put, by=by)
        self._submit(request)
        try:
            answer = answers.get(timeout=ANSWER_S)
        except queue.Empty:
            request.given_up.set()
            raise CallError(
                NO_ANSWER, f"the loop did not answer within {ANSWER_S:g} s; whether it did it is not known"
            ) from None
        if isinstance(answer, RequestRefused):
            raise CallError(_code(answer), str(answer))
        if isinstance(answer, Exception):
            raise answer
        return answer


def _code(refused: RequestRefused) -> int:
    if isinstance(refused, UnknownMethod):
        return METHOD_NOT_FOUND
    return INVALID_PARAMS if isinstance(refused, WrongParams) else REFUSED


def _call(line: bytes) -> dict[str, Any]:
    """The call in one line, checked by the specification. Raises CallError."""
    try:
        call = json.loads(line, parse_constant=_not_json, parse_float=_finite)
    except (ValueError, RecursionError) as error:
        raise CallError(PARSE_ERROR, f"not JSON: {error}") from error
    if not isinstance(call, dict):
        raise CallError(INVALID_REQUEST, "one call a line, as an object; batches are not taken")
    identity = call.get("id")
    named = identity is None or (isinstance(identity, str | int | float) and not isinstance(identity, bool))
    if not (call.get("jsonrpc") == "2.0" and isinstance(call.get("method"), str) and named):
        raise CallError(INVALID_REQUEST, 'must have "jsonrpc": "2.0", a "method" and, for an answer, an "id"')
    return call


def _params(call: Mapping[str, Any]) -> Mapping[str, Any]:
    params = call.get("params", {})
    if not isinstance(params, dict):
        raise CallError(INVALID_PARAMS, "params must be an object: parameters go by name")
    return params


def _by(call: Mapping[str, Any]) -> str:
    """Who asks, as the program says that asks for them: a member of our own beside those of JSON-RPC."""
    by = call.get("by", "")
    if not (isinstance(by, str) and len(by) <= LONGEST_BY and by.isprintable()):
        raise CallError(INVALID_PARAMS, f"by must be a line of at most {LONGEST_BY} characters: who asks")
    return by


def _finite(text: str) -> float:
    number = float(text)
    if not math.isfinite(number):
        raise ValueError(f"{text} is too large a number")
    return number


def _not_json(text: str) -> float:
    raise ValueError(f"{text} is not a number in JSON")


def _failed(identity: Any, error: CallError) -> dict[str, Any]:
    return {"jsonrpc": "2.0", "error": _said(error), "id": identity}


def _said(error: CallError) -> dict[str, Any]:
    return {"code": error.code, "message": str(error)}


def _line(answer: Mapping[str, Any]) -> bytes:
    return json.dumps(answer, allow_nan=False).encode() + b"\n"


def _refuse_taken(path: Path) -> None:
    """Raises ControlError where a daemon answers already, or where the file is no socket of ours to replace."""
    if not os.path.lexists(path):
        return
    if not stat.S_ISSOCK(path.lstat().st_mode):
        raise ControlError(f"{path}: is not a socket; move it away")
    with address(path) as where, socket.socket(socket.AF_UNIX) as probe:
        probe.settimeout(1.0)
        try:
            probe.connect(where)
        except ConnectionRefusedError:
            return
    raise ControlError(f"{path}: another daemon answers there; stop it, or use another state folder")


def _listen(path: Path) -> socket.socket:
    """A listening socket that nobody could reach before it had its mode."""
    fresh = path.with_name(f"{path.name}.new")
    fresh.unlink(missing_ok=True)
    listener = socket.socket(socket.AF_UNIX)
    try:
        with address(fresh) as where:
            listener.bind(where)
        fresh.chmod(MODE)
        listener.listen(MOST_CLIENTS)
        fresh.rename(path)
    except BaseException:
        listener.close()
        raise
    return listener
