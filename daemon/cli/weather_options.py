"""The options that say what plants feel: a lamp by its timetable, the air."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable

from daemon.cli.ask import finite
from daemon.crop.growth import Lamp
from daemon.growing import USUAL_AIR_C
from daemon.store.trend import HistoryError

USUAL_LAMP = Lamp(200.0, 6.0, 16.0)


def add_weather_options(parser: argparse.ArgumentParser) -> None:
    """--lamp, --lamp-hours, --lamp-on, --air."""
    usual = USUAL_LAMP
    parser.add_argument(
        "--lamp", type=between(1.0, 2000.0), metavar="UMOL", help="a lamp's light at the leaves, in µmol/(m² s)"
    )
    parser.add_argument(
        "--lamp-hours",
        type=between(0.5, 24.0),
        default=usual.hours,
        metavar="H",
        help=f"how long it is on a day (default {usual.hours:g})",
    )
    parser.add_argument(
        "--lamp-on",
        type=between(0.0, 23.99),
        default=usual.on_h,
        metavar="HOUR",
        help=f"when it comes on, as 6.5 for half past six (default {usual.on_h:g})",
    )
    parser.add_argument(
        "--air",
        type=between(0.0, 40.0),
        default=USUAL_AIR_C,
        metavar="C",
        help=f"the air in °C where none was measured (default {USUAL_AIR_C:g})",
    )


def lamp_of(arguments: argparse.Namespace) -> Lamp | None:
    """The lamp that the command line names, None where it names none."""
    if arguments.lamp is None:
        return None
    return Lamp(arguments.lamp, arguments.lamp_on, arguments.lamp_hours)


def between(low: float, high: float) -> Callable[[str], float]:
    """A number of an option, within these. Raises argparse's error for any other."""

    def number(text: str) -> float:
        value = finite(text)
        if not low <= value <= high:
            raise argparse.ArgumentTypeError(f"{text}: must be {low:g} to {high:g}")
        return value

    return number


def or_why(command: str, act: Callable[[], int]) -> int:
    """The exit code of `act`: 2 for what was asked wrongly (LookupError), 1 for what cannot be read."""
    try:
        return act()
    except LookupError as wrong:
        print(f"evenwater crop {command}: {wrong.args[0]}", file=sys.stderr)
        return 2
    except (HistoryError, ValueError) as trouble:
        print(f"evenwater crop {command}: {trouble}", file=sys.stderr)
        return 1
