"""`evenwater away`: before you leave for some days, what lasts, what to see to, what is not known."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from itertools import groupby
from pathlib import Path
from typing import Any, TypeVar

from pydantic import TypeAdapter, ValidationError

from config.settings import Settings
from daemon import words
from daemon.away.items import (
    ALL_ELSE,
    BEYOND,
    MOST_DAYS,
    SIGN,
    USUAL_DAYS,
    Item,
    Mark,
    days_of,
    items,
    summed,
    worst,
)
from daemon.away.seen import Ask, seen_now
from daemon.cli.ask import Commands, add_command, or_refusal
from daemon.cli.crop_settings import today
from daemon.cli.where import state_folder
from daemon.link.client import ControlClient, NoDaemon
from daemon.values import State

T = TypeVar("T")
FINE, SEE_TO_IT = 0, 1
OTHER_VERSION = "the daemon is of another version than this command: restart it after an upgrade"
EPILOG = """\
examples:
  evenwater away                     may I leave it alone for 14 days?
  evenwater away 5
  evenwater away --json | jq '.items[] | select(.mark != "lasts")'

0: all of it lasts. 1: there is something to see to, or something that is not known.
"""


def add_commands(commands: Commands) -> None:
    """`evenwater away`."""
    parser = add_command(commands, "away", "what lasts, and what does not, while you are away", EPILOG)
    for_how_long = f"for how long (default {USUAL_DAYS})"
    parser.add_argument("days", type=_days, nargs="?", default=USUAL_DAYS, metavar="DAYS", help=for_how_long)
    parser.add_argument("--json", action="store_true", help="print one JSON value for programs")
    parser.set_defaults(act=lambda arguments: or_refusal("away", lambda: away(arguments)))


def _days(text: str) -> int:
    if (days := days_of(text)) is None:
        raise argparse.ArgumentTypeError(f"{text!r}: must be a whole number of days from 1 to {MOST_DAYS}")
    return days


def away(arguments: argparse.Namespace) -> int:
    """Print it all; 1 where something is to be seen to. Raises ClientError."""
    folder = state_folder(arguments.state)
    ask = _asker(folder)
    state, settings = ask(TypeAdapter(State), "status"), ask(TypeAdapter(Settings), "settings")
    seen = seen_now(folder, state, settings, ask, today())
    found = items(seen, arguments.days)
    if arguments.json:
        whole = {"days": arguments.days, "items": [asdict(item) for item in found]}
        print(json.dumps(whole, ensure_ascii=False))
    else:
        alone = f"left alone for {words.days(arguments.days)}, until {seen.home(arguments.days)}"
        heading = f"{seen.settings.site.name}, {alone}"
        print("\n".join(lines(found, heading)))
    return FINE if worst(found) is Mark.LASTS else SEE_TO_IT


def lines(found: Sequence[Item], heading: str) -> Iterator[str]:
    """What a person reads: place by place, what is to be seen to with what to do."""
    yield heading
    for where, of in groupby(found, lambda item: item.where):
        yield ""
        yield where or ALL_ELSE
        for item in of:
            called = "" if item.mark is Mark.LASTS else f"{item.mark}: "
            yield f"  {SIGN[item.mark]} {called}{item.said}"
            if item.todo:
                yield f"      {item.todo}"
    yield ""
    yield f"{summed(found)}. {BEYOND}"


def _asker(folder: Path) -> Ask:
    """Asks the daemon of that folder. Raises ClientError, also for an answer that this program does not know."""
    client = ControlClient(folder)

    def ask(kind: TypeAdapter[T], method: str, **params: Any) -> T:
        try:
            return kind.validate_json(json.dumps(client.call(method, **params)))
        except ValidationError as other:
            raise NoDaemon(OTHER_VERSION) from other

    return ask
