"""Forms, for whom they are offered. A guest gets none; what may make it dose asks for the password. Pure."""

from __future__ import annotations

from collections.abc import Mapping

from daemon.page.markup import Markup, element, joined
from daemon.page.visitor import Visitor

LONGEST = 200  # characters of a password
FORM = "form"  # the name by which a look is asked for with what was typed into one of its forms


def offered(
    visitor: Visitor, action: str, *content: str, button: str, raises: bool = False, **hidden: str
) -> Markup:
    """A form that posts to `action`, with this visitor's token; nothing for whom it is not offered.

    content: fields and text before the button. raises: it may make it dose. hidden: fields that are not shown.
    """
    if not (visitor.may_raise if raises else visitor.may_act):
        return Markup("")
    fields = carried({"token": visitor.token, **hidden})
    again = [password_field("-".join(("again", action.strip("/"), *hidden.values())))] if raises else []
    return element("form", *fields, *content, *again, element("button", button), method="post", action=action)


def carried(fields: Mapping[str, str]) -> list[Markup]:
    """Fields that are sent along and not shown."""
    return [element("input", type="hidden", name=name, value=of) for name, of in fields.items()]


def field(name: str, label: str, identity: str, **attributes: str | float | bool | None) -> Markup:
    """A field with its label. identity: of this field on its page, the same at the next look."""
    of = {"autocomplete": "off", **attributes}
    typed = element("input", id=identity, name=name, **of)
    return element("div", element("label", label, for_=identity), typed, class_="field")


def choice(
    name: str, label: str, options: Mapping[str, str], identity: str, chosen: str = "", *, none: str = ""
) -> Markup:
    """One of some, with its label. options: what is to be read, by what is sent.

    none: what is read until one is chosen, which then has to be; "": one of them is chosen from the beginning.
    """
    options = {"": none, **options} if none else options
    each = [
        element("option", text, value=value, id=f"{identity}-{place}", selected=value == chosen)
        for place, (value, text) in enumerate(options.items())
    ]
    offered_ones = element("select", *each, id=identity, name=name, required=bool(none))
    return element("div", element("label", label, for_=identity), offered_ones, class_="field")


def ticked(name: str, text: str) -> Markup:
    """A box to tick before the form can be sent: somebody's word for it."""
    box = element("input", type="checkbox", name=name, value="yes", required=True)
    return element("label", box, f" {text}", class_="check")


def cautions(*lines: str) -> Markup:
    """What has to be so, and what will be, before the fields. Lines that are empty are left out."""
    return element("ul", *(element("li", line) for line in lines if line))


def password_field(identity: str, label: str = "Password, once more") -> Markup:
    """Where the password is typed."""
    kind = {"type": "password", "autocomplete": "current-password"}
    return field("password", label, identity, required=True, maxlength=LONGEST, **kind)


def folded(summary_text: str, identity: str, form: Markup, *, open_: bool = False) -> Markup:
    """A form that is opened on purpose; nothing where it is not offered. open_: it is open already."""
    if not form:
        return Markup("")
    return element("details", element("summary", summary_text), form, id=identity, open=open_)


def at_the_tank(what: str, command: str) -> Markup:
    """What this visitor may have done by typing it there."""
    return element("p", f"{what}: type at the tank, as ", element("code", command), class_="tank")


def still_in(form: str, reservoir: str, asked: Mapping[str, str]) -> Mapping[str, str]:
    """What was typed into that form of that reservoir, and was not done; nothing where it was another's."""
    return asked if (asked.get(FORM), asked.get("reservoir")) == (form, reservoir) else {}


def asked_again(
    visitor: Visitor, action: str, question: str, given: Mapping[str, str], *, button: str, back: str
) -> Markup:
    """Whether something is no slip: what was given is there still, to be sent as sure or to go back to."""
    return joined(
        element("h1", "Is that right?"),
        element("p", f"{question}."),
        offered(visitor, action, *carried(given), button=button, raises=True, sure="yes"),
        element("p", element("a", "Back, to change it", href=back)),
    )


def answered(text: str, back: str, *, done: bool) -> Markup:
    """What came of something asked for, and the way back."""
    return joined(
        element("h1", "Done" if done else "Not done"),
        element("p", text),
        element("p", element("a", "Back", href=back)),
    )
