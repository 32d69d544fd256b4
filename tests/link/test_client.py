"""What the caller is told when the other side does not behave."""

from __future__ import annotations

import socket
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from daemon.link.client import ControlClient, NoDaemon


@pytest.fixture
def impostor(tmp_path: Path) -> Iterator[list[bytes]]:
    """Something else on the socket; it sends what the list holds and hangs up, or stays silent."""
    answers: list[bytes] = []
    ended = threading.Event()

    def serve(listener: socket.socket) -> None:
        connection, _ = listener.accept()
        with connection:
            connection.recv(1000)
            if answers:
                connection.sendall(answers[0])
            else:
                ended.wait(5.0)

    with socket.socket(socket.AF_UNIX) as listener:
        listener.bind(str(tmp_path / "control.sock"))
        listener.listen()
        thread = threading.Thread(target=serve, args=(listener,))
        thread.start()
        yield answers
        ended.set()
        thread.join()


@pytest.mark.parametrize("answer", [b"hello\n", b"[]\n", b"{}\n", b'{"error":{}}\n', b"\xff\n", b"\n"])
def test_an_answer_that_is_none_is_said(impostor: list[bytes], tmp_path: Path, answer: bytes) -> None:
    """Whatever listens there, it is not the daemon."""
    impostor.append(answer)
    with pytest.raises(NoDaemon, match="not the daemon"):
        ControlClient(tmp_path).call("status")


def test_a_daemon_that_ends_before_it_answers_is_said(impostor: list[bytes], tmp_path: Path) -> None:
    """Closed without a word."""
    impostor.append(b"")
    with pytest.raises(NoDaemon, match="ended before it answered"):
        ControlClient(tmp_path).call("status")


def test_silence_ends_at_the_time_out(impostor: list[bytes], tmp_path: Path) -> None:
    """Nobody waits for ever at a prompt."""
    with pytest.raises(NoDaemon, match=r"within 0\.05 s"):
        ControlClient(tmp_path, timeout_s=0.05).call("status")


def test_a_socket_that_nobody_answers_on_is_no_daemon(tmp_path: Path) -> None:
    """After kill -9 the file is still there."""
    with socket.socket(socket.AF_UNIX) as stale:
        stale.bind(str(tmp_path / "control.sock"))
    with pytest.raises(NoDaemon, match="is it running"):
        ControlClient(tmp_path).call("status")
