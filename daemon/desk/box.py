"""What is told of the box and its settings to whoever looks. Nothing is changed by it."""

from __future__ import annotations

import platform
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from daemon.desk.asked import Nothing
from daemon.desk.requests import Request
from daemon.link.plain import plain
from daemon.readiness import barriers, seen_of_the_box
from drivers.barriers import Barrier
from drivers.box import Facts

if TYPE_CHECKING:
    from daemon.loop import Loop


@dataclass(frozen=True, slots=True)
class Box:
    """The box as the daemon sees it at `utc`.

    barriers: none on a rig whose box has none to be seen.
    settings_folder: of the file it was started with, "" for none.
    """

    utc: datetime
    utc_trusted: bool
    python: str
    kernel: str
    facts: Facts
    barriers: tuple[Barrier, ...]
    settings_folder: str = ""


def settings(_asked: Nothing, _request: Request, loop: Loop) -> Any:
    """The settings that the daemon was started with, by their keys. They hold no passwords."""
    return plain(loop.site.settings.model_dump())


def box(_asked: Nothing, _request: Request, loop: Loop) -> Any:
    """What it shows of itself, and what of it stands between a fault and a pump that runs on."""
    facts, stamp = seen_of_the_box(loop.site.settings, loop.site.folder), loop.stamp()
    judged = barriers(loop.site.settings, facts)
    system = f"{platform.system()} {platform.release()}"
    file = loop.site.settings_file
    folder = "" if file is None else str(file.absolute().parent)
    return plain(Box(stamp.utc, stamp.utc_trusted, platform.python_version(), system, facts, judged, folder))
