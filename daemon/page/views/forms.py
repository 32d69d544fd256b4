"""Forms, for whom they are offered. A guest gets none; what may make it dose asks for the password. Pure."""

from __future__ import annotations

from collections.abc import Mapping

from daemon.page.markup import Markup, element, joined
from daemon.page.visitor import Visitor

LONGEST = 200  # characters of a password


def offered(
    visitor: Visitor, action: str, *content: str, button: str, raises: bool = False, **hidden: str
) -> Markup:
    """A form that posts to `action`, with this visitor's token; nothing for whom it is not offered.

    content: fields and text before the button. raises: it may make it dose. hidden: fields that are not shown.
    """
    if not (visitor.may_raise if raises else visitor.may_act):
        return Markup("")
    carried = {"token": visitor.token, **hidden}
    fields = [element("input", type="hidden", name=key, value=of) for key, of in carried.items()]
    again = [password_field("-".join(("again", action.strip("/"), *hidden.values())))] if raises else []
    return element("form", *fields, *content, *again, element("button", button), method="post", action=action)


def field(name: str, label: str, identity: str, **attributes: str | float | bool | None) -> Markup:
    """A field with its label. identity: of this field on its page, the same at the next look."""
    of = {"autocomplete": "off", **attributes}
    typed = element("input", id=identity, name=name, **of)
    return element("div", element("label", label, for_=identity), typed, class_="field")


def choice(name: str, label: str, options: Mapping[str, str], identity: str, chosen: str = "") -> Markup:
    """One of some, with its label. options: what is to be read, by what is sent."""
    each = [
        element("option", text, value=value, id=f"{identity}-{place}", selected=value == chosen)
        for place, (value, text) in enumerate(options.items())
    ]
    offered_ones = element("select", *each, id=identity, name=name)
    return element("div", element("label", label, for_=identity), offered_ones, class_="field")


def ticked(name: str, text: str) -> Markup:
    """A box to tick before the form can be sent: somebody's word for it."""
    box = element("input", type="checkbox", name=name, value="yes", required=True)
    return element("label", box, f" {text}", class_="check")


def password_field(identity: str, label: str = "Password, once more") -> Markup:
    """Where the password is typed."""
    kind = {"type": "password", "autocomplete": "current-password"}
    return field("password", label, identity, required=True, maxlength=LONGEST, **kind)


def folded(summary_text: str, identity: str, form: Markup) -> Markup:
    """A form that is opened on purpose; nothing where it is not offered."""
    return element("details", element("summary", summary_text), form, id=identity) if form else Markup("")


def answered(text: str, back: str, *, done: bool) -> Markup:
    """What came of something asked for, and the way back."""
    return joined(
        element("h1", "Done" if done else "Not done"),
        element("p", text),
        element("p", element("a", "Back", href=back)),
    )
