"""`evenwater rehearse --all` and `--compare`: scenarios on all cores, ours beside other ways to keep pH."""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from config.load import raw_tables
from config.settings import Settings
from daemon.cli.rehearse import DAYS_OF_ALL
from daemon.rehearsal.compare import (
    HEADINGS,
    OURS,
    Run,
    Score,
    live_all,
    lived,
    mean_and_spread,
    picture,
    same_as,
    targets_over,
    waters_of,
)
from daemon.rehearsal.rivals import RIVALS, NoPid, Sight
from daemon.service import CANNOT_START
from sim_hw.grower import GrowerStoppedError
from sim_hw.scenarios import SCENARIOS, VARIANTS, tables_of

WAYS = (*RIVALS, OURS)
FEWEST_DAYS = 1.1


def contest(arguments: argparse.Namespace) -> int:
    """Run, print and draw. 1 where a cap was crossed or it could not run, else 0."""
    if arguments.days is not None and not arguments.days >= FEWEST_DAYS:
        print(
            f"evenwater rehearse: --days {arguments.days:g}: with --all or --compare at least {FEWEST_DAYS:g}, "
            "since figures begin with the second day",
            file=sys.stderr,
        )
        return 1
    try:
        base = raw_tables(arguments.settings)
        runs = _runs(arguments)
        drawn = [run for run in runs if (run.scenario, run.seed) == (runs[0].scenario, runs[0].seed)]
        seen = _live_all(runs, base, drawn if arguments.picture is not None else ())
        if arguments.picture is not None:
            _draw(arguments.picture, {run: sight for run in drawn if (sight := seen[run][1]) is not None}, base)
    except (NoPid, GrowerStoppedError, *CANNOT_START) as trouble:
        print(f"evenwater rehearse: {trouble}", file=sys.stderr)
        return 1
    found = {run: score for run, (score, _) in seen.items()}
    if arguments.json:
        each = [{**asdict(run), **asdict(score)} for run, score in found.items()]
        print(json.dumps(each, ensure_ascii=False))
    else:
        _print(arguments, found)
    return 1 if any(score.violations for score in found.values()) else 0


def _runs(arguments: argparse.Namespace) -> list[Run]:
    names = list(SCENARIOS) if arguments.all else [arguments.scenario or next(iter(SCENARIOS))]
    days = arguments.days if arguments.days is not None else (DAYS_OF_ALL if arguments.all else None)
    ways, seeds = (WAYS, arguments.seeds) if arguments.compare else ((OURS,), 1)
    begin: int = arguments.seed
    return list(runs_of(names, ways, range(begin, begin + seeds), Run("", "", 0, arguments.variant, days)))


def runs_of(names: Iterable[str], ways: Sequence[str], seeds: Sequence[int], like: Run) -> Iterator[Run]:
    """Each way in each water with each seed; where nothing is dosed ours alone, once. like: the rest of each."""
    for name in names:
        dosed = SCENARIOS[name].dosed
        for way in ways if dosed else (OURS,):
            for seed in seeds if dosed else seeds[:1]:
                yield replace(like, scenario=name, way=way, seed=seed)


def _live_all(
    runs: Sequence[Run], base: Mapping[str, Any], drawn: Sequence[Run]
) -> dict[Run, tuple[Score, Sight | None]]:
    columns = (TextColumn("rehearsing"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as progress:
        task = progress.add_task("", total=lived(runs))
        return live_all(runs, base, os.cpu_count() or 1, lambda: progress.advance(task), drawn)


def _draw(path: Path, seen: Mapping[Run, Sight], base: Mapping[str, Any]) -> None:
    """Each way in the first of the waters, with the first of the seeds."""
    run = next(iter(seen))
    scenario = SCENARIOS[run.scenario]
    settings = Settings.model_validate(tables_of(base, scenario))
    title, days = f"{run.scenario}: {scenario.says} (simulated)", run.days or scenario.days
    drawing = picture(title, {run.way: sight for run, sight in seen.items()}, settings, days)
    path.write_text(drawing, encoding="utf-8")
    print(f"picture: {path}", file=sys.stderr)


def _print(arguments: argparse.Namespace, found: Mapping[Run, Score]) -> None:
    width = max(len(way) for way in WAYS) + 2
    for name in dict.fromkeys(run.scenario for run in found):
        mine = {run: score for run, score in found.items() if run.scenario == name}
        print()
        for line in _head(name, list(mine)):
            print(line)
        print(" " * width + "".join(f"{heading:>16}" for heading in HEADINGS))
        for way in dict.fromkeys(run.way for run in mine):
            print(f"{way:<{width}}" + "".join(_cells([s for r, s in mine.items() if r.way == way])))
    if arguments.compare:
        _print_targets(found)


def _head(name: str, runs: Sequence[Run]) -> Iterator[str]:
    """What was rehearsed."""
    of, run = SCENARIOS[name], runs[0]
    days, seeds = run.days or of.days, len({each.seed for each in runs})
    yield f"{name}: {of.says}. {days:g} days, seeds: {seeds}, simulated; mean (spread)"
    if (other := same_as(name, run.days)) != name:
        yield f"for so long no other than {other}, whose figures these are; --days {of.days:g} shows more"
    if run.variant != next(iter(VARIANTS)):
        yield f"with {run.variant}"


def _cells(of_seeds: Sequence[Score]) -> Iterator[str]:
    mean, spread = (asdict(each) for each in mean_and_spread(of_seeds))
    for key, amount in mean.items():
        text = f"{amount:.2%}" if key in ("near", "ec_near") else f"{amount:.3g}"
        off = f"{spread[key]:.2%}" if key in ("near", "ec_near") else f"{spread[key]:.2g}"
        yield f"{text + ' (' + off + ')':>16}"


def _print_targets(found: Mapping[Run, Score]) -> None:
    """Ours against the oracle and the PID with a dead band, over all scenarios that are dosed."""
    waters, run = waters_of(found), next(iter(found))
    if not waters:
        print("\nnothing is dosed in it: nothing to compare")
        return
    days, seeds = run.days or SCENARIOS[run.scenario].days, {each.seed for each in found}
    print(f"\nmeans over waters: {len(waters)}, days: {days:g}, seeds of chance: {len(seeds)} (--days, --seeds)")
    print("The first day, on the way to the target, counts for starts, acid and base, fights and caps alone:")
    for what, measured, met in targets_over(found):
        print(f"  {'met' if met else 'MISSED':<8}{what:<58}{measured}")
