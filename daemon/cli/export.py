"""`evenwater export`: what was read, as rows for a spreadsheet. Reads the history; needs no running daemon."""

from __future__ import annotations

import argparse
import csv
import sys
from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack
from datetime import UTC, datetime, time, timedelta
from pathlib import Path
from typing import IO, Any

from daemon import words
from daemon.cli.ask import add_command
from daemon.cli.where import state_folder
from daemon.link.plain import utc_text
from daemon.store.minutes import Series
from daemon.store.trend import Trends, opened
from daemon.values import Quantity

HEADINGS = ("time_utc", "reservoir", "quantity", "value", "unit", "doubted")
EVENT_HEADINGS = ("time_utc", "reservoir", "what", "alarm", "text")
EPILOG = """\
examples:
  evenwater export --since 2026-03-01 > march.csv
  evenwater export --since 2026-03-01 --until 2026-03-08 --quantity ph --quantity ec --file week.csv
  evenwater export --events --file what-happened.csv      alarms and conditions instead of readings

Days are those of UTC. A row is the mean of one minute; `doubted` says that nothing would have been dosed by it.
The doses are in the ledger: evenwater ledger --json
"""


def add_commands(commands: Any) -> None:
    """export."""
    parser = add_command(
        commands,
        "export",
        "write what was read, or what happened, as CSV",
        EPILOG,
        "Write the readings of each minute, or what happened, as CSV (RFC 4180).",
    )
    parser.add_argument("--since", type=_moment, metavar="DAY", help="from then on (default: a week ago)")
    parser.add_argument("--until", type=_moment, metavar="DAY", help="up to then, not with it (default: now)")
    parser.add_argument("--reservoir", metavar="NAME", help="this one only")
    parser.add_argument(
        "--quantity", action="append", metavar="NAME", help="this one only; may be given more than once"
    )
    parser.add_argument("--events", action="store_true", help="what began or ended, instead of readings")
    parser.add_argument("--file", type=Path, metavar="FILE", help="write there (default: standard output)")
    parser.set_defaults(act=_export)


def _moment(text: str) -> datetime:
    """2026-03-01, or 2026-03-01T12:30, in UTC. Raises argparse's error for anything else."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r}: must be a day as 2026-03-01, or 2026-03-01T12:30") from None
    return moment if moment.tzinfo is not None else moment.replace(tzinfo=UTC)


def _export(arguments: argparse.Namespace) -> int:
    until = arguments.until or datetime.now(UTC)
    since = arguments.since or datetime.combine(until.date(), time(tzinfo=UTC)) - timedelta(days=7)
    if not since < until:
        print(
            f"evenwater export: --since {since:%Y-%m-%d} must be before --until {until:%Y-%m-%d}", file=sys.stderr
        )
        return 2
    try:
        with ExitStack() as keep:
            trends = keep.enter_context(opened(state_folder(arguments.state)))
            chosen = _chosen(trends, arguments)
            to = sys.stdout if arguments.file is None else keep.enter_context(_new(arguments.file))
            if arguments.events:
                count = _write(to, EVENT_HEADINGS, _event_rows(trends, since, until))
            else:
                count = _write(to, HEADINGS, _rows(trends, chosen, since, until))
    except (OSError, LookupError) as trouble:
        print(f"evenwater export: {trouble}", file=sys.stderr)
        return 1
    if arguments.file is not None:
        print(f"{count} rows, {since:%Y-%m-%d} to {until:%Y-%m-%d %H:%M} UTC, in {arguments.file}")
    elif not count:
        print("evenwater export: nothing was kept in that time; name another with --since", file=sys.stderr)
    return 0


def _chosen(trends: Trends, arguments: argparse.Namespace) -> list[Series]:
    """The series asked for. Raises LookupError where a name matches none."""
    there = trends.series()
    for option, asked, known in (
        ("--reservoir", [arguments.reservoir] if arguments.reservoir else [], [series[0] for series in there]),
        ("--quantity", arguments.quantity or [], [series[1] for series in there]),
    ):
        for name in asked:
            if name not in known:
                raise LookupError(
                    f"{option} {name}: nothing of it was kept; there are: {', '.join(dict.fromkeys(known))}"
                )
    return [
        series
        for series in there
        if arguments.reservoir in (None, series[0])
        and (not arguments.quantity or series[1] in arguments.quantity)
    ]


def _new(path: Path) -> IO[str]:
    return path.open("x", encoding="utf-8", newline="")


def _write(to: IO[str], headings: Sequence[str], rows: Iterable[Sequence[Any]]) -> int:
    """How many rows there were."""
    table = csv.writer(to)
    table.writerow(headings)
    return sum(1 for row in rows if table.writerow(row))


def _rows(trends: Trends, chosen: list[Series], since: datetime, until: datetime) -> Iterator[tuple[Any, ...]]:
    for series in chosen:
        name, quantity = series
        unit = words.UNIT[Quantity(quantity).kind].strip()
        for row in trends.rows(series, since, until):
            yield utc_text(row.at), name, quantity, row.value, unit, int(row.doubted)


def _event_rows(trends: Trends, since: datetime, until: datetime) -> Iterator[tuple[Any, ...]]:
    for event in trends.events(since, until):
        yield utc_text(event.at), event.reservoir, event.what, event.key, event.text
