"""`evenwater`: the command line. One module per group of commands; this one only puts them together."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from importlib.metadata import version

from daemon.cli import ask, calibrate, check, demo, rehearse, run

FINE, FAILED, MISUSED = 0, 1, 2

EPILOG = """\
examples:
  evenwater demo                                    a simulated reservoir, kept before your eyes
  evenwater check config/rigs/pi-example.toml       is this settings file right?
  evenwater rehearse config/rigs/quince-lane.toml --days 14
  evenwater run /etc/evenwater/site.toml            keep the reservoirs it names
  evenwater status                                  how is it going? (from another shell)
"""


def parser() -> argparse.ArgumentParser:
    """The whole command line."""
    top = argparse.ArgumentParser(
        prog="evenwater",
        description="Keeps the nutrient reservoir of a small lettuce grower right, and says why.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    top.add_argument("--version", action="version", version=f"evenwater {version('evenwater')}")
    commands = top.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for group in (run, demo, rehearse, check, ask, calibrate):
        group.add_commands(commands)
    return top


def main(words: Sequence[str] | None = None) -> int:
    """Run one command. 0 fine, 1 the thing asked failed, 2 used wrongly."""
    arguments = parser().parse_args(words)
    try:
        return int(arguments.act(arguments))
    except KeyboardInterrupt:
        return 130
    except BrokenPipeError:  # the reader of a pipe went away: `evenwater ledger | head`
        sys.stderr.close()
        return FINE


if __name__ == "__main__":
    sys.exit(main())
