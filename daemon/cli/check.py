"""`evenwater check`: is a settings file right, and what would it do?"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from config.load import SettingsError, load, warnings
from config.settings import Reservoir, Settings
from daemon.cli.ask import Commands


def add_commands(commands: Commands) -> None:
    """`evenwater check`."""
    parser = commands.add_parser(
        "check",
        help="check a settings file without touching a pin",
        description="Read a settings file, say every mistake in it, and what the daemon would do with it.",
        epilog="example:\n  evenwater check config/rigs/pi-example.toml",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("settings", type=Path, help="the settings file")
    parser.set_defaults(act=check)


def check(arguments: argparse.Namespace) -> int:
    """Print complaints and exit 1, or what the file means and exit 0."""
    try:
        settings = load(arguments.settings)
    except SettingsError as trouble:
        print(trouble, file=sys.stderr)
        return 1
    for line in meaning(settings):
        print(line)
    for warning in warnings(settings):
        print(f"note: {warning}")
    print(f"{arguments.settings}: fine")
    return 0


def meaning(settings: Settings) -> list[str]:
    """What the file says, in sentences."""
    site = settings.site
    lines = [
        f"{site.name} (device {site.device_id}), a pass every {site.pass_every_s:g} s, rig {settings.rig.open}"
    ]
    for name, reservoir in settings.reservoir.items():
        lines += _reservoir(name, reservoir)
    return lines


def _reservoir(name: str, reservoir: Reservoir) -> list[str]:
    lines = [f"{reservoir.title} [{name}]: {reservoir.volume_l:g} L, starts {reservoir.start}"]
    lines += [f"  {quantity:<12}{probe.driver}" for quantity, probe in reservoir.probe.items()]
    for role, pump in reservoir.pump.items():
        caps = (pump.max_per_dose_ml, pump.max_per_hour_ml, pump.max_per_day_ml)
        if None in caps:
            lines.append(f"  {role:<12}GPIO {pump.line}: never doses, a cap is not set")
        else:
            most = f"{caps[0]:g} mL a dose, {caps[1]:g} an hour, {caps[2]:g} a day"
            lines.append(f"  {role:<12}GPIO {pump.line}: at most {most}")
    return lines
