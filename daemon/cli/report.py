"""`evenwater report`: what became of a batch, and what it cost, as lines, a page, or a table."""

from __future__ import annotations

import argparse
import csv
import io
import json
import sys
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path

from config.load import SettingsError
from daemon import words
from daemon.cli.ask import Commands, add_command
from daemon.cli.crop_settings import add_settings_option, settings_if_any
from daemon.cli.where import state_folder
from daemon.crop.harvest_book import Season
from daemon.disk import write_whole
from daemon.report import wording
from daemon.report.facts import BatchFacts, Facts
from daemon.report.gather import gather
from daemon.report.page import document
from daemon.report.table import as_json, rows

STYLES = ("page.css", "report.css")
EPILOG = """\
examples:
  evenwater report spring-1                                a few lines
  evenwater report spring-1 -o spring-1.html               one page with plots, to keep, send or print
  evenwater report --all -o season.html --csv season.csv   all batches so far
  evenwater report --all --settings config/rigs/quince-lane-fed.toml --json | jq .season

Plants and harvests are from the diary (evenwater crop did), water and doses from ledger and history, prices and
appliances from the settings: [prices], [appliance.NAME]. The page asks nothing from elsewhere and has no script.
Nothing is changed; the daemon may run or not. Single readings: evenwater export
"""


def add_commands(commands: Commands) -> None:
    """report."""
    about = "What became of a batch and what it cost: plants, harvest, losses, water, doses, plots."
    parser = add_command(commands, "report", "what became of a batch, and what it cost", EPILOG, about)
    parser.add_argument("batch", nargs="?", metavar="BATCH", help="the batch's name in the diary")
    parser.add_argument("--all", action="store_true", help="every batch, and the season")
    add_settings_option(parser)
    parser.add_argument(
        "-o",
        "--output",
        type=ending(".html"),
        metavar="FILE.html",
        help="write one page there, anew if it is there",
    )
    parser.add_argument(
        "--csv", type=ending(".csv"), metavar="FILE.csv", help="write a row for each batch there, anew likewise"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON value for programs")
    parser.set_defaults(act=_report)


def ending(suffix: str) -> Callable[[str], Path]:
    """A file to be written, known by its ending, so that a slip overwrites nothing else."""

    def path(text: str) -> Path:
        if not text.lower().endswith(suffix):
            raise argparse.ArgumentTypeError(f"{text!r}: must end in {suffix}")
        return Path(text)

    return path


def _report(arguments: argparse.Namespace) -> int:
    if (arguments.batch is None) is not arguments.all:
        print("evenwater report: name one batch, or --all; `evenwater crop book` lists them", file=sys.stderr)
        return 2
    try:
        chosen = None if arguments.all else [arguments.batch]
        facts = gather(state_folder(arguments.state), settings_if_any(arguments), chosen, datetime.now(UTC))
        _write(facts, arguments)
    except LookupError as wrong:
        print(f"evenwater report: {wrong.args[0]}", file=sys.stderr)
        return 2
    except (OSError, SettingsError, ValueError) as trouble:
        print(f"evenwater report: {trouble}", file=sys.stderr)
        return 1
    return 0


def _write(facts: Facts, arguments: argparse.Namespace) -> None:
    """Raises OSError."""
    told = []
    for path, text in ((arguments.output, _page), (arguments.csv, _csv)):
        if path is not None:
            write_whole(path, text(facts))
            told.append(f"{len(facts.batches)} batches are in {path}" if arguments.all else f"written: {path}")
    if arguments.json:
        told = [json.dumps(as_json(facts), ensure_ascii=False)]
    for line in told or _lines(facts):
        print(line)


def _page(facts: Facts) -> str:
    static = files("daemon.page") / "static"
    return document(facts, "".join((static / name).read_text(encoding="utf-8") for name in STYLES))


def _csv(facts: Facts) -> str:
    """By RFC 4180, with a heading, which is all there is where nothing was sown."""
    text = io.StringIO()
    every = rows(facts)
    table = csv.DictWriter(text, list(every[0]) if every else ["batch"])
    table.writeheader()
    table.writerows(every)
    return text.getvalue()


def _lines(facts: Facts) -> Iterator[str]:
    """For a person at a terminal."""
    for one in facts.batches:
        yield from _batch(one, facts.currency)
        yield ""
    if len(facts.batches) != 1:
        yield from _season(facts.season)
    for note in facts.notes:
        yield f"note: {note}"


def _season(of: Season) -> Iterator[str]:
    yield f"All together: {of.batches} batches, {of.planted} heads set out, {of.picked} picked"
    for what, said in {
        "weight": wording.weight(of.grams),
        "of the harvest": wording.became(of.became),
        "lost": wording.causes(of.lost.items()),
        "wasted, of heads gone": wording.share(of.wasted),
    }.items():
        yield f"  {what:<24}{said}"


def _batch(of: BatchFacts, currency: str) -> Iterator[str]:
    batch = of.record.batch
    yield f"{batch.name}: {batch.variety} {batch.crop}"
    for what, said in wording.facts(of.record).items():
        yield f"  {what:<24}{said}"
    for item in of.costs.items:
        cost = wording.why(item) or wording.money(item.cost, currency)
        yield f"  {wording.THING[item.thing]:<24}{wording.amount(item.thing, item.amount):<12}{cost}"
    yield f"  {wording.verdict(of.costs, currency)}"
    for stay in of.stays:
        for plot in stay.plots:
            if plot.in_band is not None:
                name = f"{words.QUANTITY[plot.line.quantity]} in {stay.title}"
                yield f"  {name:<24}{wording.in_band(plot.in_band)}"
