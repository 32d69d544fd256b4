"""Tests of daemon/notify.py against a real datagram socket."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from uuid import uuid4

import pytest

from daemon.notify import ALIVE, READY, STOPPING, tell, watchdog_for


@contextmanager
def manager(address: str) -> Iterator[socket.socket]:
    """A service manager listening at an address."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as ear:
        ear.bind(address)
        ear.settimeout(1.0)
        yield ear


def test_words_reach_a_socket_on_disk(tmp_path: Path) -> None:
    """The three words arrive as the manual page spells them."""
    address = str(tmp_path / "notify")
    with manager(address) as ear:
        for word in (READY, ALIVE, STOPPING):
            assert tell(word, environ={"NOTIFY_SOCKET": address})
        assert [ear.recv(100) for _ in range(3)] == [b"READY=1", b"WATCHDOG=1", b"STOPPING=1"]


def test_words_reach_an_abstract_socket() -> None:
    """An address with @ is looked for in the abstract namespace; several words share one datagram."""
    name = f"evenwater-{uuid4()}"
    with manager("\0" + name) as ear:
        assert tell(READY, "WATCHDOG_USEC=90000000", environ={"NOTIFY_SOCKET": "@" + name})
        assert ear.recv(100) == b"READY=1\nWATCHDOG_USEC=90000000"


@pytest.mark.parametrize("environ", [{}, {"NOTIFY_SOCKET": ""}])
def test_nothing_is_sent_without_a_service_manager(environ: dict[str, str]) -> None:
    """A run from a shell has nobody to tell."""
    assert not tell(READY, environ=environ)


def test_a_vanished_manager_is_no_error(tmp_path: Path) -> None:
    """The loop goes on when nobody listens at the address."""
    assert not tell(ALIVE, environ={"NOTIFY_SOCKET": str(tmp_path / "gone")})


def test_a_full_queue_is_not_waited_for(tmp_path: Path) -> None:
    """A manager that does not read never blocks a pass."""
    address = str(tmp_path / "notify")
    with manager(address):
        taken = [tell(ALIVE, environ={"NOTIFY_SOCKET": address}) for _ in range(5000)]
    assert taken[0]
    assert not taken[-1]


@pytest.mark.parametrize(
    ("pass_every_s", "usec", "words"),
    [
        (10.0, "30000000", ()),
        (10.1, "30000000", ("WATCHDOG_USEC=30300000",)),
        (60.0, "30000000", ("WATCHDOG_USEC=180000000",)),
        (60.0, "", ()),
        (60.0, "0", ()),
    ],
)
def test_the_watchdog_outlasts_three_passes(pass_every_s: float, usec: str, words: tuple[str, ...]) -> None:
    """Passes a minute apart must not be taken for a hang; a watchdog that is off stays off."""
    assert watchdog_for(pass_every_s, {"WATCHDOG_USEC": usec}) == words
