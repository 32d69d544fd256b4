"""Calls on the control socket, as JSON-RPC 2.0 has them."""

from __future__ import annotations

import contextlib
import json
import os
import socket
import stat
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from daemon.desk.requests import Origin, Request, RequestRefused, UnknownMethod, WrongParams
from daemon.link import control
from daemon.link.client import CallRefused, ControlClient, NoDaemon
from daemon.link.control import ControlError, ControlServer
from daemon.link.plain import plain
from daemon.values import State
from tests.brokers import until
from tests.link.states import state


class Loop:
    """Stands for the loop: answers each request with what it is told to."""

    def __init__(self) -> None:
        self.state: State | None = state()
        self.requests: list[Request] = []
        self.answer: Any = {"held": True}
        self.silent = False

    def submit(self, request: Request) -> None:
        """As the daemon's own, but answering at once."""
        self.requests.append(request)
        if not self.silent:
            request.answer(dict(request.params) if request.method == "echo" else self.answer)


@pytest.fixture
def loop() -> Loop:
    return Loop()


@pytest.fixture
def folder(tmp_path: Path, loop: Loop) -> Iterator[Path]:
    """A state folder with a server in it."""
    server = ControlServer(tmp_path, snapshot=lambda: loop.state, submit=loop.submit)
    yield tmp_path
    server.close()


Say = Callable[..., list[dict[str, Any]]]


@pytest.fixture
def say(folder: Path) -> Iterator[Say]:
    """Sends bytes on one connection and gives so many answers."""
    with socket.socket(socket.AF_UNIX) as connection:
        connection.settimeout(5.0)
        connection.connect(str(folder / "control.sock"))
        with connection.makefile("rb") as lines:

            def send(content: bytes, answers: int = 1) -> list[dict[str, Any]]:
                connection.sendall(content)
                return [json.loads(lines.readline()) for _ in range(answers)]

            yield send


def test_status_is_the_newest_snapshot(folder: Path, loop: Loop) -> None:
    """Without troubling the loop."""
    assert ControlClient(folder).call("status") == plain(loop.state)
    assert ControlClient(folder).call("ping") == "pong"
    assert loop.requests == []


def test_status_before_the_first_pass_says_so(folder: Path, loop: Loop) -> None:
    """There is nothing to show yet."""
    loop.state = None
    with pytest.raises(CallRefused, match="first pass"):
        ControlClient(folder).call("status")


def test_any_other_method_is_a_local_request_to_the_loop(folder: Path, loop: Loop) -> None:
    """Whoever may open the socket is at the tank."""
    answer = ControlClient(folder).call("hold", reservoir="bed1", reason="cleaning")
    (asked,) = loop.requests
    assert answer == {"held": True}
    assert (asked.method, asked.origin) == ("hold", Origin.LOCAL)
    assert asked.params == {"reservoir": "bed1", "reason": "cleaning"}


@pytest.mark.parametrize(
    ("refused", "code"),
    [
        (RequestRefused("bed1 is locked"), 1),
        (UnknownMethod("no juggle"), -32601),
        (WrongParams("which?"), -32602),
    ],
)
def test_a_refusal_keeps_its_words_and_has_its_code(
    folder: Path, loop: Loop, refused: RequestRefused, code: int
) -> None:
    """The loop knows why; the standard's codes say what kind."""
    loop.answer = refused
    with pytest.raises(CallRefused) as caught:
        ControlClient(folder).call("juggle")
    assert (str(caught.value), caught.value.code) == (str(refused), code)


def test_an_answer_json_cannot_say_is_an_internal_error(folder: Path, loop: Loop) -> None:
    """The caller is told, and the server goes on."""
    loop.answer = object()
    with pytest.raises(CallRefused) as caught:
        ControlClient(folder).call("hold")
    assert caught.value.code == -32603
    assert ControlClient(folder).call("ping") == "pong"


def test_a_loop_that_does_not_answer_is_told(folder: Path, loop: Loop, monkeypatch: pytest.MonkeyPatch) -> None:
    """And its late answer hurts nobody."""
    monkeypatch.setattr(control, "ANSWER_S", 0.05)
    loop.silent = True
    with pytest.raises(CallRefused, match="did not answer") as caught:
        ControlClient(folder).call("release")
    assert caught.value.code == -32000
    loop.requests[0].answer("late")
    assert ControlClient(folder).call("ping") == "pong"


@pytest.mark.parametrize(
    ("line", "code", "identity"),
    [
        (b"{", -32700, None),
        (b"\xff\xfe\n", -32700, None),
        (b'{"jsonrpc":"2.0","method":"hold","params":{"hours":NaN},"id":1}', -32700, None),
        (b'{"jsonrpc":"2.0","method":"hold","params":{"hours":1e309},"id":1}', -32700, None),
        (b"[" * 30000, -32700, None),
        (b"1", -32600, None),
        (b"[]", -32600, None),
        (b'[{"jsonrpc":"2.0","method":"ping","id":1}]', -32600, None),
        (b'{"method":"ping","id":1}', -32600, None),
        (b'{"jsonrpc":"2.0","method":1,"id":1}', -32600, None),
        (b'{"jsonrpc":"2.0","method":"ping","id":{}}', -32600, None),
        (b'{"jsonrpc":"2.0","method":"ping","id":true}', -32600, None),
        (b'{"jsonrpc":"2.0","method":"ping","params":[1],"id":"a"}', -32602, "a"),
        (b'{"jsonrpc":"2.0","method":"ping","params":null,"id":2}', -32602, 2),
    ],
)
def test_a_malformed_call_gets_the_code_of_the_standard(
    say: Say, loop: Loop, line: bytes, code: int, identity: Any
) -> None:
    """And the connection stays usable. Source: JSON-RPC 2.0 specification, section 5.1."""
    broken, after = say(line.rstrip(b"\n") + b'\n{"jsonrpc":"2.0","method":"ping","id":9}\n', answers=2)
    assert (broken["jsonrpc"], broken["error"]["code"], broken["id"]) == ("2.0", code, identity)
    assert after == {"jsonrpc": "2.0", "result": "pong", "id": 9}
    assert loop.requests == []


def test_a_notification_is_done_and_not_answered(say: Say, loop: Loop) -> None:
    """A call without an id. Source: JSON-RPC 2.0 specification, section 4.1."""
    content = b'{"jsonrpc":"2.0","method":"hold"}\n{"jsonrpc":"2.0","method":"ping","id":null}\n'
    assert say(content) == [{"jsonrpc": "2.0", "result": "pong", "id": None}]
    assert [asked.method for asked in loop.requests] == ["hold"]


def test_a_call_in_pieces_is_one_call(say: Say) -> None:
    """A line ends where it ends, not where a packet does."""
    say(b'{"jsonrpc":"2.0","meth', answers=0)
    assert say(b'od":"ping","id":1}\n') == [{"jsonrpc": "2.0", "result": "pong", "id": 1}]


@pytest.mark.parametrize(("over", "code"), [(0, None), (1, -32600)])
def test_a_line_has_a_largest_size(say: Say, over: int, code: int | None) -> None:
    """Nobody fills the memory of a small machine."""
    call = b'{"jsonrpc":"2.0","method":"ping","id":1}'
    padding = b" " * (control.LARGEST_LINE - len(call) - 1 + over)
    (answer,) = say(call + padding + b"\n")
    assert answer.get("error", {}).get("code") == code


def test_the_seventeenth_connection_is_turned_away_and_the_next_after_one_left_is_served(folder: Path) -> None:
    """A program that leaks connections cannot use up the daemon's threads."""
    with contextlib.ExitStack() as open_ones:
        for _ in range(control.MOST_CLIENTS):
            each = open_ones.enter_context(socket.socket(socket.AF_UNIX))
            each.connect(str(folder / "control.sock"))
            each.sendall(b'{"jsonrpc":"2.0","method":"ping","id":1}\n')
            assert b"pong" in each.recv(200)
        with pytest.raises(CallRefused, match="16 connections"):
            ControlClient(folder).call("ping")
    until(lambda: _served(folder))


def _served(folder: Path) -> bool:
    with contextlib.suppress(CallRefused):
        return bool(ControlClient(folder).call("ping"))
    return False


def test_a_silent_connection_is_ended(folder: Path, loop: Loop, monkeypatch: pytest.MonkeyPatch) -> None:
    """It does not keep its place for ever."""
    monkeypatch.setattr(control, "IDLE_S", 0.05)
    with socket.socket(socket.AF_UNIX) as connection:
        connection.settimeout(5.0)
        connection.connect(str(folder / "control.sock"))
        assert connection.recv(1) == b""


def test_calls_at_the_same_time_each_get_their_own_answer(folder: Path) -> None:
    """Answers are not mixed up between connections."""
    answers: dict[int, Any] = {}

    def ask(number: int) -> None:
        answers[number] = ControlClient(folder).call("echo", number=number)

    threads = [threading.Thread(target=ask, args=(number,)) for number in range(10)]
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    assert answers == {number: {"number": number} for number in range(10)}


def test_the_socket_is_for_owner_and_group(folder: Path) -> None:
    """Others on the box may not steer dosing."""
    assert stat.S_IMODE((folder / "control.sock").stat().st_mode) == 0o660


def test_closing_removes_the_socket_and_ends_connections(tmp_path: Path, loop: Loop) -> None:
    """Twice is harmless."""
    server = ControlServer(tmp_path, snapshot=lambda: loop.state, submit=loop.submit)
    with socket.socket(socket.AF_UNIX) as connection:
        connection.settimeout(5.0)
        connection.connect(str(tmp_path / "control.sock"))
        connection.sendall(b'{"jsonrpc":"2.0","method":"ping","id":1}\n')
        assert b"pong" in connection.recv(200)
        server.close()
        server.close()
        assert connection.recv(1) == b""
    assert list(tmp_path.iterdir()) == []


def test_a_stale_socket_is_replaced(tmp_path: Path, loop: Loop) -> None:
    """After kill -9 the file is still there and nobody answers."""
    with socket.socket(socket.AF_UNIX) as stale:
        stale.bind(str(tmp_path / "control.sock"))
    server = ControlServer(tmp_path, snapshot=lambda: loop.state, submit=loop.submit)
    assert ControlClient(tmp_path).call("ping") == "pong"
    server.close()


def test_a_socket_that_answers_is_left_alone(folder: Path, loop: Loop) -> None:
    """Two daemons on one folder would fight."""
    with pytest.raises(ControlError, match="another daemon answers"):
        ControlServer(folder, snapshot=lambda: loop.state, submit=loop.submit)
    assert ControlClient(folder).call("ping") == "pong"


def test_a_file_that_is_no_socket_is_left_alone(tmp_path: Path, loop: Loop) -> None:
    """Whatever it is, it is not ours to delete."""
    (tmp_path / "control.sock").write_text("notes")
    with pytest.raises(ControlError, match="not a socket"):
        ControlServer(tmp_path, snapshot=lambda: loop.state, submit=loop.submit)
    assert (tmp_path / "control.sock").read_text() == "notes"


def test_a_folder_that_is_missing_is_said(tmp_path: Path, loop: Loop) -> None:
    """With the path that was tried."""
    with pytest.raises(ControlError, match="absent"):
        ControlServer(tmp_path / "absent", snapshot=lambda: loop.state, submit=loop.submit)


def test_a_path_longer_than_the_kernel_allows_works(tmp_path: Path, loop: Loop) -> None:
    """Linux takes 107 bytes for the path of a socket; folders may be deeper. Source: unix(7)."""
    deep = tmp_path / ("d" * 100) / ("e" * 100)
    deep.mkdir(parents=True)
    before = len(os.listdir("/proc/self/fd"))
    server = ControlServer(deep, snapshot=lambda: loop.state, submit=loop.submit)
    assert ControlClient(deep).call("ping") == "pong"
    server.close()
    assert list(deep.iterdir()) == []
    assert len(os.listdir("/proc/self/fd")) <= before + 1


def test_no_daemon_says_what_to_do(tmp_path: Path) -> None:
    """The folder that was tried, and the option that names another."""
    with pytest.raises(NoDaemon, match=r"evenwater run.*--state") as caught:
        ControlClient(tmp_path).call("status")
    assert str(tmp_path) in str(caught.value)
