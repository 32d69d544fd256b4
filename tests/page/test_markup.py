"""Any text is escaped unless it was made here."""

from __future__ import annotations

from html import escape
from html.parser import HTMLParser

from hypothesis import given
from hypothesis import strategies as st

from daemon.page.markup import element, joined


class Read(HTMLParser):
    """What a browser makes of it."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.names: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.text = ""
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.names.append(tag)
        self.attributes += attrs

    def handle_data(self, data: str) -> None:
        self.text += data


PRINTED = st.text(st.characters(exclude_categories=["Cc", "Cs"]), max_size=40)


@given(PRINTED, PRINTED)
def test_no_text_becomes_markup(text: str, attribute: str) -> None:
    """Neither between the tags nor in an attribute; only what stands in backticks is shown as code."""
    read = Read(element("p", text, title=attribute))
    assert (read.names[0], read.attributes) == ("p", [("title", attribute)])
    assert set(read.names[1:]) <= {"code"}
    assert read.text.replace("`", "") == text.replace("`", "")


def test_a_command_in_a_sentence_is_code_where_code_may_stand() -> None:
    """Not in a title or a choice, which hold bare text; a lonely backtick is one."""
    said = "measure pH, then `evenwater clear --measured-ph <N>`."
    assert element("p", said) == ("<p>measure pH, then <code>evenwater clear --measured-ph &lt;N&gt;</code>.</p>")
    assert element("option", said) == f"<option>{escape(said)}</option>"
    assert joined("5` of arc", "5 ` and\n6 `") == "5` of arc5 ` and\n6 `"


def test_what_was_made_here_is_kept() -> None:
    """Children, bare attributes, and those that are left out."""
    inner = element("b", "x < y")
    assert element("p", inner, class_="a", hidden=True, id=None) == '<p class="a" hidden><b>x &lt; y</b></p>'
    assert joined(inner, "&") == "<b>x &lt; y</b>&amp;"
    assert element("input", name="reason") == '<input name="reason">'
    assert element("rect", x=0.0, y=1.5) == '<rect x="0" y="1.5"></rect>'
