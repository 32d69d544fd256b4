"""Growth: what heads weigh, when to cut, what threatens; and the harvest book. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from daemon import words_of_growth as words
from daemon.crop.harvest_book import Record, Season
from daemon.crop.risk import Risk
from daemon.growing import Prospect, Room
from daemon.page.markup import Markup, element, joined
from daemon.report import wording

NONE_SET_OUT = joined(
    "No head stands in a reservoir. What you set out is told on Crop, or by ",
    element("code", "evenwater crop did transplanted"),
    ".",
)
NOTHING_SOWN = "Nothing was sown yet."


@dataclass(frozen=True, slots=True)
class Standing:
    """A batch that stands: its place and what is believed of it, or why nothing can be said."""

    name: str
    known: tuple[Room, Prospect] | None
    trouble: str = ""


def growth(standing: Sequence[Standing], records: Sequence[Record], of: Season) -> Markup:
    """Each batch that stands, then the book of all."""
    parts = [element("h1", "Growth and harvest"), *map(_batch, standing)]
    if not standing:
        parts.append(element("p", NONE_SET_OUT))
    back = element("p", element("a", "Back to the crop", href="/crop", class_="step"))
    return joined(*parts, element("h2", "Harvest book"), *_book(records, of), back)


def _batch(of: Standing) -> Markup:
    if of.known is None:
        return element("section", element("h2", of.name), element("p", f"{of.trouble}."))
    room, one = of.known
    facts = [joined(element("dt", label), element("dd", text)) for label, text in _joined(words.facts(room, one))]
    missing = words.not_known(sign for signs in one.unknown.values() for sign in signs)
    return element(
        "section",
        element("h2", words.prospect(one)),
        element("dl", *facts),
        element("h3", "What threatens"),
        element("ul", *map(_risk, one.risks)) if one.risks else element("p", "None seen in what was measured."),
        element("p", f"Not measured: {missing}.", class_="why") if missing else "",
        id=f"grows-{of.name}",
    )


def _joined(facts: Iterator[tuple[str, str]]) -> Iterator[tuple[str, str]]:
    """What has no name of its own goes on with what stands before it."""
    told: list[tuple[str, str]] = []
    for label, text in facts:
        if not label and told:
            told[-1] = (told[-1][0], f"{told[-1][1]}, {text}")
        else:
            told.append((label, text))
    return ((f"{label[0].upper()}{label[1:]}", text) for label, text in told)


def _risk(of: Risk) -> Markup:
    return element(
        "li",
        element("strong", f"! {words.risk(of)}"),
        element("p", words.DO[of.threat]),
        element("p", words.limits(of), class_="why"),
    )


def _book(records: Sequence[Record], of: Season) -> Iterator[Markup]:
    if not records:
        yield element("p", NOTHING_SOWN)
        return
    heads = [element("th", text, scope="col") for text in wording.HEADS]
    rows = [
        element("tr", element("th", name, scope="row"), *(element("td", cell) for cell in cells))
        for name, *cells in map(wording.row, records)
    ]
    table = element("table", element("thead", element("tr", *heads)), element("tbody", *rows))
    label = "Each batch: plants, harvest, losses"
    yield element("div", table, class_="wide", tabindex=0, role="region", aria_label=label)
    yield element("ul", *(element("li", line) for line in wording.season(of)))
