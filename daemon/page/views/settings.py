"""Settings: the file as the daemon was started with, each key with its meaning; a changed copy checked. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from config.explain import Explained, Key
from daemon.page.markup import Markup, element, joined
from daemon.page.views.forms import offered
from daemon.page.visitor import Visitor

UNKNOWN_FOLDER = (
    "The daemon does not tell which folder its settings lie in, so files that the copy names (crops_folder, "
    "mix_file) could not be looked for; on the box: evenwater check FILE."
)
MOST_BYTES = 60_000  # of a settings file that is checked


@dataclass(frozen=True, slots=True)
class Checked:
    """What came of checking a text: complaints, or what it means and what is to be noted."""

    complaints: tuple[str, ...]
    meaning: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def settings(tables: Iterable[Explained], visitor: Visitor) -> Markup:
    """Every table, folded, with its own keys in front."""
    return joined(
        element("h1", "Settings"),
        element(
            "p",
            "As the daemon was started with. The file stays yours: it is changed by hand, on the box, and read "
            "at the next start.",
        ),
        _form(visitor, ""),
        *(_table(one, number) for number, one in enumerate(tables)),
    )


def checked(of: Checked, text: str, visitor: Visitor, *, found_from: str) -> Markup:
    """The same answers as `evenwater check`, and the text to go on with.

    found_from: the folder of the settings, "" where the daemon does not tell it.
    """
    if of.complaints:
        many = "1 thing is wrong" if len(of.complaints) == 1 else f"{len(of.complaints)} things are wrong"
        found = [element("h2", f"✕ {many}"), _list(of.complaints)]
    else:
        found = [element("h2", "✓ The file is fine"), _list(of.meaning, class_="meaning")]
        found += [element("h3", "Allowed, but worth a thought"), _list(of.notes)] if of.notes else []
    told = "Nothing was changed. What holds is the file on the box, from its next start on."
    return joined(
        element("h1", "A changed copy, checked"),
        element("section", *found, id="found"),
        element("p", told),
        element("p", f"Files that it names were looked for from {found_from}." if found_from else UNKNOWN_FOLDER),
        _form(visitor, text),
        element("p", element("a", "Back to the settings", href="/settings")),
    )


def _list(lines: Iterable[str], class_: str | None = None) -> Markup:
    return element("ul", *(element("li", line) for line in lines), class_=class_)


def _form(visitor: Visitor, text: str) -> Markup:
    form = offered(
        visitor,
        "/settings/check",
        element("label", "Its text, pasted", for_="settings-text"),
        element(
            "textarea",
            text,
            id="settings-text",
            name="text",
            rows=12,
            spellcheck="false",
            required=True,
            maxlength=MOST_BYTES,
            autocapitalize="off",
        ),
        element("label", "Or choose the file: its text is put above", for_="settings-file", class_="scripted"),
        element(
            "input",
            type="file",
            id="settings-file",
            accept=".toml,text/plain",
            data_into="settings-text",
            class_="scripted",
        ),
        button="Check it",
    )
    if not form:
        return Markup("")
    return element(
        "details", element("summary", "Check a changed copy"), form, id="check-a-copy", open=bool(text)
    )


def _table(of: Explained, number: int) -> Markup:
    own, usual = [k for k in of.keys if k.own], [k for k in of.keys if not k.own]
    parts: list[str] = [element("p", of.about)] if of.about else []
    if own:
        parts.append(element("dl", *map(_key, own)))
    if usual:
        parts += [element("h3", "As is usual, not set by you"), element("dl", *map(_key, usual))]
    count = f"{len(own)} set" if own else "all as usual"
    return element(
        "details", element("summary", element("code", of.heading), f" {count}"), *parts, id=f"table-{number}"
    )


def _key(of: Key) -> Markup:
    limits = [f"usual {of.usual}" if of.own and of.usual not in ("", "must be set", "none") else "", of.allowed]
    told = "; ".join(each for each in limits if each)
    return joined(
        element("dt", element("code", f"{of.name} = {of.value}")),
        element("dd", f"{of.meaning}{f' ({told})' if told else ''}"),
    )
