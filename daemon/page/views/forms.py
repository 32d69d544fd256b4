"""What the views share where something is asked for, and answered. Pure."""

from __future__ import annotations

from daemon.page.markup import Markup, element, joined


def hidden(token: str, **fields: str) -> list[Markup]:
    return [element("input", type="hidden", name=key, value=of) for key, of in {"token": token, **fields}.items()]


def answered(text: str, back: str, *, done: bool) -> Markup:
    """What came of something asked for, and the way back."""
    return joined(
        element("h1", "Done" if done else "Not done"),
        element("p", text),
        element("p", element("a", "Back", href=back)),
    )
