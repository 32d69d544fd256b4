"""Which state folder a command speaks to."""

from __future__ import annotations

import argparse
import os
from pathlib import Path

CANDIDATES = (Path("var"), Path("var/demo"), Path("/var/lib/evenwater"))


def add_state_option(parser: argparse.ArgumentParser) -> None:
    """The option every command that speaks to a running daemon has."""
    parser.add_argument(
        "--state",
        type=Path,
        metavar="FOLDER",
        help="state folder of the daemon (default: $EVENWATER_STATE, else the first of "
        + ", ".join(str(folder) for folder in CANDIDATES)
        + " with a daemon in it)",
    )


def state_folder(asked: Path | None) -> Path:
    """The folder asked for, the one in $EVENWATER_STATE, or the first candidate that a daemon listens in."""
    if asked is not None:
        return asked
    if named := os.environ.get("EVENWATER_STATE"):
        return Path(named)
    for folder in CANDIDATES:
        if _may_hold_a_daemon(folder):
            return folder
    return CANDIDATES[0]


def _may_hold_a_daemon(folder: Path) -> bool:
    """Whether its socket is there. A folder closed to this user counts: the call says how to get in."""
    try:
        (folder / "control.sock").stat()
    except PermissionError:
        return True
    except OSError:
        return False
    return True
