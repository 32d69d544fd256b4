"""What can be checked from the page: a form goes in, what is found comes back, and nothing is changed by it.

To add one: a line in CHECKS, and its form by `daemon.page.views.forms.offered`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from config.load import SettingsError, load_text, warnings
from daemon.page import views
from daemon.page.markup import Markup
from daemon.page.views.settings import Checked
from daemon.page.visitor import Visitor
from daemon.readiness import meaning

LARGEST_CHECK = 200_000  # bytes of the form: a text of 60,000 as browsers send it
COPY = "the copy"  # what complaints call it
Check = Callable[[Mapping[str, str], Visitor], Markup]


def checked(text: str) -> Checked:
    """What `evenwater check` says of a settings file with this text."""
    try:
        settings = load_text(text, COPY)
    except SettingsError as wrong:
        return Checked(tuple(str(wrong).splitlines()))
    return Checked((), tuple(meaning(settings)), warnings(settings))


def _settings(form: Mapping[str, str], visitor: Visitor) -> Markup:
    text = form.get("text", "")
    return views.checked(checked(text), text, visitor)


CHECKS: Mapping[str, Check] = {"/settings/check": _settings}
