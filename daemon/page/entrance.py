"""Where the password is asked for. Pure."""

from __future__ import annotations

from daemon.page.markup import Markup, element, joined
from daemon.page.views.forms import password_field


def login(to: str, said: str = "") -> Markup:
    """The form. to: the view to go on with; said: why it is shown again."""
    return joined(
        element("h1", "Log in"),
        element("div", element("p", said), role="alert") if said else "",
        element(
            "form",
            element("input", type="hidden", name="to", value=to),
            password_field("password", "Password of this page"),
            element("button", "Log in"),
            method="post",
            action="/login",
        ),
        element("p", "It is set at the tank: ", element("code", "evenwater page --set-password")),
    )


def waiting(wait_s: float) -> str:
    """That a password was wrong, and from when the next may be tried."""
    if not wait_s > 0.0:
        return "That is not the password."
    seconds = max(1, round(wait_s + 0.5))
    span = f"{seconds} s" if seconds < 120 else f"{round(seconds / 60 + 0.5)} min"
    return f"Wrong passwords were typed too often: try again in {span}."
