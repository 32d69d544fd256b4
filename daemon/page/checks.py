"""What can be checked from the page: a form goes in, what is found comes back, and nothing is changed by it.

To add one: a line in CHECKS, and its form by `daemon.page.views.forms.offered`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

from pydantic import TypeAdapter

from config.load import SettingsError, load_text, warnings
from daemon.desk.box import Box
from daemon.link.client import ClientError
from daemon.page import views
from daemon.page.glimpse import Daemon
from daemon.page.markup import Markup
from daemon.page.views.settings import Checked
from daemon.page.visitor import Visitor
from daemon.readiness import meaning

LARGEST_CHECK = 200_000  # bytes of the form: a text of 60,000 as browsers send it
COPY = "the copy"  # what complaints call it
NOWHERE = "the-folder-of-your-settings"
Check = Callable[[Mapping[str, str], Visitor, Daemon], Markup]


def checked(text: str, folder: Path) -> Checked:
    """What `evenwater check` says of a settings file with this text in this folder."""
    try:
        settings = load_text(text, COPY, folder)
    except SettingsError as wrong:
        return Checked(tuple(str(wrong).splitlines()))
    return Checked((), tuple(meaning(settings)), warnings(settings))


def _settings(form: Mapping[str, str], visitor: Visitor, daemon: Daemon) -> Markup:
    text = form.get("text", "")
    try:
        folder = daemon.looked_up(TypeAdapter(Box), "box").settings_folder
    except ClientError:  # a copy is checked also where a broken file keeps the daemon from starting
        folder = ""
    found = checked(text, Path(folder or NOWHERE))
    return views.checked(found, text, visitor, found_from=folder)


CHECKS: Mapping[str, Check] = {"/settings/check": _settings}
