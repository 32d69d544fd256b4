"""`evenwater calibrate`: probes in standards, guided at the tank or step by step from a script."""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Mapping
from typing import Any

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn

from daemon.cli import calibrate_pump
from daemon.cli.ask import Commands, add_command, finite
from daemon.cli.steps import Asker, add_steps, step_or_guide, told

USUAL = {"ph": ("7.00", "4.01"), "ec": ("1.413",)}
PATIENCE_S = 600.0
LOOK_EVERY_S = 0.5

EPILOG = """\
Guided, at the tank (the daemon must be running; dosing of that reservoir pauses meanwhile):
  evenwater calibrate ph

From a script, one step at a time:
  evenwater calibrate ph begin
  evenwater calibrate ph point 7.00        when the probe has stood in that buffer for a minute
  evenwater calibrate ph point 4.01
  evenwater calibrate ph finish            keeps the old calibration if the new one is not right
  evenwater calibrate ph back              when the probe is in the water again: dosing goes on
  evenwater calibrate ph cancel            leaves everything as it was; then: evenwater release

Use fresh buffer, rinse the probe between bottles, never pour used buffer back. Buffers and probe
should be near the water's temperature. On the simulated bench, dip the probe with
  python -m sim_hw dip ph 7.00    and put it back with    python -m sim_hw back ph
"""


def add_commands(commands: Commands) -> None:
    """`evenwater calibrate`."""
    parser = commands.add_parser(
        "calibrate",
        help="calibrate a probe in standards, or a pump with a cylinder",
        description="Calibrate a probe (pH in two buffers, EC in one standard), or a pump's mL per second.",
        epilog="examples:\n  evenwater calibrate ph --help\n  evenwater calibrate ph\n"
        "  evenwater calibrate pump ph_down",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    kinds = parser.add_subparsers(dest="quantity", metavar="ph, ec or pump", required=True)
    for quantity in sorted(USUAL):
        _add_probe(kinds, quantity)
    calibrate_pump.add_pump(kinds)


def _add_probe(kinds: Commands, quantity: str) -> None:
    about = f"calibrate the {quantity} probe in {', '.join(USUAL[quantity])}"
    parser = add_command(kinds, quantity, about, EPILOG)
    add_steps(parser, ("begin", "look", "point", "finish", "back", "cancel"))
    parser.add_argument("standard", nargs="?", help="with `point`: which buffer, as 7.00 or 4.01; EC as 1.413")
    parser.add_argument(
        "--temperature-c", type=finite, help="temperature of the standard (default: the tank's probe)"
    )
    parser.set_defaults(act=calibrate)


def calibrate(arguments: argparse.Namespace) -> int:
    """Run one step, or guide through all of them."""
    asker = Asker(arguments, "calibrate", quantity=arguments.quantity)
    return step_or_guide(
        "calibrate",
        arguments,
        lambda: _one_step(asker, arguments),
        lambda: _guide(asker, arguments),
    )


def _point(asker: Asker, arguments: argparse.Namespace, standard: str) -> Mapping[str, Any]:
    known = {} if arguments.temperature_c is None else {"temperature_c": arguments.temperature_c}
    return asker.ask("point", standard=standard, **known)


def _one_step(asker: Asker, arguments: argparse.Namespace) -> int:
    if arguments.step == "point":
        if arguments.standard is None:
            print("evenwater calibrate: `point` needs the standard, as in: point 7.00", file=sys.stderr)
            return 2
        return told(_point(asker, arguments, arguments.standard), arguments)
    return told(asker.ask(arguments.step), arguments)


def _guide(asker: Asker, arguments: argparse.Namespace) -> int:
    console = Console()
    console.print(asker.ask("begin")["said"])
    try:
        kept = _guided_points(asker, arguments, console)
    except (KeyboardInterrupt, EOFError):
        console.print("\n" + str(asker.ask("cancel")["said"]))
        return 1
    if not kept:
        return 1
    console.input("\nIs the probe back in the water? Then press Enter. ")  # interrupted: it stays paused, as said
    console.print(str(asker.ask("back")["said"]))
    return 0


def _guided_points(asker: Asker, arguments: argparse.Namespace, console: Console) -> bool:
    """Take each usual point and finish; whether the result was kept."""
    for usual in USUAL[arguments.quantity]:
        console.print(f"\nRinse the probe, dab it dry, put it in the standard (usual: {usual}).")
        standard = console.input(f"Which standard is it in? [{usual}] ").strip() or usual
        _wait_until_settled(asker, console)
        console.print(str(_point(asker, arguments, standard)["said"]))
    result = asker.ask("finish")
    console.print("\n" + str(result["said"]))
    return bool(result["accepted"])


def _wait_until_settled(asker: Asker, console: Console) -> None:
    """Show the signal coming to rest. Gives up after ten minutes, leaving it to `point` to refuse."""
    columns = (TextColumn("waiting for the reading to settle"), BarColumn(), TextColumn("{task.fields[now]}"))
    asker.ask("look", afresh=True)
    deadline = time.monotonic() + PATIENCE_S
    with Progress(*columns, console=console, transient=True) as progress:
        task = progress.add_task("", total=1.0, now="")
        while time.monotonic() < deadline:
            look = asker.ask("look")
            progress.update(task, completed=look["share_settled"], now=look["said"])
            if look["settled"]:
                return
            time.sleep(LOOK_EVERY_S)
