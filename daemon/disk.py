"""What has been written is made to outlast a power cut."""

from __future__ import annotations

import os
from pathlib import Path


def sync(path: Path) -> None:
    """Have the kernel put this file, or this folder's list of names, on the disk. Raises OSError."""
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
