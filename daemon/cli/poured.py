"""`evenwater poured`: tell what was poured into a reservoir by hand."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping
from typing import Any

from daemon.cli.ask import Commands, add_command, finite, or_refusal
from daemon.cli.steps import says_yes, told
from daemon.cli.where import state_folder
from daemon.link.client import ControlClient
from daemon.values import Role

EPILOG = """\
examples:
  evenwater poured bed1 ph_down --ml 5
  evenwater poured bed1 stock_a --ml 60 --note "new bed" && evenwater poured bed1 stock_b --ml 60
  evenwater poured bed1 ph_up --ml 40 --yes --json      from a script, its author at the tank

Tell it just before or right after: the ledger counts it as a dose, against the caps and from that pump's
bottle, and the next dose waits until it has mixed. Told later, a pause that it caused lasts that long from then,
and a lock stays until `evenwater clear`. Goggles and gloves with acid and base, never the one right after the
other. Follow the reagent's label and your local rules.
"""


def add_commands(commands: Commands) -> None:
    """`evenwater poured`."""
    about = "Tell what you poured into a reservoir by hand. More than one dose may be is asked about once more."
    parser = add_command(commands, "poured", "tell what you poured in by hand", EPILOG, about)
    parser.add_argument("reservoir", help="into which, by the name in the settings")
    parser.add_argument("pump", choices=[role.value for role in Role if role is not Role.TOP_UP], help="what")
    parser.add_argument(
        "--ml", type=finite, required=True, help="how much, in mL of what is in that pump's bottle"
    )
    parser.add_argument("--note", default="", help="why, for whoever looks later")
    parser.add_argument("--yes", action="store_true", help="do not ask again, however much it is")
    parser.add_argument("--json", action="store_true", help="print one JSON value for programs")
    parser.set_defaults(act=lambda arguments: or_refusal("poured", lambda: poured(arguments)))


def poured(arguments: argparse.Namespace) -> int:
    """Tell it; where it is much, ask whether it is no slip, and tell it again. Raises NoDaemon, CallRefused."""
    answer = _answer(arguments, sure=arguments.yes)
    if not answer["accepted"] and not arguments.json and sys.stdin.isatty() and _is_no_slip(answer["said"]):
        answer = _answer(arguments, sure=True)
    if not answer["accepted"]:
        answer = {**answer, "said": f"{answer['said']}: if it is no slip, once more with --yes"}
    return told(answer, arguments)


def _answer(arguments: argparse.Namespace, *, sure: bool) -> Mapping[str, Any]:
    what = {"reservoir": arguments.reservoir, "pump": arguments.pump, "ml": arguments.ml, "note": arguments.note}
    answer: Mapping[str, Any] = ControlClient(state_folder(arguments.state)).call("poured", **what, sure=sure)
    return answer


def _is_no_slip(said: str) -> bool:
    try:
        return says_yes(f"{said}. Is it no slip?")
    except (EOFError, KeyboardInterrupt):
        print()
        return False
