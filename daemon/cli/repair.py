"""`evenwater repair`: a ledger that cannot be read is put aside and made anew, on the strict side."""

from __future__ import annotations

import argparse
import sys
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path

from config.load import SettingsError, load
from daemon.cli.ask import Commands
from daemon.dose.repair import Repaired, repair
from daemon.lock import StateLock
from daemon.values import Role

EPILOG = """\
example:
  evenwater repair /etc/evenwater/site.toml        with the daemon stopped

A ledger that can be read is left alone. Else the damaged file is kept aside, and a new ledger is made from the
newest good backup and every line that can still be read. What was dosed meanwhile is not known, so every pump is
charged with a whole day, and every reservoir is locked until a person clears it.
"""


def add_commands(commands: Commands) -> None:
    """`evenwater repair`."""
    parser = commands.add_parser(
        "repair",
        help="make a damaged ledger anew; nothing is lost, nothing is dosed for a day",
        description="Put a ledger that cannot be read aside and make it anew.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("settings", type=Path, help="the settings file of the daemon whose ledger it is")
    parser.add_argument("--state", type=Path, metavar="FOLDER", help="state folder in place of the settings' own")
    parser.set_defaults(act=act)


def act(arguments: argparse.Namespace) -> int:
    """Repair and say what was done. Exit 1 where it cannot be done, or a daemon runs."""
    try:
        settings = load(arguments.settings)
        folder = arguments.state or Path(settings.site.state_folder)
        pumps = {name: [Role(role) for role in table.pump] for name, table in settings.reservoir.items()}
        with StateLock(folder):
            done = repair(folder / "ledger.db", folder / "backup", pumps, datetime.now(UTC), version("evenwater"))
    except (SettingsError, OSError) as trouble:
        print(f"evenwater repair: {trouble}", file=sys.stderr)
        return 1
    print(f"{folder / 'ledger.db'}: can be relied on, nothing to repair" if done is None else _said(done))
    return 0


def _said(done: Repaired) -> str:
    began = (
        "no good backup was found, so it began empty" if done.backup is None else f"it began from {done.backup}"
    )
    return (
        f"{done.fault}\n"
        f"The damaged file is kept in {done.aside}.\n"
        f"A new ledger is in its place: {began}; {done.lines_saved} later doses could still be read.\n"
        "Every pump is charged with a whole day, every reservoir is locked. Look at water and bottles, start\n"
        "the daemon, then: evenwater clear, and evenwater bottle for each bottle that is full. It doses again\n"
        "after 24 h."
    )
