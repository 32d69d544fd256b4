"""`evenwater crop walk`: past every plant once a week, asked through at the terminal or told by options."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

from config.complaint import nearest
from config.crop import Look
from daemon.cli.ask import add_command
from daemon.cli.crop_settings import (
    a_day,
    add_settings_option,
    diary_of,
    diary_path,
    or_trouble,
    settings_of,
    today,
)
from daemon.crop.diary import Finding
from daemon.crop.diary_file import NotWrittenError, event_of, lines_as_json, write
from daemon.crop.diary_words import entry
from daemon.crop.garden import day_of
from daemon.crop.scouting import Remedy, advice

HOW_MUCH = {"": "none", "n": "none", "f": "few", "m": "many", "none": "none", "few": "few", "many": "many"}
WALK = """\
examples:
  evenwater crop walk --where bed1                                  asks you from one thing to the next
  evenwater crop walk --where bed1 --found aphids=few --found "brown roots=many"
  evenwater crop walk --where nursery --all-clear

What is found goes into the diary, with what to try first. Look at leaves from below, hearts, a lifted net cup.
Clean hands and tools between beds. Switch off whatever stands in the water before you reach into it.
"""


def add_crop_commands(commands: Any) -> None:
    """walk."""
    walk = add_command(
        commands, "walk", "look at every plant, write down what you find, and what to try first", WALK
    )
    add_settings_option(walk)
    walk.add_argument("--where", metavar="PLACE", required=True, help="a reservoir's name, or nursery")
    walk.add_argument(
        "--found", action="append", default=[], metavar="WHAT=FEW|MANY", help="may be given more than once"
    )
    walk.add_argument("--all-clear", action="store_true", help="everything was looked at, nothing was found")
    walk.add_argument("--day", type=a_day, metavar="DAY", help="when it was (default: today)")
    walk.add_argument("--json", action="store_true", help="print one JSON value for programs")
    walk.set_defaults(act=lambda arguments: or_trouble("walk", lambda: _walk(arguments)))


def _walk(arguments: argparse.Namespace) -> int:
    diary = diary_of(arguments)
    settings = settings_of(arguments)
    if arguments.where not in (*settings.reservoir, "nursery"):
        known = ", ".join((*settings.reservoir, "nursery"))
        raise NotWrittenError(
            f"--where {arguments.where}: must be one of {known}{nearest(arguments.where, known)}"
        )
    looks = day_of(settings, diary.lines, today()).looks
    if not looks:
        raise NotWrittenError("no crop is wanted or stands, so there is no list of what to look for")
    findings = _told(arguments, looks) if arguments.found or arguments.all_clear else _asked(looks)
    said = advice(arguments.where, findings, _remedies(looks), diary.lines)
    fields = {"where": arguments.where, "findings": [each.model_dump() for each in findings], "advice": said}
    day = arguments.day or today()
    if day > today():
        raise NotWrittenError(f"--day {day}: is yet to come (today is {today()})")
    line = write(diary_path(arguments), event_of("walked", fields), day, datetime.now(UTC))
    if arguments.json:
        print(json.dumps(next(lines_as_json((line,))), ensure_ascii=False))
        return 0
    print(f"kept as {line.number} · {line.day} · {entry(line)}")
    for sentence in said:
        print(f"  {sentence[0].upper()}{sentence[1:]}")
    return 0


def _remedies(looks: Sequence[Look]) -> Mapping[str, Remedy]:
    return {look.what: Remedy(look.first, look.then, look.tank) for look in looks}


def _told(arguments: argparse.Namespace, looks: Sequence[Look]) -> list[Finding]:
    """What the options say was found; everything else was looked at and not found. Raises NotWrittenError."""
    known = [look.what for look in looks]
    told = dict.fromkeys(known, "none")
    for text in arguments.found:
        what, _, much = text.partition("=")
        if what not in told:
            raise NotWrittenError(f"--found {text}: must be one of {', '.join(known)}{nearest(what, known)}")
        if much not in ("few", "many"):
            raise NotWrittenError(f"--found {text}: must end with =few or =many")
        told[what] = much
    return [Finding.model_validate({"what": what, "how_much": much}) for what, much in told.items()]


def _asked(looks: Sequence[Look]) -> list[Finding]:
    """Look by look, at the terminal. Raises NotWrittenError where there is none, or they hang up."""
    if not sys.stdin.isatty():
        raise NotWrittenError("to be asked needs a terminal; from a script use --found or --all-clear")
    try:
        return [_one(number, len(looks), look) for number, look in enumerate(looks, start=1)]
    except (EOFError, KeyboardInterrupt):
        print()
        raise NotWrittenError("ended before the last look; nothing was written") from None


def _one(number: int, count: int, look: Look) -> Finding:
    print(f"\n{number} of {count}: {look.what} ({look.where})\n  {look.look}")
    while (answer := input("  None, few or many? [none] ").strip().lower()) not in HOW_MUCH:
        print("  Type none, few or many (n, f, m), or nothing for none.")
    much = HOW_MUCH[answer]
    note = input("  Where, and what did it look like? ").strip() if much != "none" else ""
    return Finding.model_validate({"what": look.what, "how_much": much, "note": note[:400]})
