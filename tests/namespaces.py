"""Two networks of our own with one cable between them, to cut: `box` and `broker`, and nothing else is touched.

They need root and Linux. A network belongs to a thread; sockets, threads and processes that it makes stay in it.
"""

from __future__ import annotations

import ctypes
import os
import shutil
import subprocess
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from typing import TypeVar

T = TypeVar("T")
IP = shutil.which("ip") or shutil.which("ip", path="/usr/sbin:/sbin")
NEW_NETWORK = 0x40000000  # CLONE_NEWNET, see setns(2)
BOX, BROKER = "10.213.0.1", "10.213.0.2"  # inside these networks only


class NamespaceError(Exception):
    """They cannot be made here; the message says why."""


class Cable:
    """Both networks, and the cable. `at_box` and `at_broker` run a function there."""

    def __init__(self, box: str, broker: str, box_end: str, broker_end: str) -> None:
        self._box, self._broker, self._box_end, self._broker_end = box, broker, box_end, broker_end

    def at_box(self, act: Callable[[], T]) -> T:
        """What it gives, made where the box is."""
        return _within(self._box, act)

    def at_broker(self, act: Callable[[], T]) -> T:
        """What it gives, made where the broker is."""
        return _within(self._broker, act)

    def cut(self) -> None:
        """Nothing passes any more, and nobody is told."""
        _ip("-n", self._broker, "link", "set", self._broker_end, "down")

    def mend(self) -> None:
        """All passes again."""
        _ip("-n", self._broker, "link", "set", self._broker_end, "up")


@contextmanager
def cable() -> Iterator[Cable]:
    """Two networks joined by a cable; gone at the end. Raises NamespaceError."""
    if IP is None:
        raise NamespaceError("ip (package iproute2) is not installed")
    own = f"evenwater-{os.getpid()}"
    box, broker = f"{own}-box", f"{own}-broker"
    box_end, broker_end = f"ew{os.getpid()}a", f"ew{os.getpid()}b"
    with ExitStack() as made:
        for name in (box, broker):
            _ip("netns", "add", name)
            made.callback(_ip, "netns", "delete", name)
            _ip("-n", name, "link", "set", "lo", "up")
        _ip("-n", box, "link", "add", box_end, "type", "veth", "peer", "name", broker_end, "netns", broker)
        for name, end, address in ((box, box_end, BOX), (broker, broker_end, BROKER)):
            _ip("-n", name, "address", "add", f"{address}/24", "dev", end)
            _ip("-n", name, "link", "set", end, "up")
        yield Cable(box, broker, box_end, broker_end)


def _ip(*words: str) -> None:
    try:
        subprocess.run([str(IP), *words], check=True, capture_output=True, text=True)
    except subprocess.CalledProcessError as error:
        raise NamespaceError(f"ip {' '.join(words)}: {error.stderr.strip()}") from error


def _within(name: str, act: Callable[[], T]) -> T:
    """Run it in a thread of its own that has moved there."""

    def moved() -> T:
        with open(f"/run/netns/{name}", encoding="ascii") as network:
            if ctypes.CDLL(None, use_errno=True).setns(network.fileno(), NEW_NETWORK) != 0:
                raise NamespaceError(f"setns: {os.strerror(ctypes.get_errno())}")
        return act()

    with ThreadPoolExecutor(1) as pool:
        return pool.submit(moved).result()
