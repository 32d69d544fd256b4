"""Each path that shows something, and what it is made of. To add one: a line in VIEWS, and its title in frame."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

from daemon.page import views
from daemon.page.chart import Line
from daemon.page.glimpse import Daemon, Glimpse
from daemon.page.markup import Markup, element
from daemon.page.visitor import Visitor
from daemon.store.minutes import MINUTE_S
from daemon.store.trend import HistoryError, Trends, opened
from daemon.values import Quantity, State

DOSES_SHOWN = 50
POINTS, ROWS = 320, 8  # of a line, and of its table
MOST_LOOKED_BACK = 1000  # lines of the ledger, for marks in the trend
RECENT = timedelta(days=7)  # alarms that began and ended since are listed


@dataclass(frozen=True, slots=True)
class Visit:
    """One look by one visitor: what a view may use. asked: the query, the last of each name."""

    visitor: Visitor
    asked: Mapping[str, str]
    glimpse: Glimpse
    daemon: Daemon
    folder: Path

    @property
    def state(self) -> State:
        """The snapshot."""
        return self.glimpse.state


View = Callable[[Visit], Markup]
"""Raises ClientError where the daemon cannot be asked."""


def _now(visit: Visit) -> Markup:
    return views.now(visit.state, visit.visitor)


def _doses(visit: Visit) -> Markup:
    return views.doses(visit.state, visit.daemon.doses(DOSES_SHOWN))


def _alarms(visit: Visit) -> Markup:
    state = visit.state
    try:
        with opened(visit.folder) as trends:
            events = trends.events(state.utc - RECENT, state.utc + timedelta(seconds=1))
    except HistoryError:
        events = ()
    return views.alarms(state, [event for event in events if event.key], visit.visitor)


def _trend(visit: Visit) -> Markup:
    titles = {name: of.title for name, of in visit.state.reservoirs.items()}
    chosen = visit.asked["of"] if visit.asked.get("of") in titles else next(iter(titles), "")
    span = visit.asked["span"] if visit.asked.get("span") in views.SPANS else "day"
    try:
        with opened(visit.folder) as trends:
            stretches = _stretches(trends, visit, chosen, views.SPANS[span])
    except HistoryError as trouble:
        return element("p", f"{trouble}.")
    return views.trend(titles, chosen, span, stretches)


def _stretches(trends: Trends, visit: Visit, chosen: str, days: int) -> list[views.Stretch]:
    state = visit.state
    begin, end = state.utc - timedelta(days=days), state.utc
    alarms = [
        event.at for event in trends.events(begin, end) if event.what == "raised" and event.reservoir == chosen
    ]
    doses = [
        dose.utc
        for dose in visit.daemon.doses(MOST_LOOKED_BACK)
        if dose.reservoir == chosen and begin <= dose.utc <= end
    ]
    made = []
    for reservoir, name in trends.series():
        if reservoir == chosen and name in set(Quantity):
            quantity = Quantity(name)
            line = Line(
                quantity,
                trends.buckets((reservoir, name), begin, end, POINTS),
                begin,
                end,
                max(timedelta(seconds=MINUTE_S), (end - begin) / POINTS),
                state.reservoirs[chosen].bands.get(quantity),
                doses,
                alarms,
            )
            made.append(views.Stretch(line, trends.buckets((reservoir, name), begin, end, ROWS)))
    return made


VIEWS: Mapping[str, View] = {"/": _now, "/trend": _trend, "/doses": _doses, "/alarms": _alarms}
