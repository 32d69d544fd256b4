"""`evenwater check`: is a settings file right, what would it do, and is the box ready for it?"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

from config.load import SettingsError, load, warnings
from daemon.cli import wiring
from daemon.cli.ask import Commands
from daemon.lock import StateLockError
from daemon.readiness import barriers, meaning, seen_of_the_box, why_not_kept
from drivers.barriers import Barrier
from drivers.rig import RigError


def add_commands(commands: Commands) -> None:
    """`evenwater check`."""
    parser = commands.add_parser(
        "check",
        help="check a settings file without touching a pin",
        description="Read a settings file, say every mistake in it, and what the daemon would do with it. On the "
        "Raspberry Pi it is for, also say what would stop a pump there if the daemon could not, and what to do. "
        "With --wiring look at every probe it names instead, while no daemon runs: who answers, what volts are "
        "there, what they would mean, and which two are exchanged.",
        epilog="examples:\n  evenwater check config/rigs/pi-example.toml\n"
        "  evenwater check --wiring config/rigs/quince-lane.toml\n\n"
        "Exit code 1 for a wrong file, and where a reservoir is to keep itself while a barrier is missing. With "
        "--wiring: 0 where all is plausible, 1 where something is not, 2 where nothing could be looked at.",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("settings", type=Path, help="the settings file")
    parser.add_argument("--wiring", action="store_true", help="look at the probes on their wires")
    parser.add_argument("--json", action="store_true", help="with --wiring: print one JSON value for programs")
    parser.set_defaults(act=check)


def check(arguments: argparse.Namespace) -> int:
    """Print complaints and exit 1, or what the file means, and on a Pi its barriers, and exit 0."""
    if arguments.wiring:
        return check_wiring(arguments)
    try:
        settings = load(arguments.settings)
    except SettingsError as trouble:
        print(trouble, file=sys.stderr)
        return 1
    for line in meaning(settings):
        print(line)
    for warning in warnings(settings):
        print(f"note: {warning}")
    seen = barriers(settings, seen_of_the_box(settings))
    for line in told(seen):
        print(line)
    if (refused := why_not_kept(settings, seen)) is not None:
        print(f"{arguments.settings}: {refused}", file=sys.stderr)
        return 1
    print(f"{arguments.settings}: fine")
    return 0


def check_wiring(arguments: argparse.Namespace) -> int:
    """Print what the wires show: 0 where all is plausible, 1 where something is not, 2 where none are seen."""
    try:
        found = wiring.look_at_wires(load(arguments.settings))
    except (SettingsError, StateLockError, RigError) as trouble:
        print(trouble, file=sys.stderr)
        return 2
    for line in [json.dumps(wiring.plain(found), ensure_ascii=False)] if arguments.json else wiring.lines(found):
        print(line)
    return 0 if found.is_fine else 1


def told(seen: tuple[Barrier, ...]) -> list[str]:
    """A line for each barrier, and below it what to do."""
    lines = ["barriers against a pump that runs on, as far as they can be seen:"] if seen else []
    for barrier in seen:
        lines.append(f"  {barrier.standing:<9}{barrier.name:<15}{barrier.seen}")
        if barrier.todo:
            lines.append(f"{'':26}do: {barrier.todo}")
    return lines
