"""`evenwater crop did` and `crop diary`: write down what was done with the crop, and read it again."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import UTC, datetime
from typing import Any, get_args

from config.complaint import nearest
from daemon.cli.ask import add_command, finite
from daemon.cli.crop_settings import (
    a_day,
    add_settings_option,
    diary_of,
    diary_path,
    or_trouble,
    settings_of,
    today,
)
from daemon.crop.diary import KINDS, Batch, Line, Undone, Way, batches
from daemon.crop.diary_file import (
    NotWrittenError,
    event_of,
    lines_as_json,
    write,
)
from daemon.crop.diary_words import entry
from daemon.crop.garden import day_of
from daemon.crop.tasks import entry_of

DID = """\
examples:
  evenwater crop did sow-salad-27w05               a task of the plan, with its numbers
  evenwater crop did harvest-salad-27w05 --heads 2 --grams 310

Without a plan, or otherwise than planned:
  evenwater crop did sown spring-1 --crop lettuce --variety butterhead --plugs 6 --seeds-per-plug 2
  evenwater crop did emerged spring-1 --plugs 6 --day 2026-03-04
  evenwater crop did thinned spring-1
  evenwater crop did transplanted spring-1 --heads 5 --reservoir bed1
  evenwater crop did weighed spring-1 --heads 2 --grams-fresh 160
  evenwater crop did lost spring-1 --heads 1 --cause slugs
  evenwater crop did picked spring-1 --way leaves --heads 3 --grams 120
  evenwater crop did picked spring-1 --heads 4 --grams 610
  evenwater crop did eaten spring-1 --heads 3      (or shared, composted; by --grams as well)
  evenwater crop did note --text "moved the lamp 10 cm up"
  evenwater crop did undone --entry 7 --why "it was the other batch"

Nothing is ever rewritten: a wrong entry is undone by its number, which `evenwater crop diary` shows.
"""
DIARY = """\
examples:
  evenwater crop diary
  evenwater crop diary --batch spring-1
  evenwater crop diary --json | jq .batches
"""
FIELDS: tuple[tuple[str, Callable[[str], Any], str], ...] = (
    ("crop", str, "sown: the crop's file by its name, as lettuce"),
    ("variety", str, "sown: one of the crop's varieties"),
    ("plugs", int, "sown: how many plugs; emerged: in how many a seedling is up"),
    ("seeds-per-plug", int, "sown: the seeds in each plug (default 2)"),
    ("heads", int, "how many heads, or seedlings before transplanting"),
    ("reservoir", str, "transplanted: into which, by its name in the settings"),
    ("grams", finite, "picked, eaten, shared, composted: g"),
    ("grams-fresh", finite, "weighed: g of those heads together, roots off"),
    ("way", str, f"picked: {' or '.join(get_args(Way))} (default head)"),
    ("cause", str, "lost: why"),
    ("text", str, "note: in your own words"),
    ("entry", int, "undone: which entry was wrong"),
    ("why", str, "undone: what was wrong with it"),
)
BY_HAND = tuple(kind for kind in KINDS if kind not in ("walked", "done"))


def add_crop_commands(commands: Any) -> None:
    """did, diary."""
    did = add_command(commands, "did", "write down what was done, or what happened, to a batch", DID)
    did.add_argument("what", metavar="WHAT", help=f"the id of a task of the plan, or {', '.join(BY_HAND)}")
    add_settings_option(did)
    did.add_argument("batch", nargs="?", metavar="BATCH", help="the name of the batch (a new one, for sown)")
    for name, kind, about in FIELDS:
        did.add_argument(f"--{name}", type=kind, help=about, metavar="N" if kind is not str else "TEXT")
    did.add_argument("--day", type=a_day, metavar="DAY", help="when it happened, as 2026-03-01 (default: today)")
    did.add_argument("--json", action="store_true", help="print one JSON value for programs")
    did.set_defaults(act=lambda arguments: or_trouble("did", lambda: _did(arguments)))
    diary = add_command(commands, "diary", "what was written down, and how each batch stands", DIARY)
    diary.add_argument("--batch", metavar="NAME", help="this one only")
    diary.add_argument("--json", action="store_true", help="print one JSON value for programs")
    diary.set_defaults(act=lambda arguments: or_trouble("diary", lambda: _diary(arguments)))


def _did(arguments: argparse.Namespace) -> int:
    names = ("batch", *(name.replace("-", "_") for name, _, _ in FIELDS))
    given = {name: value for name in names if (value := getattr(arguments, name)) is not None}
    kind, planned = (arguments.what, {}) if arguments.what in BY_HAND else _as_planned(arguments)
    _all_there(kind, planned | given)
    event = event_of(kind, planned | given)
    day = arguments.day or today()
    if day > today():
        raise NotWrittenError(
            f"--day {day}: is yet to come (today is {today()}); write it down once it has happened"
        )
    line = write(diary_path(arguments), event, day, datetime.now(UTC))
    print(json.dumps(next(lines_as_json((line,)))) if arguments.json else f"kept as {said(line)}")
    return 0


def _all_there(kind: str, given: Mapping[str, Any]) -> None:
    """Raises NotWrittenError naming each option without which this kind of entry says too little."""
    missing = [
        "the name of the BATCH" if name == "batch" else f"--{name.replace('_', '-')} ({field.description})"
        for name, field in KINDS[kind].model_fields.items()
        if field.is_required() and name not in given
    ]
    if missing:
        raise NotWrittenError(f"{kind}: nothing was written; add {', '.join(missing)}")


def _as_planned(arguments: argparse.Namespace) -> tuple[str, dict[str, Any]]:
    """The entry that a task of the plan stands for. Raises NotWrittenError where there is no such task."""
    what, options = arguments.what, (*BY_HAND, "the id of a task from `evenwater crop today`")
    if what in KINDS:
        raise NotWrittenError(f"{what}: is written by `evenwater crop walk`, or by the id of its task")
    if "-" not in what:
        raise NotWrittenError(f"{what}: is nothing to write down{nearest(what, BY_HAND)} ({', '.join(options)})")
    tasks = {task.id: task for task in day_of(settings_of(arguments), diary_of(arguments).lines, today()).tasks}
    if what not in tasks:
        near = nearest(what, tasks)
        raise NotWrittenError(f"{what}: is done, or never was a task{near}; `evenwater crop today` lists them")
    if tasks[what].verb == "walk":
        raise NotWrittenError(f"{what}: what was found belongs to it: evenwater crop walk")
    return entry_of(tasks[what])


def said(line: Line) -> str:
    """An entry as one line: `7 · 2026-03-01 · thinned spring-3`."""
    return f"{line.number} · {line.day} · {entry(line)}"


def _diary(arguments: argparse.Namespace) -> int:
    diary = diary_of(arguments)
    known = batches(diary.lines)
    if arguments.batch is not None and arguments.batch not in known:
        raise NotWrittenError(
            f"--batch {arguments.batch}: was never sown; there are: {', '.join(known) or 'none'}"
        )
    lines = tuple(line for line in diary.lines if _is_of(line, arguments.batch))
    chosen = [batch for name, batch in known.items() if arguments.batch in (None, name)]
    if arguments.json:
        print(json.dumps({"lines": list(lines_as_json(lines)), "batches": [_as_json(batch) for batch in chosen]}))
        return 0
    for text in _shown(diary.lines, lines, chosen):
        print(text)
    return 0


def _is_of(line: Line, batch: str | None) -> bool:
    return batch is None or getattr(line.event, "batch", None) == batch


def _shown(every: Iterable[Line], lines: Iterable[Line], chosen: Iterable[Batch]) -> Iterator[str]:
    undone = {line.event.entry for line in every if isinstance(line.event, Undone)}
    for line in lines:
        yield said(line) + (" (undone)" if line.number in undone else "")
    stand = [_stands(batch) for batch in chosen]
    if stand:
        yield from ("", *stand)
    else:
        yield "Nothing was sown yet. Begin with: evenwater crop did sown --help"


def _stands(batch: Batch) -> str:
    """`spring-3: butterhead lettuce, sown 2026-03-01: 0 seedlings, 5 heads in bed1`."""
    where = f" in {', '.join(name for name, _ in batch.reservoirs)}" if batch.reservoirs else ""
    gone = f", {batch.picked} picked" if batch.picked else ""
    lost = sum(count for _, count in (*batch.lost_seedlings, *batch.lost_heads))
    return (
        f"{batch.name}: {batch.variety} {batch.crop}, sown {batch.sown_on}: {batch.seedlings} seedlings, "
        f"{batch.heads} heads{where}{gone}{f', {lost} lost' if lost else ''}"
        f"{f', {batch.grams:g} g in all' if batch.grams else ''}"
    )


def _as_json(batch: Batch) -> dict[str, Any]:
    own = {
        **{name: getattr(batch, name) for name in ("name", "crop", "variety", "plugs", "seeds_per_plug")},
        **{
            name: getattr(batch, name) for name in ("emerged", "planted", "seedlings", "heads", "picked", "grams")
        },
    }
    days = ("sown_on", "emerged_on", "thinned_on", "transplanted_on")
    return (
        own
        | {name: day and day.isoformat() for name in days for day in [getattr(batch, name)]}
        | {"reservoirs": dict(batch.reservoirs)}
        | {"lost_seedlings": dict(batch.lost_seedlings), "lost_heads": dict(batch.lost_heads)}
    )
