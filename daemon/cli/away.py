"""`evenwater away`: before you leave for some days, what lasts, what to see to, what is not known."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict
from datetime import timedelta
from itertools import groupby
from pathlib import Path
from typing import Any, TypeVar

from pydantic import TypeAdapter, ValidationError

from config.settings import Settings
from config.toml_file import SettingsError
from daemon.away import BOX, Item, Mark, Seen, items
from daemon.cli.ask import Commands, add_command, or_refusal
from daemon.cli.crop_settings import today
from daemon.cli.where import state_folder
from daemon.crop.diary_file import FILE_NAME, DiaryError, read
from daemon.crop.garden import day_of
from daemon.crop.tasks import Task
from daemon.desk.box import Box
from daemon.desk.reach import Reach
from daemon.link.client import ControlClient, NoDaemon
from daemon.store.trend import HistoryError, opened
from daemon.values import Entry, Quantity, State

T = TypeVar("T")
FINE, SEE_TO_IT = 0, 1
USUAL_DAYS, MOST_DAYS = 14, 60
LEVEL_DAYS = 4  # of which the mean level is compared
MOST_ENTRIES = 1000
SIGN: Mapping[Mark, str] = {Mark.LASTS: "●", Mark.SEE_TO: "✕", Mark.UNKNOWN: "◌"}
EPILOG = """\
examples:
  evenwater away                     may I leave it alone for 14 days?
  evenwater away 5
  evenwater away --json | jq '.items[] | select(.mark != "lasts")'

0: all of it lasts. 1: there is something to see to, or something that is not known.
What lasts does so by what the last week used at the most: a heat wave takes more. Somebody near should have a
key, know where the pumps' plug is, and get the alarms.
"""


def add_commands(commands: Commands) -> None:
    """`evenwater away`."""
    parser = add_command(commands, "away", "what lasts, and what does not, while you are away", EPILOG)
    for_how_long = f"for how long (default {USUAL_DAYS})"
    parser.add_argument("days", type=_days, nargs="?", default=USUAL_DAYS, metavar="DAYS", help=for_how_long)
    parser.add_argument("--json", action="store_true", help="print one JSON value for programs")
    parser.set_defaults(act=lambda arguments: or_refusal("away", lambda: away(arguments)))


def _days(text: str) -> int:
    if not (text.isascii() and text.isdigit() and 1 <= int(text) <= MOST_DAYS):
        raise argparse.ArgumentTypeError(f"{text!r}: must be a whole number of days from 1 to {MOST_DAYS}")
    return int(text)


def away(arguments: argparse.Namespace) -> int:
    """Print it all; 1 where something is to be seen to. Raises ClientError."""
    seen, trouble = _seen(state_folder(arguments.state))
    found = (*items(seen, arguments.days), *(Item(BOX, Mark.UNKNOWN, each) for each in trouble))
    if arguments.json:
        whole = {"days": arguments.days, "items": [asdict(item) for item in found]}
        print(json.dumps(whole, ensure_ascii=False))
    else:
        until = seen.today + timedelta(days=arguments.days)
        heading = f"{seen.settings.site.name}, left alone for {arguments.days} days, until {until}"
        print("\n".join(lines(found, heading)))
    return FINE if all(item.mark is Mark.LASTS for item in found) else SEE_TO_IT


def lines(found: Sequence[Item], heading: str) -> Iterator[str]:
    """What a person reads: place by place, what is to be seen to with what to do."""
    yield heading
    for where, of in groupby(found, lambda item: item.where):
        yield ""
        yield where or "The box, and all else"
        for item in of:
            called = "" if item.mark is Mark.LASTS else f"{item.mark}: "
            yield f"  {SIGN[item.mark]} {called}{item.said}"
            if item.todo:
                yield f"      {item.todo}"
    yield ""
    yield _sum(found)


def _sum(found: Sequence[Item]) -> str:
    counts = {mark: sum(item.mark is mark for item in found) for mark in Mark}
    if counts[Mark.LASTS] == len(found):
        return f"All {len(found)} last. Somebody near should have a key, and get the alarms."
    return f"{counts[Mark.SEE_TO]} to see to, {counts[Mark.UNKNOWN]} not known; {counts[Mark.LASTS]} last."


def _seen(folder: Path) -> tuple[Seen, list[str]]:
    """What the daemon tells and its folder keeps, and what of it could not be read. Raises ClientError."""
    client, trouble = ControlClient(folder), list[str]()
    state, settings = _asked(client, State, "status"), _asked(client, Settings, "settings")
    seen = Seen(
        state=state,
        settings=settings,
        entries=_asked(client, tuple[Entry, ...], "ledger", last=MOST_ENTRIES),
        ways=_asked(client, tuple[Reach, ...], "reach"),
        barriers=_asked(client, Box, "box").barriers,
        levels=_levels(folder, state, trouble),
        tasks=_tasks(folder, settings, trouble),
    )
    return seen, trouble


def _asked(client: ControlClient, kind: type[T], method: str, **params: Any) -> T:
    """The daemon's answer. Raises NoDaemon where it is none that this program understands."""
    try:
        return TypeAdapter(kind).validate_json(json.dumps(client.call(method, **params)))
    except ValidationError as other:
        raise NoDaemon(
            "the daemon is of another version than this command: restart it after an upgrade"
        ) from other


def _tasks(folder: Path, settings: Settings, trouble: list[str]) -> tuple[Task, ...]:
    try:
        return day_of(settings, read(folder / FILE_NAME).lines, today()).tasks
    except (DiaryError, SettingsError) as unread:
        trouble.append(f"what is to do in the garden is not known: {unread}")
        return ()


def _levels(folder: Path, state: State, trouble: list[str]) -> dict[str, list[float]]:
    """The mean level of each of the last days, by reservoir; of fewer where the history is younger."""
    begin = state.utc - timedelta(days=LEVEL_DAYS)
    try:
        with opened(folder) as trends:
            every = {
                name: trends.buckets((name, Quantity.LEVEL.value), begin, state.utc, LEVEL_DAYS)
                for name in state.reservoirs
            }
    except HistoryError as unread:
        trouble.append(f"how far the water falls in a day is not known: {unread}")
        return {}
    return {name: [each.mean for each in buckets] for name, buckets in every.items()}
