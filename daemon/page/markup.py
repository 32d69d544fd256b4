"""HTML and SVG, made so that any text is escaped unless it was made here. Pure."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from html import escape

_WITHOUT_END = frozenset({"input", "link", "meta"})
_BARE_TEXT = frozenset({"option", "text", "textarea", "title"})  # nothing may stand in them but text
_COMMAND = re.compile(r"`([^`\n]+)`")


class Markup(str):
    """Text that is HTML already."""

    __slots__ = ()


def element(name: str, /, *children: str, **attributes: str | float | bool | None) -> Markup:
    """`<name …>children</name>`. A child that is no Markup is escaped, and so is each attribute.

    What stands in backticks, as commands do in the program's sentences, is shown as code where code may stand.

    An attribute `aria_label` is written aria-label, `class_` class; None and False leave it out, True writes the
    bare name.
    """
    head = name + "".join(
        _attribute(key.rstrip("_").replace("_", "-"), of)
        for key, of in attributes.items()
        if of is not None and of is not False
    )
    if name in _WITHOUT_END:
        return Markup(f"<{head}>")
    return Markup(f"<{head}>{_made(children, escape if name in _BARE_TEXT else _worded)}</{name}>")


def joined(*children: str) -> Markup:
    """One after the other; those that are no Markup escaped, with their commands as code."""
    return Markup(_made(children, _worded))


def _made(children: Iterable[str], of_text: Callable[[str], str]) -> str:
    return "".join(child if isinstance(child, Markup) else of_text(child) for child in children)


def _worded(text: str) -> str:
    return _COMMAND.sub(r"<code>\1</code>", escape(text))


def _attribute(key: str, of: str | float | bool | None) -> str:
    if of is True:
        return f" {key}"
    text = f"{of:.5g}" if isinstance(of, float) else str(of)
    return f' {key}="{escape(text)}"'
