"""One daemon to a state folder."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from daemon.lock import StateLock, StateLockError


def test_the_folder_is_made_and_held(tmp_path: Path) -> None:
    """A second lock is refused at once, naming the process that holds it and what to do."""
    folder = tmp_path / "var" / "evenwater"
    with StateLock(folder):
        with pytest.raises(StateLockError, match=f"in use by process {os.getpid()}: stop that daemon first"):
            StateLock(folder)
        assert (folder / "lock").read_text() == f"{os.getpid()}\n"


def test_closing_lets_the_next_one_in(tmp_path: Path) -> None:
    """After closing, twice if need be, the folder is free again."""
    first = StateLock(tmp_path)
    first.close()
    first.close()
    StateLock(tmp_path).close()


def test_a_folder_that_cannot_be_used(tmp_path: Path) -> None:
    """A file in its place is named, with the setting to change."""
    (tmp_path / "var").write_text("")
    with pytest.raises(StateLockError, match=r"var cannot be used .*\[site\] state_folder"):
        StateLock(tmp_path / "var")


_HOLD = """
import sys, time
from pathlib import Path
from daemon.lock import StateLock
lock = StateLock(Path(sys.argv[1]))
print("held", flush=True)
time.sleep(60)
"""


def test_a_killed_process_holds_nothing(tmp_path: Path) -> None:
    """Another process keeps us out and is named; once killed outright, the folder is free."""
    with subprocess.Popen(
        [sys.executable, "-c", _HOLD, str(tmp_path)],
        stdout=subprocess.PIPE,
        text=True,
        cwd=Path(__file__).parents[1],
        env={**os.environ, "PYTHONPATH": "."},
    ) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "held\n"
        with pytest.raises(StateLockError, match=f"process {holder.pid}"):
            StateLock(tmp_path)
        holder.send_signal(signal.SIGKILL)
        holder.wait()
    StateLock(tmp_path).close()
