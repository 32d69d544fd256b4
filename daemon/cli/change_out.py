"""`evenwater change-out`: new water for a reservoir, guided at the tank or step by step from a script."""

from __future__ import annotations

import argparse
import json
import sys

from daemon.cli.ask import Commands
from daemon.cli.where import add_state_option, state_folder
from daemon.link.client import CallRefused, ControlClient, NoDaemon

EPILOG = """\
Guided, at the tank (the daemon must be running; dosing of that reservoir pauses meanwhile):
  evenwater change-out

From a script, or a step at a time:
  evenwater change-out begin               pauses dosing and says what to do
  evenwater change-out done                new water is in and mixed: what was learned of the old is forgotten
  evenwater release                        instead of `done`: it is still the old water

Goggles and gloves for acids and bases. Switch off whatever stands in the water before you reach into it.
"""


def add_commands(commands: Commands) -> None:
    """`evenwater change-out`."""
    parser = commands.add_parser(
        "change-out",
        help="give a reservoir new water: drain, fill, mix, check",
        description="Give a reservoir new water: drain, fill, mix, check.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    add_state_option(parser)
    parser.add_argument("step", nargs="?", choices=["begin", "done"])
    parser.add_argument("--reservoir", metavar="NAME", help="which one; may be left out where there is only one")
    parser.add_argument(
        "--json", action="store_true", help="print one JSON value for programs (step by step only)"
    )
    parser.set_defaults(act=change_out)


def change_out(arguments: argparse.Namespace) -> int:
    """Run one step, or guide through all of them."""
    client = ControlClient(state_folder(arguments.state))
    named = {} if arguments.reservoir is None else {"reservoir": arguments.reservoir}
    try:
        return _one_step(client, arguments, named) if arguments.step else _guide(client, named)
    except (NoDaemon, CallRefused) as trouble:
        print(f"evenwater change-out: {trouble}", file=sys.stderr)
        return 1


def _one_step(client: ControlClient, arguments: argparse.Namespace, named: dict[str, str]) -> int:
    answer = client.call(f"change_out.{arguments.step}", **named)
    if arguments.json:
        print(json.dumps(answer, ensure_ascii=False))
        return 0
    print(answer["said"])
    for number, step in enumerate(answer.get("steps", ()), start=1):
        print(f"  {number}. {step}")
    return 0


def _guide(client: ControlClient, named: dict[str, str]) -> int:
    if not sys.stdin.isatty():
        print(
            "evenwater change-out: the guided way needs a terminal; from a script use the steps in --help",
            file=sys.stderr,
        )
        return 2
    begun = client.call("change_out.begin", **named)
    print(begun["said"])
    try:
        for number, step in enumerate(begun["steps"], start=1):
            input(f"  {number}. {step}\n     Done? Press Enter. ")
    except (KeyboardInterrupt, EOFError):
        print(
            "\nDosing stays paused. Go on with `evenwater change-out`, end with `evenwater change-out done`, or "
            "`evenwater release` if it is still the old water."
        )
        return 1
    print(client.call("change_out.done", **named)["said"])
    return 0
