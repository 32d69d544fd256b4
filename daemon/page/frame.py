"""What surrounds every view: where one is, how old it is, and what to do when nobody answers. Pure."""

from __future__ import annotations

from collections.abc import Mapping

from daemon import words
from daemon.page.glimpse import Glimpse
from daemon.page.markup import Markup, element, joined
from daemon.page.visitor import Rank, Visitor
from daemon.values import Alarm

VIEWS: Mapping[str, str] = {
    "/": "Now",
    "/trend": "Trend",
    "/doses": "Doses",
    "/alarms": "Alarms",
    "/crop": "Crop",
    "/calibrate": "Calibrate",
    "/rig": "Rig",
    "/settings": "Settings",
}
BELOW: Mapping[str, tuple[str, str]] = {
    "/doses/water": ("/doses", "New water"),
    "/doses/measure": ("/doses", "Measure a pump"),
    "/crop/mix": ("/crop", "Mixing"),
    "/crop/growth": ("/crop", "Growth and harvest"),
    "/rig/away": ("/rig", "Left alone"),
}
"""Views that another one leads to: which, and their titles."""
RENEW_S: Mapping[str, int] = {
    "/": 5,
    "/trend": 60,
    "/doses": 30,
    "/doses/water": 5,
    "/alarms": 5,
    "/calibrate": 2,
    "/crop": 60,
    "/rig": 30,
}
"""At most so often a view is renewed when there is something new; a view that is not named stays as it is."""
NOBODY_THERE = (
    "What stands here is not how things are now.",
    "Go to the tank and measure by hand. If a pump runs that should not, pull its plug.",
    "On the box, see whether the daemon runs: systemctl status evenwater; what it said last: "
    "journalctl -u evenwater -n 50",
)


def document(
    path: str, glimpse: Glimpse | None, *content: str, visitor: Visitor | None = None, trouble: str = ""
) -> bytes:
    """A whole page.

    visitor: None for who was not let in yet. trouble: why there is no snapshot, or what else to tell above all.
    """
    above, title = BELOW.get(path, (path, VIEWS.get(path, "Answer")))
    head = element(
        "head",
        element("meta", charset="utf-8"),
        element("meta", name="viewport", content="width=device-width, initial-scale=1"),
        element("meta", name="color-scheme", content="light dark"),
        element("title", f"{title} · Evenwater"),
        element("link", rel="stylesheet", href="/static/page.css"),
        element("link", rel="icon", href="/static/drop.svg"),
        element("script", src="/static/page.js", defer=True),
    )
    body = element(
        "body",
        element("a", "To the content", href="#what", class_="skip"),
        _top(above, visitor),
        element("div", _standing(glimpse, trouble), id="standing"),
        element("main", *content, id="what", tabindex=-1),
        _foot(glimpse),
        data_renew_s=RENEW_S.get(path) if visitor else None,
    )
    return b"<!doctype html>" + element("html", head, body, lang="en").encode()


def _top(path: str, visitor: Visitor | None) -> Markup:
    links = [
        element("a", name, href=to, aria_current="page" if to == path else None) for to, name in VIEWS.items()
    ]
    parts = [element("p", "Evenwater", class_="name")]
    if visitor is not None:
        parts += [element("nav", *links, aria_label="Views"), _way_out(visitor)]
    return element("header", *parts)


def _way_out(visitor: Visitor) -> Markup:
    """Who is logged in, and the way out; nothing where no password is set."""
    if visitor.rank is Rank.OPEN:
        return Markup("")
    token = element("input", type="hidden", name="token", value=visitor.token)
    as_whom = "Log out (guest)" if visitor.rank is Rank.GUEST else "Log out"
    return element("form", token, element("button", as_whom), method="post", action="/logout", class_="out")


def _standing(glimpse: Glimpse | None, trouble: str) -> Markup:
    """How old the view is, which alarms call, and trouble."""
    parts: list[str] = []
    if trouble:
        parts.append(nobody(trouble))
    if glimpse is not None:
        parts.append(_age(glimpse))
        if glimpse.old:
            parts.append(nobody("the daemon has not finished a pass for longer than it should"))
        parts.append(element("p", call(glimpse.state.alarms), id="call", role="status"))
    return joined(*parts)


def nobody(why: str) -> Markup:
    """Why nothing here may be believed, and what to do."""
    steps = [element("li", step) for step in NOBODY_THERE]
    return element("div", element("p", element("strong", f"✕ {why}.")), element("ul", *steps), role="alert")


def _age(glimpse: Glimpse) -> Markup:
    seconds = round(glimpse.age_s)
    return element(
        "p",
        f"As of {glimpse.state.utc:%d %b %H:%M:%S} UTC, ",
        element("span", words.ago(seconds), id="age", data_age_s=seconds),
        ". ",
        element("a", "Look again", href=""),
        class_="age",
    )


def call(alarms: tuple[Alarm, ...]) -> Markup:
    """How many alarms nobody has acknowledged yet, with the way to them."""
    calling = [alarm for alarm in alarms if alarm.unheard]
    if not calling:
        there = f"{len(alarms)} known, none new" if alarms else "none"
        return joined(f"✓ Alarms: {there}.")
    many = "1 alarm calls" if len(calling) == 1 else f"{len(calling)} alarms call"
    return joined("! ", element("a", f"{many} for you", href="/alarms"), ".")


def _foot(glimpse: Glimpse | None) -> Markup:
    still = element("noscript", element("p", "Without scripts this page does not renew itself."))
    told = [element("p", "All times are UTC."), still]
    if glimpse is not None:
        state = glimpse.state
        told.append(element("p", f"Evenwater {state.version}, pass {state.passes}, rig {state.rig}"))
        told += [element("p", f"Note: {note}") for note in state.notes]
    return element("footer", *told)
