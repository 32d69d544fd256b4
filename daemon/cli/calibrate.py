"""`evenwater calibrate`: probes in standards, guided at the tank or step by step from a script."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping
from typing import Any

from daemon.cli import calibrate_pump
from daemon.cli.ask import Commands, add_command, finite
from daemon.cli.calibrate_guide import guide
from daemon.cli.steps import Asker, add_steps, step_or_guide, told
from daemon.values import Quantity

STEPS = ("begin", "look", "point", "result", "finish", "back", "cancel", "history")
ABOUT = {
    Quantity.PH: "calibrate the pH probe in two or three buffers",
    Quantity.EC: "calibrate the EC probe in one or two standards",
    Quantity.TEMPERATURE: "compare the temperature probe with a reference thermometer",
    Quantity.LEVEL: "measure out water for the level sender: nearly empty, then full",
}
IN_A_BOTTLE = (Quantity.PH, Quantity.EC)

Row = tuple[str, str]
GUIDED = "Guided, at the tank (the daemon must be running; dosing of that reservoir pauses meanwhile):"
SCRIPTED = "From a script, one step at a time:"
ALWAYS: tuple[Row, ...] = (
    ("result", "new against old; changes nothing"),
    ("finish", "keeps the new one if nothing is odd about it"),
    ("finish --accept", "keeps it though something is odd, as it said"),
    ("back", "when the probe is in the water again: dosing goes on"),
    ("cancel", "leaves everything as it was; then: evenwater release"),
    ("history", "all that was made so far, how the probe ages, when it will fail"),
)
POINTS: dict[Quantity, tuple[Row, ...]] = {
    Quantity.PH: (
        ("point 7.00", "when the probe has stood in that bottle for a minute or two"),
        ("point", "known by its signal where only one bottle fits, else asked back"),
    ),
    Quantity.EC: (("point 1413", "when the probe has stood in that bottle for a minute or two"),),
    Quantity.TEMPERATURE: (("point --true-c 20.4", "what a reference thermometer beside it shows"),),
    Quantity.LEVEL: (
        ("point --litres 0", "the water that is in the reservoir, measured"),
        ("point --litres 60", "and again when it is full"),
    ),
}
ONE_BUFFER = """
Only one buffer at hand: a stop-gap. It is shown and never dosed by, and void after 7 days.
  evenwater calibrate ph --buffer 4.01 --stop-gap
"""
OF_BOTTLES = """
Use fresh solution, rinse the probe between bottles, never pour used solution back. Bottles and probe should be
near the water's temperature. A bottle of your own goes into the settings by its printed table: [standard.NAME].
"""
ON_THE_BENCH = """
On the simulated bench, dip the probe with
  python -m sim_hw dip {quantity} {first}    and put it back with    python -m sim_hw back {quantity}
"""


def add_commands(commands: Commands) -> None:
    """`evenwater calibrate`."""
    parser = commands.add_parser(
        "calibrate",
        help="calibrate a probe in standards, or a pump with a cylinder",
        description="Calibrate a probe (pH and EC in bottles, temperature and level by measuring), or a pump.",
        epilog="examples:\n  evenwater calibrate ph --help\n  evenwater calibrate ph\n"
        "  evenwater calibrate pump ph_down",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    kinds = parser.add_subparsers(dest="quantity", metavar="ph, ec, temperature, level or pump", required=True)
    for quantity in (q for q in Quantity if q.kind in ABOUT):
        _add_probe(kinds, quantity)
    calibrate_pump.add_pump(kinds)


def _about(quantity: Quantity) -> str:
    about = ABOUT[quantity.kind]
    return about if quantity.kind is quantity else f"{about}: the second probe of two"


def _add_probe(kinds: Commands, quantity: Quantity) -> None:
    parser = add_command(kinds, quantity.value, _about(quantity), _epilog(quantity))
    add_steps(parser, STEPS)
    parser.add_argument(
        "--accept",
        action="store_true",
        help="with `finish`: keep it though something is odd; guided: do not ask before it replaces",
    )
    if quantity.kind in IN_A_BOTTLE:
        _add_bottles(parser, quantity)
    elif quantity.kind is Quantity.TEMPERATURE:
        parser.add_argument("--true-c", type=finite, help="with `point`: what the reference thermometer shows")
    else:
        parser.add_argument("--litres", type=finite, help="with `point`: the water that is in the reservoir")
    parser.set_defaults(act=calibrate, stop_gap=False, buffer=[], quantity=quantity.value)


def _add_bottles(parser: argparse.ArgumentParser, quantity: Quantity) -> None:
    example = "7.00 or 4.01" if quantity.kind is Quantity.PH else "1413 or 1.413"
    parser.add_argument("standard", nargs="?", help=f"with `point`: which bottle, as {example}")
    parser.add_argument(
        "--buffer",
        action="append",
        metavar="NAME",
        help="with `point`: which bottle; guided: those there are, one --buffer each, in their order",
    )
    parser.add_argument("--temperature-c", type=finite, help="temperature of the bottle (default: the tank's)")
    if quantity.kind is Quantity.PH:
        parser.add_argument(
            "--stop-gap", action="store_true", help="with `result`, `finish` or guided: an offset from one buffer"
        )


def _epilog(quantity: Quantity) -> str:
    command = f"evenwater calibrate {quantity}"
    steps = [("begin", "dosing pauses"), *POINTS[quantity.kind], *ALWAYS]
    lines = [GUIDED, f"  {command}", "", SCRIPTED, *(f"  {command} {step:<20}{what}" for step, what in steps)]
    text = "\n".join(lines) + "\n"
    if quantity.kind not in IN_A_BOTTLE:
        return text
    first = "7.00" if quantity.kind is Quantity.PH else "1.413"
    bench = ON_THE_BENCH.format(quantity=quantity, first=first)
    return text + (ONE_BUFFER if quantity.kind is Quantity.PH else "") + OF_BOTTLES + bench


def calibrate(arguments: argparse.Namespace) -> int:
    """Run one step, or guide through all of them."""
    asker = Asker(arguments, "calibrate", quantity=arguments.quantity)
    return step_or_guide(
        "calibrate", arguments, lambda: _one_step(asker, arguments), lambda: guide(asker, arguments)
    )


def _one_step(asker: Asker, arguments: argparse.Namespace) -> int:
    if arguments.step == "point":
        named = [name for name in (getattr(arguments, "standard", None), *(arguments.buffer or ())) if name]
        if len(named) > 1:
            print("evenwater calibrate: `point` takes one bottle at a time, as in: point 7.00", file=sys.stderr)
            return 2
        return told(
            asker.ask("point", **({"standard": named[0]} if named else {}), **_true(arguments)), arguments
        )
    return told(asker.ask(arguments.step, **_of_step(arguments)), arguments)


def _true(arguments: argparse.Namespace) -> dict[str, float]:
    """What this command line says of the standard, by the names of a request."""
    keys = ("temperature_c", "true_c", "litres")
    return {key: getattr(arguments, key) for key in keys if getattr(arguments, key, None) is not None}


def _of_step(arguments: argparse.Namespace) -> Mapping[str, Any]:
    stop_gap = {"stop_gap": True} if arguments.stop_gap else {}
    if arguments.step == "finish":
        return {**stop_gap, **({"accept": True} if arguments.accept else {})}
    return stop_gap if arguments.step == "result" else {}
