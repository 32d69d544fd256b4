"""`evenwater prime`: run one pump by hand, its tube's end in a cup."""

from __future__ import annotations

import argparse
import sys

from rich.console import Console

from daemon.cli.ask import Commands, add_command, asked, finite, said
from daemon.cli.steps import says_yes
from daemon.desk.priming import USUAL_ML, gear
from daemon.values import Role

EPILOG = """\
examples:
  evenwater hold "priming" && evenwater prime bed1 ph_down
  evenwater prime bed1 stock_a --ml 5
  evenwater prime bed1 ph_down --ml 2 --yes --json      from a script, its author at the tank

Hold the reservoir first. Put the tube's end into an empty cup; with acid or base wear goggles and gloves,
and keep water to rinse at hand. What runs counts against the caps and the bottle as if the tank had got it.
Follow the reagent's label and your local rules.
"""


def add_commands(commands: Commands) -> None:
    """`evenwater prime`."""
    about = "Run one pump for a few mL, its tube's end in a cup. Only while held or watching."
    parser = add_command(commands, "prime", "run a pump by hand to fill its tube", EPILOG, about)
    parser.add_argument("reservoir", help="whose pump, by the name in the settings")
    parser.add_argument("pump", choices=[role.value for role in Role])
    parser.add_argument("--ml", type=finite, default=USUAL_ML, help=f"how much (default: {USUAL_ML:g} mL)")
    parser.add_argument("--yes", action="store_true", help="do not ask: the tube's end is in a cup")
    parser.add_argument("--json", action="store_true", help="print one JSON value for programs; needs --yes")
    parser.set_defaults(act=prime)


def prime(arguments: argparse.Namespace) -> int:
    """Ask whether all is ready, then run it."""
    if not arguments.yes and (arguments.json or not sys.stdin.isatty()):
        print(
            "evenwater prime: nobody can be asked here; with the tube's end in a cup, give --yes", file=sys.stderr
        )
        return 2
    if not (arguments.yes or _is_ready(arguments)):
        print("nothing ran")
        return 1
    with Console(stderr=True).status(f"{arguments.pump}: running up to {arguments.ml:g} mL"):
        return asked(
            arguments, "prime", said, reservoir=arguments.reservoir, pump=arguments.pump, ml=arguments.ml
        )


def _is_ready(arguments: argparse.Namespace) -> bool:
    try:
        return says_yes(f"{gear(Role(arguments.pump))}Is the end of the {arguments.pump} tube in an empty cup?")
    except (EOFError, KeyboardInterrupt):
        print()
        return False
