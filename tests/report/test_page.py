"""The report as a page: by itself, escaped, well formed."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from daemon.crop.costs import Missing, Thing
from daemon.crop.costs import costs as reckoned
from daemon.report.facts import Facts
from daemon.report.page import document
from tests.report.gardens import NASTY

WITHOUT_END = {"meta"}


class Nesting(HTMLParser):
    """Every element that is opened is closed, in order; ids are once."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.ids: list[str] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """One more."""
        self.ids += [value for key, value in attrs if key == "id" and value]
        if tag not in WITHOUT_END:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        """The last one."""
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        """What is read."""
        self.text += data


def read(page: str) -> Nesting:
    """The page as a browser takes it apart."""
    parser = Nesting()
    parser.feed(page)
    assert parser.open == []
    assert len(parser.ids) == len(set(parser.ids))
    return parser


def test_the_growers_text_is_text(facts: Facts) -> None:
    """In causes, notes, walks, alarms and pauses alike: four scripts that are none."""
    page = document(facts, "")
    assert "<script" not in page
    assert read(page).text.count(NASTY) >= 4


def test_it_asks_nothing_from_elsewhere(facts: Facts) -> None:
    """And a browser is told to ask nothing, whatever is in it."""
    page = document(facts, "p { color: red; }")
    assert not re.search(r"<(script|link|img|iframe|object|form)|\b(src|action)=|https?:", page)
    assert 'content="default-src &#x27;none&#x27;; style-src &#x27;unsafe-inline&#x27;"' in page
    assert "<style>p { color: red; }</style>" in page


def test_it_tells_of_the_batch(facts: Facts) -> None:
    """Costs, stages, pictures with their words, walks, what called."""
    text = read(document(facts, "")).text
    for said in (
        "5 heads, 600 g",
        "20 mL0.18 EUR at 9.00 EUR a litre",
        "Nursery 20 days, growing 5 days.",
        "in its band 95 % of the hours that could be relied on",
        "bed1: aphids few",
        "to do: wash off",
        "2026-03-03 bed1-ph-probe: pH probe gone",
        "day 24: lost spring-1: heads 1",
    ):
        assert said in text, said


def test_several_have_a_table_of_all(facts: Facts) -> None:
    """With a way to each, what was nobody's, and the season's sums."""
    (one,) = facts.batches
    other = replace(one, record=replace(one.record, batch=replace(one.record.batch, name="spring-2")))
    page = document(replace(facts, batches=(one, other), nobodys={Thing.PH_DOWN: 7.0}), "")
    assert 'href="#spring-2"' in page
    assert "pH down 7 mL: in nobody's costs" in read(page).text
    assert "All together" not in document(facts, "")


@pytest.mark.parametrize(
    ("missing", "said"),
    [
        (Missing.NOT_MEASURED, "no top-up pump gives it, and no level tells"),
        (5.0, "name its price in [prices]"),
    ],
)
def test_what_is_not_known_is_told(facts: Facts, missing: Missing | float, said: str) -> None:
    """Never as 0.00."""
    one = replace(facts.batches[0], costs=reckoned({Thing.WATER: missing}, None, 4))
    text = read(document(replace(facts, batches=(one,)), "")).text
    assert said in text
    assert "What it cost is not known." in text
    assert "0.00" not in text


def test_an_empty_season_is_a_page_too(facts: Facts) -> None:
    """Before anything was sown."""
    read(document(replace(facts, batches=()), ""))
