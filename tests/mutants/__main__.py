"""`python -m tests.mutants`: takes out each interlock and each cap check in turn, and shows that a test fails.

Works in private copies of this tree; here nothing is changed.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from contextlib import ExitStack
from pathlib import Path
from queue import SimpleQueue

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table

from tests.mutants.listed import MUTANTS
from tests.mutants.mutant import Mutant
from tests.mutants.trial import Trial, copy_tree, forking, passing, tried

BASE_WITHIN_S = 900.0
EPILOG = """\
examples:
  make mutants                                  all of them
  python -m tests.mutants --only keeper         those with `keeper` in their name
  python -m tests.mutants --list                what there is

exit code: 0 each was noticed, 1 one was not, or its entry is stale; 2 used wrongly, or the tests fail as they are
"""


def main(arguments: Sequence[str] | None = None) -> int:
    """Try the mutants asked for and report."""
    asked = _parser().parse_args(arguments)
    chosen = [mutant for mutant in MUTANTS if asked.only in mutant.name]
    if not chosen:
        print(f"no mutant has `{asked.only}` in its name: --list shows them all", file=sys.stderr)
        return 2
    if asked.list:
        for mutant in chosen:
            print(f"{mutant.name:<44}{mutant.file}")
        return 0
    with ExitStack() as stack:
        copies = [
            Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="mutants-"))) for _ in range(asked.jobs)
        ]
        for copy in copies:
            copy_tree(copy)
        trouble = _trouble_without(chosen, copies[0])
        if trouble:
            print(f"these tests fail with nothing taken out: mend them first\n{trouble}", file=sys.stderr)
            return 2
        return _report(sorted(_trials(chosen, copies, asked.within_s), key=lambda trial: trial.name))


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m tests.mutants",
        description=__doc__,
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--only", default="", metavar="NAME", help="those with NAME in their name")
    parser.add_argument("--jobs", type=_count, default=1, metavar="N", help="how many at a time (default 1)")
    parser.add_argument("--within-s", type=float, default=60.0, metavar="S", help="for each (default 60)")
    parser.add_argument("--list", action="store_true", help="name them, try none")
    return parser


def _count(text: str) -> int:
    count = int(text)
    if count < 1:
        raise ValueError
    return count


def _trouble_without(chosen: Sequence[Mutant], copy: Path) -> str:
    """What the tests say with nothing taken out; "" where all pass."""
    tests = sorted({test for mutant in chosen for test in mutant.tests})
    print(f"{len(tests)} tests and files of tests, first with nothing taken out", flush=True)
    code, said = passing(forking(), copy, tests, BASE_WITHIN_S)
    return "" if code == 0 else said or "no answer"


def _trials(chosen: Sequence[Mutant], copies: Sequence[Path], within_s: float) -> Iterator[Trial]:
    """Each mutant's trial as it ends, one copy to a worker."""
    context, free = forking(), SimpleQueue[Path]()
    for copy in copies:
        free.put(copy)

    def in_a_copy(mutant: Mutant) -> Trial:
        copy = free.get()
        try:
            return tried(context, copy, mutant, within_s)
        finally:
            free.put(copy)

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True)) as progress, ThreadPoolExecutor(len(copies)) as pool:
        bar = progress.add_task("mutants", total=len(chosen))
        for done in as_completed([pool.submit(in_a_copy, mutant) for mutant in chosen]):
            trial = done.result()
            progress.advance(bar)
            if not trial.is_well:
                progress.console.print(f"{trial.name}: {trial.verdict}", markup=False)
            yield trial


def _report(trials: Sequence[Trial]) -> int:
    table = Table("mutant", "", "s", box=None)
    for trial in trials:
        table.add_row(trial.name, trial.verdict, f"{trial.took_s:.1f}")
    Console().print(table)
    unwell = [trial for trial in trials if not trial.is_well]
    for trial in unwell:
        print(f"\n{trial.name}: {trial.verdict}\n{trial.said}")
    took_s = sum(trial.took_s for trial in trials)
    noticed = f"{len(trials) - len(unwell)} noticed, {len(unwell)} not"
    print(f"\n{len(trials)} taken out, {noticed}; {took_s:.0f} s of trials")
    return 1 if unwell else 0


if __name__ == "__main__":
    sys.exit(main())
