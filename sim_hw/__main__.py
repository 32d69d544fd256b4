"""`python -m sim_hw`: play the world at a running bench, as a person with wet hands would."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from sim_hw.faults import FaultName
from sim_hw.remote import NoBenchError, ask
from sim_hw.world import PlayError

DEFAULT_SOCKET = "var/bench.sock"
DONE, FAILED = 0, 1
EXAMPLES = """\
examples, while `evenwater demo` runs:
  python -m sim_hw dip ph 7.00                       the pH electrode into the 7.00 buffer
  python -m sim_hw back ph                           and back into the tank
  python -m sim_hw unplug ph                         pull its plug (plug ph: plug it in again)
  python -m sim_hw empty ph_down                     empty a bottle (refill ph_down)
  python -m sim_hw add-water 5                       pour 5 L of tap water into the tank (drain 10)
  python -m sim_hw fault pump_dead ph_down           a pump that turns and delivers nothing
  python -m sim_hw fault probe_unplugged ph --for 600
  python -m sim_hw fault chip_reference_drifted ph --size 1.02
  python -m sim_hw mend pump_dead ph_down
  python -m sim_hw look                              everything as it truly is

With several tanks write bed1/ph, or --tank bed1.
exit codes: 0 done, 1 refused or no bench, 2 used wrongly
"""


def main(arguments: list[str] | None = None) -> int:
    """Ask the bench and print its answer. 0: done; 1: refused, or no bench; 2 (from argparse): used wrongly."""
    asked = vars(_parser().parse_args(arguments))
    socket, as_json, command = Path(asked.pop("socket")), asked.pop("json"), asked.pop("command")
    params = {key: value for key, value in asked.items() if value is not None}
    try:
        answer = ask(socket, command.replace("-", "_"), params)
    except (PlayError, NoBenchError) as error:
        print(f"sim_hw: {error}", file=sys.stderr)
        return FAILED
    print(json.dumps(answer, indent=2) if as_json else "\n".join(_lines(command, answer)))
    return DONE


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m sim_hw",
        description="Play the world at a simulated bench while something runs on it.",
        epilog=EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    _add_options(parser)
    parser.set_defaults(socket=DEFAULT_SOCKET, json=False)
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    _add_probe_commands(commands)
    _add_tank_commands(commands)
    _add_fault_commands(commands)
    _add_options(commands.add_parser("look", help="everything as it truly is"))
    return parser


def _add_options(parser: argparse.ArgumentParser) -> None:
    """What may stand before or after the command."""
    left_out = argparse.SUPPRESS
    parser.add_argument("--socket", default=left_out, help=f"the bench's socket (default {DEFAULT_SOCKET})")
    parser.add_argument("--json", action="store_true", default=left_out, help="print the answer as JSON")


def _add_probe_commands(commands: Any) -> None:
    dip = _command(commands, "dip", "put a probe in a standard", "probe")
    dip.add_argument("standard", help="a buffer (7.00), mS/cm (1.413), °C for a thermometer, water or air")
    dip.add_argument("--temperature", dest="temperature_c", type=float, metavar="C", help="of the standard, °C")
    _command(commands, "back", "put a probe back in its tank", "probe")
    _command(commands, "unplug", "pull a probe's plug", "probe")
    _command(commands, "plug", "plug a probe in again", "probe")


def _add_tank_commands(commands: Any) -> None:
    _command(commands, "empty", "empty a pump's bottle", "pump")
    _command(commands, "refill", "fill a pump's bottle as at the start", "pump")
    for name, help_text in (("add-water", "pour tap water into a tank"), ("drain", "let water out of a tank")):
        _command(commands, name, help_text).add_argument("litres", type=float, help="L")


def _add_fault_commands(commands: Any) -> None:
    names = ", ".join(FaultName)
    for name, help_text in (("fault", "begin a fault"), ("mend", "end a fault")):
        command = _command(commands, name, help_text)
        command.add_argument("name", choices=list(map(str, FaultName)), metavar="NAME", help=names)
        command.add_argument("target", help="a probe or pump")
        if name == "fault":
            command.add_argument("--for", dest="for_s", type=float, metavar="S", help="bench seconds it lasts")
            command.add_argument(
                "--size", type=float, help="mV, mS, °C or V per hour; response in s; times the rate or the codes"
            )


def _command(commands: Any, name: str, help_text: str, *positional: str) -> argparse.ArgumentParser:
    parser: argparse.ArgumentParser = commands.add_parser(name, help=help_text, description=help_text)
    for one in positional:
        parser.add_argument(one)
    parser.add_argument("--tank", help="needed only where there are several")
    _add_options(parser)
    return parser


def _lines(command: str, answer: Mapping[str, Any]) -> Iterator[str]:
    if command == "look":
        yield from _look_lines(answer)
    else:
        yield "  ".join(f"{key}: {_shown(value)}" for key, value in answer.items())


def _look_lines(answer: Mapping[str, Any]) -> Iterator[str]:
    yield f"{answer['utc']}  ({answer['at_s']:.0f} s on the bench)"
    for name, tank in answer["tanks"].items():
        yield (
            f"{name}: {tank['volume_l']:.2f} L, pH {tank['ph']:.2f} (once mixed {tank['ph_once_mixed']:.2f}), "
            f"EC {tank['ec25_ms_per_cm']:.3f} mS/cm at 25 °C, {tank['temperature_c']:.1f} °C"
        )
        for probe, truth in tank["probes"].items():
            yield f"  {probe}: " + ", ".join(f"{key} {_shown(value)}" for key, value in truth.items())
        for role, truth in tank["pumps"].items():
            turning = "turning" if truth["turns"] else "still"
            yield f"  {role}: {turning}, {truth['delivered_ml']:.1f} mL delivered, {truth['left_ml']:.0f} mL left"
    for fault in answer["faults"]:
        yield f"fault: {fault['name']} on {fault['target']} since {fault['start_s']:.0f} s"


def _shown(value: Any) -> str:
    return f"{value:.3f}" if isinstance(value, float) else str(value)


if __name__ == "__main__":
    sys.exit(main())
