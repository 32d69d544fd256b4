"""`evenwater change-out`: new water for a reservoir, guided at the tank or step by step from a script."""

from __future__ import annotations

import argparse

from daemon.cli.ask import Commands, add_command
from daemon.cli.steps import Asker, add_steps, step_or_guide, told

EPILOG = """\
Guided, at the tank (the daemon must be running; dosing of that reservoir pauses meanwhile):
  evenwater change-out

From a script, or a step at a time:
  evenwater change-out begin               pauses dosing and says what to do
  evenwater change-out done                new water is in and mixed: what was learned of the old is forgotten
  evenwater release                        instead of `done`: it is still the old water

Goggles and gloves for acids and bases. Switch off whatever stands in the water before you reach into it.
"""


def add_commands(commands: Commands) -> None:
    """`evenwater change-out`."""
    parser = add_command(commands, "change-out", "give a reservoir new water: drain, fill, mix, check", EPILOG)
    add_steps(parser, ("begin", "done"))
    parser.set_defaults(act=change_out)


def change_out(arguments: argparse.Namespace) -> int:
    """Run one step, or guide through all of them."""
    asker = Asker(arguments, "change_out")
    return step_or_guide("change-out", arguments, lambda: _one_step(asker, arguments), lambda: _guide(asker))


def _one_step(asker: Asker, arguments: argparse.Namespace) -> int:
    answer = asker.ask(arguments.step)
    code = told(answer, arguments)
    for number, step in enumerate(() if arguments.json else answer.get("steps", ()), start=1):
        print(f"  {number}. {step}")
    return code


def _guide(asker: Asker) -> int:
    begun = asker.ask("begin")
    print(begun["said"])
    try:
        for number, step in enumerate(begun["steps"], start=1):
            input(f"  {number}. {step}\n     Done? Press Enter. ")
    except (KeyboardInterrupt, EOFError):
        print(
            "\nDosing stays paused. Go on with `evenwater change-out`, end with `evenwater change-out done`, or "
            "`evenwater release` if it is still the old water."
        )
        return 1
    print(asker.ask("done")["said"])
    return 0
