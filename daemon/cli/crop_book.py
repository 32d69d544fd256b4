"""`evenwater crop book`: the harvest book, a line for each batch."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterable, Iterator
from typing import Any

from daemon.cli.ask import add_command
from daemon.cli.crop_settings import diary_of, or_trouble
from daemon.crop.harvest_book import Record, Season, book, season
from daemon.report import wording
from daemon.report.table import book_row

EPILOG = """\
examples:
  evenwater crop book
  evenwater crop book --json | jq '.[].heads_picked'

What a batch used and cost, with plots: evenwater report BATCH
"""


def add_crop_commands(commands: Any) -> None:
    """book."""
    parser = add_command(commands, "book", "the harvest book: what became of each batch", EPILOG)
    parser.add_argument("--json", action="store_true", help="print one JSON value for programs")
    parser.set_defaults(act=lambda arguments: or_trouble("book", lambda: _book(arguments)))


def _book(arguments: argparse.Namespace) -> int:
    lines = diary_of(arguments).lines
    records = book(lines)
    if arguments.json:
        print(json.dumps([book_row(record) for record in records.values()], ensure_ascii=False))
        return 0
    for text in _lines(list(records.values()), season(lines)):
        print(text)
    return 0


def _lines(records: list[Record], of: Season) -> Iterator[str]:
    if not records:
        yield "Nothing was sown yet. Begin with: evenwater crop did sown --help"
        return
    table = [wording.HEADS, *(wording.row(record) for record in records)]
    widths = [max(len(row[place]) for row in table) for place in range(len(wording.HEADS))]
    yield from (_aligned(row, widths) for row in table)
    yield ""
    yield from wording.season(of)


def _aligned(row: Iterable[str], widths: Iterable[int]) -> str:
    """Names to the left, figures to the right."""
    first, *rest = zip(row, widths, strict=True)
    return "  ".join([f"{first[0]:<{first[1]}}", *(f"{cell:>{width}}" for cell, width in rest)])
