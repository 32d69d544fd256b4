"""Doses: what each pump has used of its caps, and the newest lines of the ledger with their reasons. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from daemon import words
from daemon.page.chart import bar
from daemon.page.markup import Markup, element, joined
from daemon.page.views.by_hand import by_hand
from daemon.page.views.measuring import to_measuring
from daemon.page.views.new_water import to_new_water
from daemon.page.views.priming import priming
from daemon.page.visitor import Visitor
from daemon.values import CapUse, Entry, ReservoirState, Role, State


def doses(state: State, entries: Sequence[Entry], visitor: Visitor, asked: Mapping[str, str]) -> Markup:
    """What each pump has used of its caps, ways to tell what hands did, and the newest lines of the ledger.

    asked: what of a form that was sent stands in it still.
    """
    among = len(state.reservoirs)
    titles = {name: of.title for name, of in state.reservoirs.items()}
    lines = [
        element(
            "li",
            element("time", f"{entry.utc:%d %b %H:%M:%S}", datetime=f"{entry.utc:%Y-%m-%dT%H:%M:%SZ}"),
            f" {titles.get(entry.reservoir, entry.reservoir)}: {words.entry(entry)}",
        )
        for entry in entries
    ]
    return joined(
        element("h1", "Doses"),
        *(
            _caps(
                of,
                priming(of, visitor, among, asked),
                by_hand(of, visitor, among, asked),
                element("p", to_measuring(of, f"Measure a pump of {of.title}")) if of.pumps else Markup(""),
                element("p", to_new_water(of, f"New water for {of.title}, step by step")),
            )
            for of in state.reservoirs.values()
        ),
        element("h2", f"The last {len(lines)}, newest first" if lines else "No dose yet"),
        element("ol", *lines, class_="ledger", reversed=True),
    )


def _caps(of: ReservoirState, *below: Markup) -> Markup:
    pumps = [element("li", *_cap(role, use)) for role, use in of.caps.items()]
    return element("section", element("h2", f"Caps of {of.title}"), element("ul", *pumps, class_="caps"), *below)


def _cap(role: Role, use: CapUse) -> Iterator[Markup]:
    yield element("strong", words.ROLE[role])
    for span, used, cap in (
        ("last hour", use.last_hour_ml, use.max_per_hour_ml),
        ("last 24 h", use.last_day_ml, use.max_per_day_ml),
    ):
        yield element("span", f"{span} {used:.1f} of {cap:g} mL")
        yield bar(used, cap)
    yield element("span", f"{use.bottle_left_ml:.0f} mL left in the bottle")
