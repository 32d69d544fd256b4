"""`evenwater notify`: which other ways out are set up, and a test message by each. Needs no daemon."""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path

from config.load import SettingsError, load
from config.settings import Settings
from daemon.cli.ask import Commands
from daemon.ways.addresses import Way, WaysError, read_ways, ways_in
from daemon.ways.herald import send
from daemon.ways.plan import Message

FINE, NOT_DELIVERED, NOTHING_DONE = 0, 1, 2
EPILOG = """\
examples:
  evenwater notify --settings config/site.toml                     which ways are set up? Addresses are not shown
  sudo evenwater notify --settings /etc/evenwater/site.toml --urls /etc/evenwater/notify-urls --test

An address is a secret as a whole: it stands one a line in a file of mode 0600, which the service gets as the
credential notify-urls (or [notify] urls_file names it), and never in the settings file. Which services there are,
and the form of their addresses, says the library apprise.
exit code: 0 fine; 1 a way did not take the test message; 2 nothing could be tried
"""


def add_commands(commands: Commands) -> None:
    """`evenwater notify`."""
    parser: argparse.ArgumentParser = commands.add_parser(
        "notify",
        help="other ways out for alerts besides MQTT: which are there, and a test message by each",
        description="Show the ways by which alerts go out besides MQTT ([notify] in the settings), and try them.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--settings", type=Path, required=True, metavar="FILE", help="the box's settings file")
    parser.add_argument("--urls", type=Path, metavar="FILE", help="the addresses, where they are a credential")
    parser.add_argument(
        "--test", action="store_true", help="send a test message by each, and say what came of it"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON value for programs")
    parser.set_defaults(act=notify)


@dataclass(frozen=True, slots=True)
class Tried:
    """What came of one way. delivered: None where it was not tried."""

    way: str
    delivered: bool | None = None
    said: str = ""
    took_s: float | None = None

    def __str__(self) -> str:
        if self.delivered is None:
            return self.way
        if self.delivered:
            return f"delivered by {self.way} in {self.took_s:.1f} s"
        return f"FAILED {self.way}: {self.said}"


def notify(arguments: argparse.Namespace) -> int:
    """Show or try. The exit code."""
    try:
        settings = load(arguments.settings)
        ways = ways_in(arguments.urls) if arguments.urls else read_ways(settings.notify, os.environ)
    except (SettingsError, WaysError) as trouble:
        print(f"evenwater notify: {trouble}", file=sys.stderr)
        return NOTHING_DONE
    tried = []
    for one in _tried(ways, settings) if arguments.test else (Tried(way.name) for way in ways):
        tried.append(one)
        if not arguments.json:
            print(one, flush=True)
    plain = plainly(settings, tried)
    print(json.dumps(plain, ensure_ascii=False) if arguments.json else sentence(settings))
    return NOT_DELIVERED if any(one.delivered is False for one in tried) else FINE


def _tried(ways: tuple[Way, ...], settings: Settings) -> Iterator[Tried]:
    text = "A test of the ways that alerts take besides MQTT. Nothing is wrong."
    for way in ways:
        began_s = time.monotonic()
        answer = send(way, Message(f"{settings.site.name}: a test", text))
        yield Tried(way.name, answer.delivered, answer.said, round(time.monotonic() - began_s, 1))


def plainly(settings: Settings, tried: list[Tried]) -> Mapping[str, object]:
    """The whole for programs; no address is in it."""
    chosen = settings.notify.model_dump(exclude={"urls_file"})
    return {"settings": chosen, "ways": [asdict(one) for one in tried]}


def sentence(settings: Settings) -> str:
    """What goes out by them."""
    of = settings.notify
    if not of.enabled:
        return "[notify] enabled is false: nothing goes out by them"
    extras = (("reminders", of.reminders), ("that one is over", of.ends), ("the day's summary", of.daily_summary))
    also = [word for word, on in extras if on]
    quiet = f"{of.quiet_from_hour} to {of.quiet_to_hour} h UTC {', '.join(of.quiet_priorities) or 'none'} wait"
    what = ", ".join([f"alarms of priority {' and '.join(of.priorities) or 'none'}", *also])
    return f"out go {what}; at most {of.most_per_hour} an hour and {of.most_per_day} a day; from {quiet}"
