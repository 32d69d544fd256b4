"""Phones that watch a page in a process of its own: what they cost that process, and a pass of the daemon."""

from __future__ import annotations

import os
import re
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

from tests.at_the_tank import TO_A_DOSE, AtTheTank, at_the_tank
from tests.brokers import HOUSE

PHONES = 50
PASSES = 1500
READ_S = 30.0


@dataclass(frozen=True, slots=True)
class Watching:
    """What was measured. ratio: of the time of a pass, watched to unwatched; rss_mb: of the page's process."""

    rss_mb: float
    ratio: float


@contextmanager
def page_process(folder: Path) -> Iterator[tuple[int, int]]:
    """`evenwater page` on a free port: its process and its port."""
    command = [sys.executable, "-m", "daemon.cli.main", "page", "--port", "0", "--state", str(folder)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=HOUSE) as page:
        try:
            assert page.stdout is not None
            found = re.search(r"127\.0\.0\.1:(\d+)/", page.stdout.readline())
            assert found is not None
            yield page.pid, int(found[1])
        finally:
            page.terminate()


@contextmanager
def watched(port: int, phones: int = PHONES) -> Iterator[None]:
    """So many phones that have opened the page and were told of the newest pass."""
    with ExitStack() as stack:
        lines = [stack.enter_context(_watching(port)) for _ in range(phones)]
        for each in lines:
            next(line for line in each if line.startswith(b"data: "))
        yield


@contextmanager
def _watching(port: int) -> Iterator[Iterator[bytes]]:
    with socket.create_connection(("127.0.0.1", port), timeout=READ_S) as look:
        look.sendall(b"GET / HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n")
        with look.makefile("rb") as answer:
            assert answer.readline().startswith(b"HTTP/1.1 200")
            answer.read()
    with (
        socket.create_connection(("127.0.0.1", port), timeout=READ_S) as phone,
        phone.makefile("rb") as lines,
    ):
        phone.sendall(b"GET /events HTTP/1.1\r\nHost: localhost\r\n\r\n")
        yield iter(lines)


def resident_mb(process: int) -> float:
    """What a process has in memory."""
    pages = int(Path(f"/proc/{process}/statm").read_text(encoding="ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def with_phones(folder: Path) -> Watching:
    """A stepped bench with a page beside it, unwatched and then watched."""
    with at_the_tank(folder, control=True) as at:
        at.passes(TO_A_DOSE)
        with page_process(at.service.folder) as (process, port):
            alone_s = _passes_s(at)
            with watched(port):
                beside_s = _passes_s(at)
                return Watching(resident_mb(process), beside_s / alone_s)


def _passes_s(at: AtTheTank) -> float:
    """Processor time that the loop's own thread takes for many passes."""
    begun_s = time.thread_time()
    at.passes(PASSES)
    return time.thread_time() - begun_s
