"""HTML and SVG, made so that any text is escaped unless it was made here. Pure."""

from __future__ import annotations

from html import escape

_WITHOUT_END = frozenset({"input", "link", "meta"})


class Markup(str):
    """Text that is HTML already."""

    __slots__ = ()


def element(name: str, /, *children: str, **attributes: str | float | bool | None) -> Markup:
    """`<name …>children</name>`. A child that is no Markup is escaped, and so is each attribute.

    An attribute `aria_label` is written aria-label, `class_` class; None and False leave it out, True writes the
    bare name.
    """
    head = name + "".join(
        _attribute(key.rstrip("_").replace("_", "-"), of)
        for key, of in attributes.items()
        if of is not None and of is not False
    )
    return Markup(f"<{head}>" if name in _WITHOUT_END else f"<{head}>{joined(*children)}</{name}>")


def joined(*children: str) -> Markup:
    """One after the other; those that are no Markup escaped."""
    return Markup("".join(child if isinstance(child, Markup) else escape(child) for child in children))


def _attribute(key: str, of: str | float | bool | None) -> str:
    if of is True:
        return f" {key}"
    text = f"{of:.5g}" if isinstance(of, float) else str(of)
    return f' {key}="{escape(text)}"'
