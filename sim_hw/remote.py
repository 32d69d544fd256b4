"""The bench's own small socket: one line of JSON asks, one line answers, then the line closes.

{"command": "dip", "params": {"probe": "ph", "standard": "7.00"}}
{"result": {...}}   or   {"error": "what is wrong and what there is instead"}
"""

from __future__ import annotations

import json
import os
import socket
import threading
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from sim_hw.world import PlayError

PATIENCE_S = 2.0
LONGEST_LINE = 65536
LONGEST_PATH = 107  # bytes that Linux allows for a socket's name

Play = Callable[[str, Mapping[str, Any]], Mapping[str, Any]]


class NoBenchError(OSError):
    """Nobody answers at the socket; the message says what to do."""


class BenchSocket:
    """Listens in a thread of its own and plays what it is asked. Nothing that arrives can stop it."""

    def __init__(self, path: Path, play: Play) -> None:
        """Raises OSError where another bench listens already, or the socket cannot be made."""
        self._path = path
        self._play = play
        _make_room(path)
        self._listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        try:
            self._listener.bind(str(path))
            path.chmod(0o600)
            self._listener.listen()
        except OSError:
            self._listener.close()
            raise
        self._inode = path.stat().st_ino
        self._thread = threading.Thread(target=self._listen, name="bench socket", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Stop listening and take the socket's file away. Twice is harmless."""
        if self._listener.fileno() < 0:
            return
        self._listener.shutdown(socket.SHUT_RDWR)
        self._thread.join(PATIENCE_S)
        self._listener.close()
        if self._path.exists() and self._path.stat().st_ino == self._inode:
            self._path.unlink()

    def _listen(self) -> None:
        while True:
            try:
                asking, _ = self._listener.accept()
            except OSError:  # closed
                return
            with asking:
                asking.settimeout(PATIENCE_S)
                try:
                    asking.sendall(_line(self._answer(_read_line(asking))))
                except OSError:  # the asker went away or said nothing: its affair
                    continue

    def _answer(self, text: bytes) -> Mapping[str, Any]:
        try:
            asked = json.loads(text)
            command, params = asked["command"], asked.get("params", {})
            return {"result": self._play(command, {str(key): value for key, value in params.items()})}
        except PlayError as error:
            return {"error": str(error)}
        except Exception as error:  # noqa: BLE001 - whatever arrives, the bench goes on
            return {"error": f"not understood ({type(error).__name__}: {error})"}


def ask(path: Path, command: str, params: Mapping[str, Any]) -> dict[str, Any]:
    """What the bench at this socket answers. Raises PlayError as it says, NoBenchError where none answers."""
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as line:
            line.settimeout(PATIENCE_S)
            line.connect(str(path))
            line.sendall(_line({"command": command, "params": params}))
            answer: dict[str, Any] = json.loads(_read_line(line))
    except (OSError, ValueError) as error:
        raise NoBenchError(
            f"no bench answers at {path} ({error}): start one first, with `evenwater demo` or `evenwater run` on "
            'a rig whose [rig] table has socket = "…", and give the same path with --socket'
        ) from error
    if "error" in answer:
        raise PlayError(str(answer["error"]))
    return dict(answer["result"])


def _line(value: Mapping[str, Any]) -> bytes:
    return json.dumps(value).encode("utf-8") + b"\n"


def _read_line(line: socket.socket) -> bytes:
    text = b""
    while not text.endswith(b"\n") and len(text) < LONGEST_LINE:
        part = line.recv(LONGEST_LINE)
        if not part:
            break
        text += part
    return text


def _make_room(path: Path) -> None:
    """Make the folder; take away a socket that nobody listens at."""
    if len(os.fsencode(path)) > LONGEST_PATH:
        raise OSError(
            f"socket = {path}: its path is too long for Linux ({LONGEST_PATH} bytes); use a shorter one"
        )
    path.parent.mkdir(parents=True, exist_ok=True)
    if not path.is_socket():
        return
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as probe:
        try:
            probe.connect(str(path))
        except ConnectionRefusedError:
            path.unlink()
            return
    raise OSError(f"another bench already listens at {path}: stop it, or set another socket in the [rig] table")
