"""`evenwater calibrate pump`: timed runs into a measuring cylinder, guided at the tank or step by step."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Mapping
from math import inf
from typing import Any

from rich.console import Console

from daemon.cli.ask import Commands, add_reservoir_option, finite, named
from daemon.cli.prime import GEAR, SHARP
from daemon.cli.where import add_state_option, state_folder
from daemon.link.client import CallRefused, ControlClient, NoDaemon
from daemon.values import Role

USUAL_RUN_S = 15.0
RUNS = 3

EPILOG = """\
Guided, at the tank (hold the reservoir first):
  evenwater hold "measuring" && evenwater calibrate pump ph_down

From a script, its author at the tank with the tube's end in a cylinder:
  evenwater calibrate pump ph_down run --run-s 15
  evenwater calibrate pump ph_down run --run-s 15
  evenwater calibrate pump ph_down finish --measured-ml 14.2 14.6 --json
  evenwater calibrate pump ph_down cancel           forgets the runs, the old rate stays

Fill the tube first (evenwater prime). Let its end hang as high as it does over the reservoir, read the cylinder
at the lower edge of the surface, empty it before the next run. Acid and base burn: goggles and gloves, water to
rinse at hand; never both in one cylinder. Follow the reagent's label and your local rules.
Runs are cut to the pump's caps and count against caps and bottle as if the tank had got them.
"""


def add_pump(kinds: Commands) -> None:
    """`evenwater calibrate pump`."""
    parser = kinds.add_parser(
        "pump",
        help="measure what a pump delivers in a second",
        description="Measure a pump's mL per second with a cylinder. Only while held or watching.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    add_state_option(parser)
    parser.add_argument("pump", choices=[role.value for role in Role])
    parser.add_argument("step", nargs="?", choices=["run", "finish", "cancel"])
    add_reservoir_option(parser)
    parser.add_argument(
        "--run-s", type=finite, default=USUAL_RUN_S, help=f"how long each run is (default: {USUAL_RUN_S:g} s)"
    )
    parser.add_argument(
        "--measured-ml", type=finite, nargs="+", default=[], metavar="ML", help="with `finish`: read of each run"
    )
    parser.add_argument(
        "--json", action="store_true", help="print one JSON value for programs (with a step only)"
    )
    parser.set_defaults(act=calibrate_pump)


def calibrate_pump(arguments: argparse.Namespace) -> int:
    """Run one step, or guide through all of them."""
    asker = _Asker(arguments)
    try:
        return _one_step(asker, arguments) if arguments.step else _guide(asker, arguments)
    except (NoDaemon, CallRefused) as trouble:
        print(f"evenwater calibrate pump: {trouble}", file=sys.stderr)
        return 1


class _Asker:
    """Calls with the reservoir and pump of this command line filled in."""

    def __init__(self, arguments: argparse.Namespace) -> None:
        self._client = ControlClient(state_folder(arguments.state))
        self._always: dict[str, Any] = {"pump": arguments.pump, **named(arguments)}

    def ask(self, step: str, **params: Any) -> Mapping[str, Any]:
        answer: Mapping[str, Any] = self._client.call(f"calibrate_pump.{step}", **self._always, **params)
        return answer


def _one_step(asker: _Asker, arguments: argparse.Namespace) -> int:
    params: dict[str, dict[str, Any]] = {
        "run": {"run_s": arguments.run_s},
        "finish": {"measured_ml": arguments.measured_ml},
        "cancel": {},
    }
    answer = asker.ask(arguments.step, **params[arguments.step])
    print(json.dumps(answer, ensure_ascii=False) if arguments.json else answer["said"])
    return 0 if answer.get("accepted", True) else 1


def _guide(asker: _Asker, arguments: argparse.Namespace) -> int:
    if arguments.json or not sys.stdin.isatty():
        print(
            "evenwater calibrate pump: the guided way needs a terminal; from a script use the steps in --help",
            file=sys.stderr,
        )
        return 2
    console = Console()
    asker.ask("cancel")  # runs that somebody left
    try:
        kept = _guided(asker, arguments, console)
    except (KeyboardInterrupt, EOFError):
        console.print()
        kept = False
    except CallRefused:
        asker.ask("cancel")
        raise
    if not kept:
        console.print(str(asker.ask("cancel")["said"]))
    return 0 if kept else 1


def _guided(asker: _Asker, arguments: argparse.Namespace, console: Console) -> bool:
    """Run, read, run, read; show; ask. Whether the new rate was kept."""
    gear = GEAR if Role(arguments.pump) in SHARP else ""
    console.print(f"{gear}The {arguments.pump} tube must be full up to its end (evenwater prime).")
    measured_ml: list[float] = []
    for number in range(1, RUNS + 1):
        if not _yes(
            console, f"Run {number} of {RUNS}: is its end in an empty measuring cylinder? Then type yes: "
        ):
            return False
        with console.status(f"{arguments.pump}: running up to {arguments.run_s:g} s"):
            ran = asker.ask("run", run_s=arguments.run_s)
        console.print(str(ran["said"]))
        measured_ml.append(_read_ml(console))
    shown = asker.ask("finish", measured_ml=measured_ml, keep=False)
    console.print(str(shown["said"]))
    if not shown["accepted"] or not _yes(console, "Dose by the new rate from now on? Then type yes: "):
        return False
    console.print(str(asker.ask("finish", measured_ml=measured_ml)["said"]))
    console.print("A pause ends with: evenwater release")
    return True


def _yes(console: Console, question: str) -> bool:
    return console.input(question).strip().lower() == "yes"


def _read_ml(console: Console) -> float:
    """The mL that a person read; asked again until it is an amount."""
    while True:
        try:
            ml = float(console.input("How many mL are in the cylinder? ").strip().replace(",", "."))
        except ValueError:
            ml = 0.0
        if 0.0 < ml < inf:
            return ml
        console.print("a number above 0, as 14.2")
