"""`python -m tests.campaign`: months of the whole program with faults, restarts, wrong clocks and people."""

from __future__ import annotations

import argparse
import json
import math
import multiprocessing
import signal
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import replace
from functools import partial
from multiprocessing.sharedctypes import Synchronized
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn, TimeRemainingColumn
from rich.table import Table

from tests.campaign.keep import KeepError, Kept, plain
from tests.campaign.month import one_month
from tests.campaign.report import Month, findings, is_clean, kind_rows, rows, summed

LOOK_EVERY_S = 0.5
MINUTE_S = 60.0
EPILOG = """\
examples:
  make campaign                                            8 seeds x 30 days, on one core some 5 minutes
  python -m tests.campaign --seeds 1000 --jobs 8           the whole campaign, for a night
  python -m tests.campaign --seeds 1000 --minutes 15       as many months as a quarter of an hour holds
  python -m tests.campaign --seeds 1000 --keep months.jsonl
                                                           the same again goes on with the seeds that are missing
  python -m tests.campaign --first 17 --seeds 1 --story    what happened in one of them, again

Ctrl-C ends it and reports the months that are over. With --keep the report is of all months in the file, and an
end of any kind loses only the months that were going on.
exit code: 0 no cap crossed, no gross error repeated, no fault missed; 1 something to look at; 2 used wrongly
"""


def main(arguments: Sequence[str] | None = None) -> int:
    """Live through the months and report."""
    parser = _parser()
    asked = parser.parse_args(arguments)
    if asked.keep and asked.story:
        parser.error(
            "--story: stories are not kept; ask for one with --first SEED --seeds 1 --story, without --keep"
        )
    try:
        months = sorted(_all_months(asked), key=lambda month: month.seed)
    except KeepError as error:
        parser.error(f"--keep: {error}")
    if asked.story:
        print("\n".join(line for month in months for line in month.story))
    if asked.json:
        print(json.dumps({**summed(months), "days": asked.days, "months": [plain(month) for month in months]}))
    else:
        _print(months)
    return 0 if is_clean(months) else 1


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m tests.campaign",
        description=__doc__,
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--seeds", type=_count, default=8, metavar="N", help="how many seeds (default 8)")
    parser.add_argument("--first", type=int, default=1, metavar="SEED", help="the first of them (default 1)")
    parser.add_argument("--days", type=_days, default=30.0, metavar="D", help="days of each (default 30)")
    parser.add_argument(
        "--minutes", type=float, default=math.inf, metavar="M", help="report after so long what is over by then"
    )
    parser.add_argument("--jobs", type=_count, default=1, metavar="J", help="processes at a time (default 1)")
    parser.add_argument(
        "--keep", type=Path, metavar="FILE", help="keep each month here; go on with those not yet there"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object for programs")
    parser.add_argument("--story", action="store_true", help="print all that happened, line by line")
    return parser


def _count(text: str) -> int:
    count = int(text)
    if not 1 <= count <= 100_000:
        raise argparse.ArgumentTypeError(f"{text}: must be 1 to 100000")
    return count


def _days(text: str) -> float:
    days = float(text)
    if not 0.0 < days <= 400.0:
        raise argparse.ArgumentTypeError(f"{text}: must be above 0 and at most 400 days")
    return days


def _all_months(asked: argparse.Namespace) -> list[Month]:
    """The months to report on: those lived through now, and those of the file that keeps them."""
    seeds = range(asked.first, asked.first + asked.seeds)
    if asked.keep is None:
        return list(_lived(seeds, asked))
    with Kept(asked.keep, asked.days) as kept:
        for month in _lived([seed for seed in seeds if seed not in kept.months], asked):
            kept.add(month)
        return list(kept.months.values())


# several processes, one bar

_gone: Synchronized[float] | None = None  # days lived through by all processes, in each of them


def _share(gone: Synchronized[float]) -> None:
    global _gone  # noqa: PLW0603 - how a pool hands it to its processes
    _gone = gone
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the first process alone decides


def _count_days(days: float) -> None:
    assert _gone is not None
    with _gone.get_lock():
        _gone.value += days


def _one(seed: int, days: float, *, story: bool) -> Month:
    month = one_month(seed, days, _count_days)
    return month if story else replace(month, story=())


def _lived(seeds: Sequence[int], asked: argparse.Namespace) -> Iterator[Month]:
    """Their months, as they are done; those that are not when time is up, or at Ctrl-C, are left out."""
    context = multiprocessing.get_context("fork")  # before the bar, which has a thread
    gone = context.Value("d", 0.0)
    with (
        context.Pool(max(1, min(asked.jobs, len(seeds))), _share, (gone,)) as pool,
        _bar(len(seeds) * asked.days) as (progress, task),
    ):
        coming = pool.imap_unordered(partial(_one, days=asked.days, story=asked.story), seeds)
        with suppress(KeyboardInterrupt, StopIteration):
            ends_s = time.monotonic() + asked.minutes * MINUTE_S
            while time.monotonic() < ends_s:
                with suppress(multiprocessing.TimeoutError):
                    yield coming.next(LOOK_EVERY_S)
                progress.update(task, completed=gone.value)


class _bar:  # noqa: N801 - used as a function
    """A progress bar on standard error, and its task."""

    def __init__(self, total_days: float) -> None:
        self._progress = Progress(
            TextColumn("campaign"),
            BarColumn(),
            TextColumn("{task.completed:.0f} of {task.total:g} days"),
            TimeElapsedColumn(),
            TimeRemainingColumn(),
            console=Console(stderr=True),
            transient=True,
        )
        self._total_days = total_days

    def __enter__(self) -> tuple[Progress, Any]:
        self._progress.start()
        return self._progress, self._progress.add_task("", total=self._total_days)

    def __exit__(self, *_: object) -> None:
        self._progress.stop()


def _print(months: Sequence[Month]) -> None:
    """The report for people."""
    report, console = summed(months), Console()
    whole = Table("what", "figure", title="campaign")
    for row in rows(report):
        whole.add_row(*row)
    kinds = Table("fault", "injected", "no alarm, though doses rested on it", "longest until an alarm")
    for kind in kind_rows(report):
        kinds.add_row(*kind)
    console.print(whole, kinds)
    console.print("also: " + ", ".join(f"{count} × {what}" for what, count in report["happened"].items()))
    for line in findings(months):
        console.print(line, markup=False, highlight=False)


if __name__ == "__main__":
    sys.exit(main())
