"""`evenwater calibrate pump`: timed runs into a measuring cylinder, guided at the tank or step by step."""

from __future__ import annotations

import argparse
from math import inf
from typing import Any

from rich.console import Console

from daemon.cli.ask import Commands, add_command, finite
from daemon.cli.steps import Asker, add_steps, says_yes, step_or_guide, told
from daemon.desk.priming import HANGING, ONE_IN_A_CYLINDER, READ_OFF, gear
from daemon.link.client import CallRefused
from daemon.values import Role

USUAL_RUN_S = 15.0
RUNS = 3

EPILOG = f"""\
Guided, at the tank (hold the reservoir first):
  evenwater hold "measuring" && evenwater calibrate pump ph_down

From a script, its author at the tank with the tube's end in a cylinder:
  evenwater calibrate pump ph_down run --run-s 15
  evenwater calibrate pump ph_down run --run-s 15
  evenwater calibrate pump ph_down finish --measured-ml 14.2 14.6 --json
  evenwater calibrate pump ph_down cancel           forgets the runs, the old rate stays

Fill the tube first (evenwater prime). {HANGING}
{READ_OFF}
Acid and base burn: goggles and gloves, water to rinse at hand. {ONE_IN_A_CYLINDER}
Follow the reagent's label and your local rules.
Runs are cut to the pump's caps and count against caps and bottle as if the tank had got them.
"""


def add_pump(kinds: Commands) -> None:
    """`evenwater calibrate pump`."""
    about = "Measure a pump's mL per second with a cylinder. Only while held or watching."
    parser = add_command(kinds, "pump", "measure what a pump delivers in a second", EPILOG, about)
    parser.add_argument("pump", choices=[role.value for role in Role])
    add_steps(parser, ("run", "finish", "cancel"))
    parser.add_argument(
        "--run-s", type=finite, default=USUAL_RUN_S, help=f"how long each run is (default: {USUAL_RUN_S:g} s)"
    )
    parser.add_argument(
        "--measured-ml", type=finite, nargs="+", default=[], metavar="ML", help="with `finish`: read of each run"
    )
    parser.set_defaults(act=calibrate_pump)


def calibrate_pump(arguments: argparse.Namespace) -> int:
    """Run one step, or guide through all of them."""
    asker = Asker(arguments, "calibrate_pump", pump=arguments.pump)
    return step_or_guide(
        "calibrate pump", arguments, lambda: _one_step(asker, arguments), lambda: _guide(asker, arguments)
    )


def _one_step(asker: Asker, arguments: argparse.Namespace) -> int:
    params: dict[str, dict[str, Any]] = {
        "run": {"run_s": arguments.run_s},
        "finish": {"measured_ml": arguments.measured_ml},
        "cancel": {},
    }
    return told(asker.ask(arguments.step, **params[arguments.step]), arguments)


def _guide(asker: Asker, arguments: argparse.Namespace) -> int:
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


def _guided(asker: Asker, arguments: argparse.Namespace, console: Console) -> bool:
    """Run, read, run, read; show; ask. Whether the new rate was kept."""
    console.print(
        f"{gear(Role(arguments.pump))}The {arguments.pump} tube must be full up to its end (evenwater prime)."
    )
    measured_ml: list[float] = []
    for number in range(1, RUNS + 1):
        if not says_yes(f"Run {number} of {RUNS}: is its end in an empty measuring cylinder?"):
            return False
        with console.status(f"{arguments.pump}: running up to {arguments.run_s:g} s"):
            ran = asker.ask("run", run_s=arguments.run_s)
        console.print(str(ran["said"]))
        measured_ml.append(_read_ml(console))
    shown = asker.ask("finish", measured_ml=measured_ml, keep=False)
    console.print(str(shown["said"]))
    if not shown["accepted"] or not says_yes("Dose by the new rate from now on?"):
        return False
    console.print(str(asker.ask("finish", measured_ml=measured_ml)["said"]))
    console.print("A pause ends with: evenwater release")
    return True


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
