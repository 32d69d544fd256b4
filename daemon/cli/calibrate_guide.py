"""The guided way through a calibration, at the tank: bottle after bottle, old against new, a plain yes.

It may be left at any point: by Ctrl-C, by closing the terminal, by no. The old calibration stays until the yes.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Mapping, Sequence
from math import isfinite
from typing import Any

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn
from rich.table import Table

from daemon.cli.steps import Asker, says_yes
from daemon.link.client import CallRefused
from daemon.values import Quantity

USUAL = {Quantity.PH: ("7.00", "4.01"), Quantity.EC: ("1.413",)}
ONE_MORE = {Quantity.PH: "10.01", Quantity.EC: "2.765"}
STOP_GAP = ("4.01",)  # a dead bulb shows in it, and would not in 7.00
PATIENCE_S = 600.0
LOOK_EVERY_S = 0.5
RINSE = "Rinse the probe with clean water, dab it dry without rubbing, put it into fresh"


def guide(asker: Asker, arguments: argparse.Namespace) -> int:
    """From `begin` to `back`; the exit code: 0 where a new calibration was kept and the probe is back."""
    console, kind = Console(markup=False), Quantity(arguments.quantity).kind
    console.print(asker.ask("begin")["said"])
    try:
        kept = _POINTS[kind](asker, arguments, console) and _replaced(asker, arguments, console)
    except (KeyboardInterrupt, EOFError):
        console.print()
        kept = False
    except CallRefused as refused:
        console.print(str(refused))
        kept = False
    if not kept:
        console.print(str(asker.ask("cancel")["said"]))
        return 1
    _ask(console, "\nIs the probe in the water? Then press Enter. ")  # interrupted: it stays paused, as said
    console.print(str(asker.ask("back")["said"]))
    return 0


# The points


def _bottles(asker: Asker, arguments: argparse.Namespace, console: Console) -> bool:
    """Every bottle in turn; without --buffer the usual ones, then one more if there is one."""
    kind = Quantity(arguments.quantity).kind
    for usual in arguments.buffer or (STOP_GAP if arguments.stop_gap else USUAL[kind]):
        _bottle(asker, arguments, console, usual)
    if not arguments.buffer and not arguments.stop_gap:
        more = ONE_MORE[kind]
        if _ask(console, f"\nIs {more} there too? It makes the result surer. [y/N] ").strip().lower() == "y":
            _bottle(asker, arguments, console, more)
    return True


def _bottle(asker: Asker, arguments: argparse.Namespace, console: Console, usual: str) -> None:
    """One point; a name that is not known, or a reading that never settles, is asked about and tried again."""
    _ask(console, f"\n{RINSE} {usual}. Then press Enter. ")
    look = _settled(asker, console)
    standard = usual if arguments.buffer else _which(look, usual, console)
    known = {} if arguments.temperature_c is None else {"temperature_c": arguments.temperature_c}
    while True:
        try:
            console.print(str(asker.ask("point", standard=standard, **known)["said"]))
            return
        except CallRefused as refused:
            console.print(str(refused))
        standard = _ask(console, f"Which does the label say? [{standard}] ").strip() or standard
        _settled(asker, console)


def _which(look: Mapping[str, Any], usual: str, console: Console) -> str:
    """The bottle by its signal where only one fits; else what the person reads on the label. Never guessed."""
    candidates: Sequence[str] = look["candidates"]
    if len(candidates) == 1:
        other = "" if candidates[0] == usual else f", not the {usual} asked for"
        console.print(f"By its signal this is {candidates[0]}{other}.")
        return candidates[0]
    may_be = " or ".join(candidates) if candidates else f"none of the known bottles, {usual} was asked for"
    name = ""
    while not name:
        name = _ask(console, f"By its signal this is {may_be}. Which does the label say? ").strip()
    return name


def _thermometer(asker: Asker, _arguments: argparse.Namespace, console: Console) -> bool:
    _ask(console, "\nHold a reference thermometer beside the probe, stir. When both are at rest press Enter. ")
    _settled(asker, console)
    shown_c = _number("What does the thermometer show, in °C? ", console)
    console.print(str(asker.ask("point", true_c=shown_c)["said"]))
    return True


def _water(asker: Asker, _arguments: argparse.Namespace, console: Console) -> bool:
    for how in ("Leave little water in the reservoir, none is best", "Fill the reservoir by measured cans"):
        _ask(console, f"\n{how}; circulation off, bed drained. When the water is still press Enter. ")
        _settled(asker, console)
        litres = _number("How many litres are in it? ", console)
        console.print(str(asker.ask("point", litres=litres)["said"]))
    return True


_POINTS: Mapping[Quantity, Callable[[Asker, argparse.Namespace, Console], bool]] = {
    Quantity.PH: _bottles,
    Quantity.EC: _bottles,
    Quantity.TEMPERATURE: _thermometer,
    Quantity.LEVEL: _water,
}


def _ask(console: Console, question: str) -> str:
    """What the person types. Brackets of the question are shown, not taken for markup."""
    return console.input(question, markup=False)


def _number(question: str, console: Console) -> float:
    """Asked again until it is one."""
    while True:
        try:
            number = float(_ask(console, question).strip().replace(",", "."))
        except ValueError:
            number = float("nan")
        if isfinite(number):
            return number
        console.print("a number, as 20.4")


def _settled(asker: Asker, console: Console) -> Mapping[str, Any]:
    """Show the signal coming to rest; the last look. Gives up after ten minutes: `point` will refuse."""
    columns = (TextColumn("settling"), BarColumn(12), TextColumn("{task.fields[now]}"))
    look = asker.ask("look", afresh=True)
    deadline = time.monotonic() + PATIENCE_S
    with Progress(*columns, console=console, transient=True) as progress:
        task = progress.add_task("", total=1.0, now="")
        while not look["settled"] and time.monotonic() < deadline:
            time.sleep(LOOK_EVERY_S)
            look = asker.ask("look")
            progress.update(task, completed=look["share_settled"], now=look["brief"])
    return look


# The result


def _replaced(asker: Asker, arguments: argparse.Namespace, console: Console) -> bool:
    """Show new against old, ask, keep. Whether it was kept."""
    asked = {"stop_gap": True} if arguments.stop_gap else {}
    result = asker.ask("result", **asked)
    while result["fit"]["calibration"] is None and arguments.quantity in USUAL:
        console.print(f"\n{result['said']}")
        again = _ask(console, "Which bottle once more? Its name, or Enter to stop: ").strip()
        if not again:
            return False
        _bottle(asker, arguments, console, again)
        result = asker.ask("result", **asked)
    console.print(_side_by_side(result["rows"]), "", str(result["said"]), sep="\n")
    if result["fit"]["calibration"] is None:
        return False
    if not arguments.accept and not says_yes("\nIs it to replace the old one?"):
        return False
    kept = asker.ask("finish", accept=True, **asked)
    console.print(str(kept["said"]))
    console.print(str(asker.ask("history")["outlook"]))
    return bool(kept["accepted"])


def _side_by_side(rows: Sequence[Sequence[str]]) -> Table:
    table = Table("", "old", "new", box=None, pad_edge=False)
    for what, old, new in rows:
        table.add_row(what, old, new)
    return table
