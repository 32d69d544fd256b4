"""What has been written is made to outlast a power cut."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path


def sync(path: Path) -> None:
    """Have the kernel put this file, or this folder's list of names, on the disk. Raises OSError."""
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def write_whole(path: Path, text: str) -> None:
    """Put this text in the file's place, whole and on the disk. Raises OSError; then what stood there stays."""
    new = path.with_name(path.name + ".new")
    try:
        new.write_text(text, encoding="utf-8")
        sync(new)
        os.replace(new, path)
        sync(path.parent)
    except OSError:
        with suppress(OSError):
            new.unlink(missing_ok=True)
        raise
