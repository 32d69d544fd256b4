"""`evenwater run`: keep the reservoirs of a settings file."""

from __future__ import annotations

import argparse
import faulthandler
import re
import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType

from config.load import load, warnings
from daemon.cli import lines
from daemon.cli.ask import Commands
from daemon.service import CANNOT_START, Service
from daemon.values import State

SECONDS_IN = {"s": 1.0, "m": 60.0, "h": 3600.0, "d": 86400.0}
EPILOG = """\
examples:
  evenwater run /etc/evenwater/site.toml
  evenwater run config/rigs/quince-lane.toml --for 2h     ends by itself after two hours of the rig's time

The state (ledger, calibrations, control socket) is kept in the folder that [site] state_folder names.
Stop it with Ctrl-C or SIGTERM: pumps go off first.
"""


def add_commands(commands: Commands) -> None:
    """`evenwater run`."""
    parser = commands.add_parser(
        "run",
        help="keep the reservoirs of a settings file",
        description="Measure, correct and tell, until stopped.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument(
        "settings", type=Path, help="the settings file; `evenwater check` says whether it is right"
    )
    parser.add_argument(
        "--for", dest="for_s", type=seconds, metavar="TIME", help="end after this much rig time: 14d, 2h"
    )
    parser.add_argument("--state", type=Path, metavar="FOLDER", help="state folder in place of the settings' own")
    parser.set_defaults(act=run)


def seconds(text: str) -> float:
    """`14d`, `2.5h`, `90m`, `30s` in seconds. Raises argparse's error for anything else."""
    match = re.fullmatch(r"(\d+(?:\.\d+)?)([smhd])", text)
    if match is None or not float(match[1]) > 0.0:
        raise argparse.ArgumentTypeError(f"{text!r}: must be a number above 0 with s, m, h or d, as in 14d")
    return float(match[1]) * SECONDS_IN[match[2]]


def run(arguments: argparse.Namespace) -> int:
    """Run until stopped. Exit 1 with the reason and the next step when it cannot start."""
    faulthandler.enable()
    log = _Log()
    try:
        settings = load(arguments.settings)
        for warning in warnings(settings):
            print(f"note: {warning}", file=sys.stderr, flush=True)
        with (
            Service(
                settings, state_folder=arguments.state, watch=log.see, settings_file=arguments.settings
            ) as service,
            stopping_at_signals(service),
        ):
            print(f"evenwater: keeping {', '.join(settings.reservoir)}; state in {service.folder}", flush=True)
            service.run(arguments.for_s)
    except BrokenPipeError:
        raise
    except CANNOT_START as trouble:
        print(f"evenwater run: {trouble}", file=sys.stderr)
        return 1
    print("evenwater: stopped, pumps off")
    return 0


@contextmanager
def stopping_at_signals(service: Service) -> Iterator[None]:
    """While inside, Ctrl-C and SIGTERM turn the pumps off and end the loop after its pass."""

    def stop(_number: int, _frame: FrameType | None) -> None:
        service.stop()

    before = {number: signal.signal(number, stop) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


class _Log:
    """One line per change of state, to standard output: the service manager's journal keeps it."""

    def __init__(self) -> None:
        self._before: State | None = None

    def see(self, state: State) -> None:
        for line in lines.between(self._before, state):
            print(line, flush=True)
        self._before = state
