"""`evenwater calibrate`: probes in standards, guided at the tank or step by step from a script."""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Mapping
from typing import Any

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn

from daemon.cli import calibrate_pump
from daemon.cli.ask import Commands, finite
from daemon.cli.where import add_state_option, state_folder
from daemon.link.client import CallRefused, ControlClient, NoDaemon

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
    parser = kinds.add_parser(
        quantity,
        help=about,
        description=f"{about[0].upper()}{about[1:]}.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    add_state_option(parser)
    parser.add_argument("step", nargs="?", choices=["begin", "look", "point", "finish", "back", "cancel"])
    parser.add_argument("standard", nargs="?", help="with `point`: which buffer, as 7.00 or 4.01; EC as 1.413")
    parser.add_argument("--reservoir", metavar="NAME", help="which one; may be left out where there is only one")
    parser.add_argument(
        "--temperature-c", type=finite, help="temperature of the standard (default: the tank's probe)"
    )
    parser.add_argument(
        "--json", action="store_true", help="print one JSON value for programs (step by step only)"
    )
    parser.set_defaults(act=calibrate)


def calibrate(arguments: argparse.Namespace) -> int:
    """Run one step, or guide through all of them."""
    client = ControlClient(state_folder(arguments.state))
    asker = _Asker(client, arguments)
    try:
        return _one_step(asker, arguments) if arguments.step else _guide(asker, arguments.quantity)
    except (NoDaemon, CallRefused) as trouble:
        print(f"evenwater calibrate: {trouble}", file=sys.stderr)
        return 1


class _Asker:
    """Calls with the reservoir, quantity and temperature of this command line filled in."""

    def __init__(self, client: ControlClient, arguments: argparse.Namespace) -> None:
        self._client = client
        self._always: dict[str, Any] = {"quantity": arguments.quantity}
        if arguments.reservoir is not None:
            self._always["reservoir"] = arguments.reservoir
        self._temperature = {} if arguments.temperature_c is None else {"temperature_c": arguments.temperature_c}

    def ask(self, step: str, **params: Any) -> Mapping[str, Any]:
        answer: Mapping[str, Any] = self._client.call(f"calibrate.{step}", **self._always, **params)
        return answer

    def point(self, standard: str) -> Mapping[str, Any]:
        return self.ask("point", standard=standard, **self._temperature)


def _one_step(asker: _Asker, arguments: argparse.Namespace) -> int:
    if arguments.step == "point":
        if arguments.standard is None:
            print("evenwater calibrate: `point` needs the standard, as in: point 7.00", file=sys.stderr)
            return 2
        answer = asker.point(arguments.standard)
    else:
        answer = asker.ask(arguments.step)
    print(json.dumps(answer, ensure_ascii=False) if arguments.json else answer["said"])
    return 0 if answer.get("accepted", True) else 1


def _guide(asker: _Asker, quantity: str) -> int:
    if not sys.stdin.isatty():
        print(
            "evenwater calibrate: the guided way needs a terminal; from a script use the steps in --help",
            file=sys.stderr,
        )
        return 2
    console = Console()
    console.print(asker.ask("begin")["said"])
    try:
        kept = _guided_points(asker, quantity, console)
    except (KeyboardInterrupt, EOFError):
        console.print("\n" + str(asker.ask("cancel")["said"]))
        return 1
    if not kept:
        return 1
    console.input("\nIs the probe back in the water? Then press Enter. ")  # interrupted: it stays paused, as said
    console.print(str(asker.ask("back")["said"]))
    return 0


def _guided_points(asker: _Asker, quantity: str, console: Console) -> bool:
    """Take each usual point and finish; whether the result was kept."""
    for usual in USUAL[quantity]:
        console.print(f"\nRinse the probe, dab it dry, put it in the standard (usual: {usual}).")
        standard = console.input(f"Which standard is it in? [{usual}] ").strip() or usual
        _wait_until_settled(asker, console)
        console.print(str(asker.point(standard)["said"]))
    result = asker.ask("finish")
    console.print("\n" + str(result["said"]))
    return bool(result["accepted"])


def _wait_until_settled(asker: _Asker, console: Console) -> None:
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
