"""`evenwater crop`: the crop from sowing to plate. One module per group of its sub-commands."""

from __future__ import annotations

import argparse
from importlib import import_module
from typing import Any

# Each adds its sub-commands by `add_crop_commands`. Heavy libraries are imported where a command acts.
MODULES = (
    *("daemon.cli.crop_plan", "daemon.cli.crop_diary", "daemon.cli.crop_walk", "daemon.cli.crop_book"),
    *("daemon.cli.crop_growth", "daemon.cli.crop_still"),
)

EPILOG = """\
examples:
  evenwater crop plan --settings config/rigs/quince-lane.toml
  evenwater crop today                          what is due, late and next, and how it is done
  evenwater crop did sow-salad-27w05            done: into the diary, with the numbers of the plan
  evenwater crop did transplanted spring-1 --heads 5 --reservoir bed1
  evenwater crop walk --where bed1              look at every plant, once a week
  evenwater crop diary
  evenwater crop grow                           what heads weigh, when to cut, what threatens
  evenwater crop still --heads 6                a reservoir without a pump: how large, how it falls
  evenwater crop book                           what became of each batch
  evenwater crop did --help                     every kind of entry, and what it takes
"""


def add_commands(commands: Any) -> None:
    """crop, and below it what its modules add."""
    about = "Plan the crop, keep its diary, and see what became of it. Needs no running daemon."
    parser = commands.add_parser(
        "crop",
        help="plan the crop, keep its diary, see what became of it",
        description=about,
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    below = parser.add_subparsers(dest="crop_command", metavar="WHAT", required=True)
    for module in MODULES:
        import_module(module).add_crop_commands(below)
