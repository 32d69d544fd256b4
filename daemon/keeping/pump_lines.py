"""The pumps' GPIO lines, written down for the stop program, which must know them when nothing of ours runs."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

from daemon.disk import sync

FILE_NAME = "pump-lines"  # systemd/pumps-off reads it in the state folder
NONE = "none"  # an empty file would look like a broken one


class PumpLinesError(OSError):
    """The lines cannot be written. The message says where, why, and what to do."""


def write_pump_lines(folder: Path, lines: Iterable[int]) -> None:
    """Have `pump-lines` in the folder name these GPIO (BCM) numbers; a power cut leaves the old file or the new.

    A file that names them already is left alone, so that a full disk does not keep a known box from starting.
    Raises PumpLinesError.
    """
    path, text = folder / FILE_NAME, _text(lines)
    try:
        if not _holds(path, text):
            _replace(path, text)
    except OSError as error:
        raise PumpLinesError(
            f"{path}: cannot be written ({error.strerror}), and without it the stop program would not know which "
            "pumps to turn off: look at the folder's owner and free space"
        ) from error


def _text(lines: Iterable[int]) -> str:
    return "# Written at each start, for the stop program.\n" + (" ".join(map(str, lines)) or NONE) + "\n"


def _holds(path: Path, text: str) -> bool:
    try:
        return path.read_bytes() == text.encode()
    except FileNotFoundError:
        return False


def _replace(path: Path, text: str) -> None:
    fresh = path.with_name(path.name + ".new")
    try:
        fresh.write_text(text, encoding="ascii")
        sync(fresh)
        fresh.replace(path)
        sync(path.parent)
    except OSError:
        with suppress(OSError):
            fresh.unlink(missing_ok=True)
        raise
