"""Each path that shows something, and what it is made of. To add one: a line in VIEWS, and its title in frame."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from importlib.metadata import version
from pathlib import Path
from typing import Any, TypeVar

from pydantic import TypeAdapter, ValidationError

from config.explain import explained
from config.settings import Settings
from config.toml_file import SettingsError
from daemon.away.items import MOST_DAYS, USUAL_DAYS, days_of, items
from daemon.away.seen import seen_now
from daemon.crop.diary_file import FILE_NAME, DiaryError, read
from daemon.crop.garden import day_of
from daemon.desk.box import Box
from daemon.desk.crop import NURSERY
from daemon.desk.reach import Reach
from daemon.link.client import CallRefused, NoDaemon
from daemon.measure.rate import RUNS
from daemon.page import views
from daemon.page.acts import amounts_of, given
from daemon.page.garden import calendar, grown
from daemon.page.glimpse import OTHER_VERSION, Daemon, Glimpse
from daemon.page.looking_back import MOST_LOOKED_BACK, Marks, marks, stretches
from daemon.page.markup import Markup, element, joined
from daemon.page.mixing import mixing
from daemon.page.views.calibrate import Going, Look, Past
from daemon.page.views.crop import Garden
from daemon.page.views.fitted import Result
from daemon.page.views.measuring import AMOUNTS, Reckoned, Timed
from daemon.page.views.trend import CSV_HEADINGS, Stretch, rows_of
from daemon.page.visitor import Visitor
from daemon.page.window import Window, WindowError, window
from daemon.store.trend import HistoryError, opened
from daemon.values import Quantity, State, VerdictReason
from daemon.words import change_out_steps

DOSES_SHOWN = 50
T = TypeVar("T")
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
    return views.doses(visit.state, visit.daemon.doses(DOSES_SHOWN), visit.visitor, visit.asked)


def _water(visit: Visit) -> Markup:
    of = visit.state.reservoirs[_chosen(visit)]
    steps = change_out_steps(_as_started(visit).reservoir[of.name])
    return views.new_water(of, steps, visit.visitor, len(visit.state.reservoirs))


def _measure(visit: Visit) -> Markup:
    of, asked = visit.state.reservoirs[_chosen(visit)], visit.asked
    role = next((role for role in of.pumps if role.value == asked.get("pump")), None)
    if role is None:
        return views.pumps_to_measure(visit.state)
    pump = {"reservoir": of.name, "pump": role.value}
    timed = visit.daemon.looked_up(TypeAdapter(Timed), "calibrate_pump.look", **pump)
    read = given(asked, AMOUNTS[: len(timed.runs)]) if asked.get("first") == timed.first else {}
    try:
        amounts_ml = amounts_of(read)
        reckoned = None
        if RUNS[0] <= len(timed.runs) == len(amounts_ml):
            told = {"measured_ml": amounts_ml, "keep": False}
            reckoned = visit.daemon.looked_up(TypeAdapter(Reckoned), "calibrate_pump.finish", **pump, **told)
    except (ValueError, CallRefused) as wrong:
        return views.measuring(of, role, visit.visitor, timed, read, trouble=f"{wrong}.")
    return views.measuring(of, role, visit.visitor, timed, read, reckoned=reckoned)


def _alarms(visit: Visit) -> Markup:
    state = visit.state
    try:
        with opened(visit.folder) as trends:
            events = trends.events(state.utc - RECENT, state.utc + timedelta(seconds=1))
    except HistoryError:
        events = ()
    return views.alarms(state, [event for event in events if event.key], visit.visitor)


def _trend(visit: Visit) -> Markup:
    asked, trouble = _window(visit)
    chosen = _chosen(visit)
    titles = {name: of.title for name, of in visit.state.reservoirs.items()}
    try:
        lines, marked = _looked_back(visit, chosen, asked)
    except HistoryError as unread:
        return element("p", f"{unread}.")
    return views.trend(titles, chosen, asked, lines, missing=marked.missing, trouble=trouble)


def _window(visit: Visit) -> tuple[Window, str]:
    """The time that is asked for; where that is none the last day, and what was wrong."""
    try:
        return window(visit.asked, visit.state.utc), ""
    except WindowError as wrong:
        return window({}, visit.state.utc), str(wrong)


def _looked_back(visit: Visit, chosen: str, asked: Window) -> tuple[list[Stretch], Marks]:
    entries = visit.daemon.doses(MOST_LOOKED_BACK)
    with opened(visit.folder) as trends:
        marked = marks(trends, entries, chosen, asked)
        return stretches(trends, visit.state.reservoirs[chosen], asked, marked), marked


def _chosen(visit: Visit) -> str:
    """The reservoir that is asked for, else the first."""
    there, asked = visit.state.reservoirs, visit.asked.get("of") or visit.asked.get("reservoir", "")
    return asked if asked in there else next(iter(there))


def _calibrate(visit: Visit) -> Markup:
    chosen = _chosen(visit)
    probe = next((of for of in Quantity if of.value == visit.asked.get("quantity")), None)
    if probe not in visit.state.reservoirs[chosen].verdicts:
        probe = None
    out = [
        of
        for of, one in visit.state.reservoirs[chosen].verdicts.items()
        if one.reason is VerdictReason.CALIBRATING
    ]
    going = next((going for of in (probe, *out) if of and (going := _going(visit, chosen, of))), None)
    shown = going.quantity if going else probe
    past = None if shown is None or going else _told(visit, Past, "history", chosen, shown)
    return views.calibrate(visit.state, chosen, visit.visitor, probe=probe, going=going, past=past)


def _going(visit: Visit, chosen: str, probe: Quantity) -> Going | None:
    """The calibration of this probe, if there is one going on."""
    try:
        look = _told(visit, Look, "look", chosen, probe)
    except CallRefused:
        return None
    result = _told(visit, Result, "result", chosen, probe) if look.points else None
    alone = probe.kind is Quantity.PH and len(look.points) == 1
    for_now = _told(visit, Result, "result", chosen, probe, stop_gap=True) if alone else None
    return Going(probe, look, result, for_now)


def _told(visit: Visit, kind: type[T], step: str, chosen: str, probe: Quantity, **how: bool) -> T:
    method = f"calibrate.{step}"
    return visit.daemon.looked_up(TypeAdapter(kind), method, reservoir=chosen, quantity=probe.value, **how)


def _rig(visit: Visit) -> Markup:
    box = visit.daemon.looked_up(TypeAdapter(Box), "box")
    ways = visit.daemon.looked_up(TypeAdapter(tuple[Reach, ...]), "reach")
    return views.rig(visit.state, _as_started(visit), box, ways, version("evenwater"))


def _away(visit: Visit) -> Markup:
    asked = visit.asked.get("days", str(USUAL_DAYS))
    days, trouble = days_of(asked), ""
    if days is None:
        days, trouble = USUAL_DAYS, f"{asked!r} is no number of days from 1 to {MOST_DAYS}"
    ask = visit.daemon.looked_up
    seen = seen_now(visit.folder, visit.state, _as_started(visit), ask, _now_here(visit).date())
    return views.away(days, seen.home(days), items(seen, days), trouble=trouble)


def _settings(visit: Visit) -> Markup:
    return views.settings(explained(_as_started(visit)), visit.visitor)


def _as_started(visit: Visit) -> Settings:
    """The settings that the daemon was started with."""
    told = visit.daemon.looked_up(TypeAdapter(dict[str, Any]), "settings")
    try:
        return Settings.model_validate_json(json.dumps(told))
    except ValidationError as other:
        raise NoDaemon(OTHER_VERSION) from other


def _crop(visit: Visit) -> Markup:
    settings = _as_started(visit)
    try:
        lines = read(visit.folder / FILE_NAME).lines
        day = day_of(settings, lines, _now_here(visit).date())
    except (DiaryError, SettingsError) as trouble:
        return _told_instead("Crop", trouble)
    return views.crop(Garden(day, lines, (*settings.reservoir, NURSERY)), visit.visitor)


def _growth(visit: Visit) -> Markup:
    try:
        lines = read(visit.folder / FILE_NAME).lines
    except DiaryError as trouble:
        return _told_instead("Growth and harvest", trouble)
    return grown(_as_started(visit), lines, visit.folder, _now_here(visit))


def _told_instead(title: str, trouble: Exception) -> Markup:
    return joined(element("h1", title), element("p", f"{trouble}."))


def _now_here(visit: Visit) -> datetime:
    """The daemon's now, in the time zone of the box."""
    return visit.state.utc.astimezone()


def _mixing(visit: Visit) -> Markup:
    return views.mixing(mixing(_as_started(visit), visit.asked))


VIEWS: Mapping[str, View] = {
    "/": _now,
    "/trend": _trend,
    "/doses": _doses,
    "/doses/water": _water,
    "/doses/measure": _measure,
    "/alarms": _alarms,
    "/crop": _crop,
    "/crop/mix": _mixing,
    "/crop/growth": _growth,
    "/calibrate": _calibrate,
    "/rig": _rig,
    "/rig/away": _away,
    "/settings": _settings,
}


def _csv(visit: Visit) -> str:
    """What the trend shows, as RFC 4180 has it."""
    asked, _ = _window(visit)
    chosen = _chosen(visit)
    lines, _ = _looked_back(visit, chosen, asked)
    text = io.StringIO()
    csv.writer(text).writerows([CSV_HEADINGS, *rows_of(chosen, lines)])
    return text.getvalue()


def _calendar(visit: Visit) -> str:
    try:
        return calendar(_as_started(visit), read(visit.folder / FILE_NAME).lines, _now_here(visit))
    except (DiaryError, SettingsError) as trouble:
        raise FileNotMadeError(str(trouble)) from trouble


class FileNotMadeError(Exception):
    """What a file is made of cannot be read; the message says what to do."""


CSV, ICS = "text/csv; charset=utf-8", "text/calendar; charset=utf-8"
FILES: Mapping[str, tuple[Callable[[Visit], str], str]] = {
    "/trend.csv": (_csv, CSV),
    "/crop/garden.ics": (_calendar, ICS),
}
"""Each path that gives a file to keep, and its kind. Raises as a view does, HistoryError and FileNotMadeError."""
