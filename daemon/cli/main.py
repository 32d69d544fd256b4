"""`evenwater`: the command line. One module per group of commands; this one only puts them together."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from importlib import import_module
from importlib.metadata import version

FINE = 0
INTERRUPTED = 130

# Which module adds which commands. Only the one that is needed is imported: on a small board the others
# would cost seconds at each `evenwater status`, and memory in `evenwater run`.
GROUPS = {
    "daemon.cli.run": ("run",),
    "daemon.cli.demo": ("demo",),
    "daemon.cli.rehearse": ("rehearse",),
    "daemon.cli.check": ("check",),
    "daemon.cli.ask": (
        *("status", "ledger", "alarms", "ack", "shelve", "unshelve", "out-of-service", "in-service"),
        *("hold", "release", "clear", "bottle", "tube"),
    ),
    "daemon.cli.away": ("away",),
    "daemon.cli.calibrate": ("calibrate",),
    "daemon.cli.prime": ("prime",),
    "daemon.cli.poured": ("poured",),
    "daemon.cli.change_out": ("change-out",),
    "daemon.cli.export": ("export",),
    "daemon.cli.watch": ("watch",),
    "daemon.cli.notify": ("notify",),
    "daemon.cli.page": ("page",),
    "daemon.cli.repair": ("repair",),
    "daemon.cli.broker": ("broker",),
    "daemon.cli.mix": ("mix",),
    "daemon.cli.crop": ("crop",),
    "daemon.cli.report": ("report",),
}

EPILOG = """\
examples:
  evenwater demo                                    a simulated reservoir, kept before your eyes
  evenwater check config/rigs/pi-example.toml       is this settings file right?
  evenwater rehearse config/rigs/quince-lane.toml --days 14
  evenwater run /etc/evenwater/site.toml            keep the reservoirs it names
  evenwater mix config/mixes/quince-lane.toml       what to weigh for a tank of nutrient solution
  evenwater status                                  how is it going? (from another shell)
  evenwater away 14                                 may it be left alone for a fortnight?
"""


def parser(command: str = "") -> argparse.ArgumentParser:
    """The command line of one command, or the whole where `command` is none of them."""
    top = argparse.ArgumentParser(
        prog="evenwater",
        description="Keeps the nutrient reservoir of a small lettuce grower right, and says why.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    top.add_argument("--version", action="version", version=f"evenwater {version('evenwater')}")
    commands = top.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for module in _modules_for(command):
        import_module(module).add_commands(commands)
    return top


def _modules_for(command: str) -> list[str]:
    return [module for module, commands in GROUPS.items() if command in commands] or list(GROUPS)


def main(words: Sequence[str] | None = None) -> int:
    """Run one command. 0 fine, 1 the thing asked failed, 2 used wrongly."""
    given = sys.argv[1:] if words is None else list(words)
    arguments = parser(given[0] if given else "").parse_args(given)
    try:
        return int(arguments.act(arguments))
    except KeyboardInterrupt:
        return INTERRUPTED
    except BrokenPipeError:  # the reader of a pipe went away: `evenwater ledger | head`
        sys.stderr.close()
        return FINE


if __name__ == "__main__":
    sys.exit(main())
