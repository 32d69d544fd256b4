"""From what is asked to what goes back, by the tables of views and acts. Knows nothing of sockets of HTTP.

It waits for the daemon, so it runs in a thread beside the one that serves.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from http import HTTPStatus
from importlib.resources import files
from pathlib import Path
from urllib.parse import parse_qs

from daemon.link.client import CallRefused, ClientError
from daemon.page import views
from daemon.page.acts import ACTS, Act, given
from daemon.page.checks import CHECKS
from daemon.page.frame import document
from daemon.page.glimpse import Daemon, NotAcceptedError
from daemon.page.pages import FILES, VIEWS, FileNotMadeError, Visit
from daemon.page.visitor import Visitor
from daemon.store.trend import HistoryError

HTML = "text/html; charset=utf-8"
STATIC: Mapping[str, str] = {
    "page.css": "text/css; charset=utf-8",
    "page.js": "text/javascript; charset=utf-8",
    "drop.svg": "image/svg+xml",
}
MOST_FIELDS = 32


@dataclass(frozen=True, slots=True)
class Answer:
    """What goes back for one request. headers: beside those that every answer has."""

    status: HTTPStatus
    body: bytes
    kind: str = HTML
    headers: Mapping[str, str] | None = None


class Page:
    """What one state folder's daemon and history say to a visitor."""

    def __init__(self, folder: Path, daemon: Daemon) -> None:
        self.folder, self.daemon = folder, daemon

    def look(self, path: str, asked: Mapping[str, str], visitor: Visitor) -> Answer:
        """The view of this path, one of VIEWS."""
        glimpse = None
        try:
            glimpse = self.daemon.glimpse()
            content = VIEWS[path](Visit(visitor, asked, glimpse, self.daemon, self.folder))
        except ClientError as trouble:
            body = document(path, glimpse, visitor=visitor, trouble=str(trouble))
            return Answer(HTTPStatus.SERVICE_UNAVAILABLE, body)
        return Answer(HTTPStatus.OK, document(path, glimpse, content, visitor=visitor))

    def file(self, path: str, asked: Mapping[str, str], visitor: Visitor) -> Answer:
        """The file of this path, one of FILES, to keep."""
        make, kind = FILES[path]
        try:
            text = make(Visit(visitor, asked, self.daemon.glimpse(), self.daemon, self.folder))
        except (ClientError, HistoryError, FileNotMadeError) as trouble:
            return outcome(HTTPStatus.SERVICE_UNAVAILABLE, f"{trouble}.", visitor=visitor)
        kept = {"Content-Disposition": f'attachment; filename="{path.rpartition("/")[2]}"'}
        return Answer(HTTPStatus.OK, text.encode(), kind, kept)

    def check(self, path: str, form: Mapping[str, str], visitor: Visitor) -> Answer:
        """What is found about the form of this path, one of CHECKS."""
        return Answer(
            HTTPStatus.OK, document(path, None, CHECKS[path](form, visitor, self.daemon), visitor=visitor)
        )

    def act(self, path: str, form: Mapping[str, str], visitor: Visitor) -> Answer:
        """Do what the form of this path, one of ACTS, asks for a visitor who may have it done."""
        act = ACTS[path]
        back = act.way_back(form)
        try:
            said = act.do(self.daemon, form, visitor.said)
        except KeyError as missing:
            return outcome(HTTPStatus.BAD_REQUEST, f"The form has no field {missing}.", back, visitor)
        except CallRefused as refused:
            if act.sure and isinstance(refused, NotAcceptedError):
                asked = views.asked_again(
                    visitor, path, str(refused), given(form, act.typed), button=act.sure, back=back
                )
                return Answer(HTTPStatus.CONFLICT, document("", None, asked, visitor=visitor))
            return outcome(HTTPStatus.CONFLICT, str(refused), back, visitor)
        except ValueError as wrong:
            return outcome(HTTPStatus.BAD_REQUEST, str(wrong), back, visitor)
        except ClientError as trouble:
            text = f"{trouble}. Whether it was done is not known: look again, or do it at the tank."
            return outcome(HTTPStatus.SERVICE_UNAVAILABLE, text, back, visitor)
        return _done(act, said, act.way_back(form, done=True), visitor)


def _done(act: Act, said: str, back: str, visitor: Visitor) -> Answer:
    return elsewhere(back) if act.at_once else outcome(HTTPStatus.OK, said, back, visitor)


def outcome(status: HTTPStatus, text: str, back: str = "/", visitor: Visitor | None = None) -> Answer:
    """What came of it, in a sentence, and the way on."""
    content = views.answered(text, back, done=status is HTTPStatus.OK)
    return Answer(status, document("", None, content, visitor=visitor))


def elsewhere(path: str, **headers: str) -> Answer:
    """Go on there, with a look and not with what was sent."""
    return Answer(HTTPStatus.SEE_OTHER, b"", headers={"Location": path, **headers})


def static(name: str) -> Answer:
    """A file of the page's own."""
    if name not in STATIC:
        return outcome(HTTPStatus.NOT_FOUND, "There is no such file.")
    return Answer(HTTPStatus.OK, (files("daemon.page") / "static" / name).read_bytes(), STATIC[name])


def fields(text: str) -> dict[str, str]:
    """A form or a query: the last of each name; nothing of one with too many."""
    try:
        return {key: values[-1] for key, values in parse_qs(text, max_num_fields=MOST_FIELDS).items()}
    except ValueError:
        return {}
