"""The page in a process of its own beside the demo, for as long as that runs."""

from __future__ import annotations

import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from daemon.page.place import PORT

END_S = 5.0  # for it to end when asked


@contextmanager
def page_beside(folder: Path) -> Iterator[str]:
    """Where the page of this state folder is, from a moment later on. Ends it at the end."""
    port = free(PORT)
    command = [sys.executable, "-m", "daemon.cli.main", "page", "--port", str(port), "--state", str(folder)]
    page = subprocess.Popen(  # in a session of its own, so that Ctrl-C reaches it through us
        command,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
    try:
        yield f"http://127.0.0.1:{port}/"
    finally:
        page.terminate()
        with suppress(subprocess.TimeoutExpired):
            page.wait(END_S)
        page.kill()
        page.wait()


def free(port: int) -> int:
    """This port of this box, or another where it is taken."""
    for wanted in (port, 0):
        with socket.socket() as probe, suppress(OSError):
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind(("127.0.0.1", wanted))
            return int(probe.getsockname()[1])
    return port
