"""The bench's socket."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from drivers.rig import RigError
from sim_hw.bench import Bench, open_rig
from sim_hw.remote import NoBenchError, ask
from sim_hw.world import PlayError
from tests.sim_hw.a_bench import a_table


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where the bench listens."""
    return tmp_path / "var" / "bench.sock"


@pytest.fixture
def bench(path: Path) -> Iterator[Bench]:
    """A live bench with a socket."""
    with closing(open_rig(a_table(socket=str(path)))) as opened:
        opened.play("look")
        yield opened


def test_what_is_asked_is_played(bench: Bench, path: Path) -> None:
    """The world changes, and the answer is the command's."""
    assert ask(path, "drain", {"litres": 10})["volume_l"] == pytest.approx(50.0, abs=0.01)
    assert bench.world.basins["bed1"].tank.volume_l == pytest.approx(50.0, abs=0.01)


def test_a_refusal_comes_back_as_one(bench: Bench, path: Path) -> None:
    """With the bench's own words."""
    with pytest.raises(PlayError, match="there is no probe 'orp'"):
        ask(path, "back", {"probe": "orp"})


@pytest.mark.parametrize(
    "junk",
    [
        b"\n",
        b"hello\n",
        b"[]\n",
        b"7\n",
        b"\xff\xfe\n",
        b'{"command": "look", "params": 3}\n',
        b'{"command": ["look"]}\n',
        b'{"command": "dip", "params": {"world": 1}}\n',
        b'{"command": "drain", "params": {"litres": NaN}}\n',
        b"{" * 5000 + b"\n",
        b"[" * 70000,
    ],
)
def test_nothing_that_arrives_stops_it(bench: Bench, path: Path, junk: bytes) -> None:
    """Junk is answered with an error, and the next one is served."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as line:
        line.connect(str(path))
        line.sendall(junk)
        line.shutdown(socket.SHUT_WR)
        assert b'"error"' in line.recv(65536)
    assert ask(path, "look", {})["tanks"]["bed1"]["volume_l"] == pytest.approx(60.0, abs=0.01)


def test_one_who_says_nothing_and_leaves_stops_nothing(bench: Bench, path: Path) -> None:
    """The next one is served."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as line:
        line.connect(str(path))
    assert "tanks" in ask(path, "look", {})


def test_only_its_owner_may_speak_to_it(bench: Bench, path: Path) -> None:
    """The socket has mode 0600."""
    assert path.stat().st_mode & 0o777 == 0o600


def test_closing_takes_the_socket_away(bench: Bench, path: Path) -> None:
    """Then nobody answers, and the message says what to start."""
    bench.close()
    bench.close()
    assert not path.exists()
    with pytest.raises(NoBenchError, match="evenwater demo"):
        ask(path, "look", {})


def test_a_second_bench_on_the_same_socket_is_refused(bench: Bench, path: Path) -> None:
    """And the first goes on listening."""
    with closing(open_rig(a_table(socket=str(path)))) as second, pytest.raises(RigError, match="already listens"):
        second.play("look")
    assert "tanks" in ask(path, "look", {})


def test_a_socket_left_behind_by_a_dead_bench_is_replaced(path: Path) -> None:
    """Nobody listens at it."""
    path.parent.mkdir(parents=True)
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as dead:
        dead.bind(str(path))
    with closing(open_rig(a_table(socket=str(path)))) as bench:
        bench.play("look")
        assert "tanks" in ask(path, "look", {})


def test_a_path_too_long_for_linux_is_told(tmp_path: Path) -> None:
    """With its limit."""
    with (
        closing(open_rig(a_table(socket=str(tmp_path / ("x" * 120))))) as bench,
        pytest.raises(RigError, match="107 bytes"),
    ):
        bench.play("look")
