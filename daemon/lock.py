"""One daemon to a state folder: a lock that the kernel drops by itself when its holder dies."""

from __future__ import annotations

import fcntl
import os
from pathlib import Path
from types import TracebackType
from typing import Self

FILE_NAME = "lock"


class StateLockError(OSError):
    """The state folder cannot be had. The message says who holds it, or what is wrong with it."""


class StateLock:
    """Holds `folder` for this process from construction until `close`; the folder is made if missing.

    Raises StateLockError, naming the process that holds it, at once and without waiting.
    """

    def __init__(self, folder: Path) -> None:
        path = folder / FILE_NAME
        try:
            folder.mkdir(parents=True, exist_ok=True)
            self._file = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
        except OSError as error:
            raise StateLockError(
                f"state folder {folder} cannot be used ({error.strerror}): "
                "check that it is a folder this user may write, or set [site] state_folder"
            ) from error
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            holder = os.pread(self._file, 20, 0).decode("ascii", "replace").strip() or "unknown"
            self.close()
            raise StateLockError(
                f"state folder {folder} is in use by process {holder}: "
                "stop that daemon first, or give this one a state folder of its own"
            ) from error
        os.ftruncate(self._file, 0)
        os.pwrite(self._file, f"{os.getpid()}\n".encode(), 0)

    def close(self) -> None:
        """Let go. Twice is harmless. The file stays: removing it would let two processes in."""
        if self._file >= 0:
            os.close(self._file)
            self._file = -1

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()
