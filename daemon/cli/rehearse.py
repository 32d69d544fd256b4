"""`evenwater rehearse`: a settings file against a simulated bench, days in seconds, before anything gets wet."""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

from config.load import load, raw_tables
from config.settings import Settings
from daemon import words
from daemon.cli.ask import Commands
from daemon.cli.audit import Audit
from daemon.cli.run import seconds
from daemon.cli.tally import Tally, Values
from daemon.crop.still import Day
from daemon.desk.requests import RequestRefused
from daemon.rehearsal.staging import calibrate_all, expected_levels, folder_in_memory, taken, truths
from daemon.service import CANNOT_START, Service, settings_with
from daemon.values import Cap, Condition, Quantity, State
from sim_hw import grower
from sim_hw.bench import Bench, open_rig
from sim_hw.from_settings import bench_table
from sim_hw.scenarios import SCENARIOS, VARIANTS, tables_of
from sim_hw.tables import BenchTable

DAY_S = 86400.0
LEVELS_EVERY_DAYS = 3
USUAL = Path(__file__).parents[2] / "config" / "rigs" / "quince-lane-fed.toml"
USUAL_DAYS = 14.0
DAYS_OF_ALL = 7.0  # of each with --all, so that the whole takes minutes
TRUTH_EVERY_S = 60.0
USUAL_EVERY_S = 60.0  # six times as quick as passes every 10 s, and never kinder: each dose waits for more passes
GRAVEST_FIRST = (Condition.LOCKED, Condition.HELD, Condition.WATCHING, Condition.KEEPING)
EPILOG = """\
examples:
  evenwater rehearse config/rigs/quince-lane.toml --days 14
  evenwater rehearse config/rigs/quince-lane.toml --days 2 --every 10s
  evenwater rehearse config/rigs/quince-lane.toml --days 2 --json | jq .delivered_ml
  evenwater rehearse --scenario heat-wave
  evenwater rehearse --scenario hard --compare --picture hard.svg
  evenwater rehearse --all --compare

scenarios, in an invented school garden:
{scenarios}

Shares in band are of the simulated water itself, not of what the probes say of it. The pump runs are
audited from the edges on their lines, apart from the ledger. Nothing is written to the state folder.
"""

Progressing = Callable[[float], None]


def add_commands(commands: Commands) -> None:
    """`evenwater rehearse`."""
    parser = commands.add_parser(
        "rehearse",
        help="try a settings file on a simulated reservoir, days in seconds",
        description="Run the whole program on a simulated bench wired as the settings say, as fast as it can.",
        epilog=EPILOG.format(scenarios="\n".join(f"  {name:<14}{one.says}" for name, one in SCENARIOS.items())),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument(
        "settings", type=Path, nargs="?", default=USUAL, help=f"the settings file (default {USUAL.name})"
    )
    parser.add_argument(
        "--days",
        type=_days,
        default=None,
        metavar="N",
        help=f"simulated days (default {USUAL_DAYS:g}, or the scenario's; {DAYS_OF_ALL:g} of each with --all)",
    )
    parser.add_argument("--scenario", choices=SCENARIOS, help="named water and weeks instead of the file's own")
    parser.add_argument("--all", action="store_true", help="every scenario in turn, on all cores")
    parser.add_argument(
        "--compare", action="store_true", help="ours beside other ways to keep pH, on the same water"
    )
    parser.add_argument(
        "--seeds", type=_seeds, default=4, metavar="N", help="with --compare: how many (default 4)"
    )
    parser.add_argument(
        "--variant",
        choices=VARIANTS,
        default=next(iter(VARIANTS)),
        help="with --all or --compare: what is truly otherwise than the settings believe",
    )
    parser.add_argument(
        "--picture", type=Path, metavar="FILE", help="with --compare: write pH over time and doses as an SVG"
    )
    parser.add_argument("--seed", type=int, default=1, metavar="N", help="seed of noise and chance (default 1)")
    parser.add_argument(
        "--every",
        type=_every,
        default=USUAL_EVERY_S,
        metavar="TIME",
        help=f"time between passes, 1s to 60s (default {USUAL_EVERY_S:g}s: quicker than the settings' own)",
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object for programs")
    parser.set_defaults(act=act)


def _days(text: str) -> float:
    days = float(text)
    if not 0.0 < days <= 400.0:
        raise argparse.ArgumentTypeError(f"{text}: must be above 0 and at most 400 days")
    return days


def _every(text: str) -> float:
    every_s = seconds(text)
    if not 1.0 <= every_s <= 60.0:
        raise argparse.ArgumentTypeError(f"{text}: passes may be 1s to 60s apart")
    return every_s


def _seeds(text: str) -> int:
    count = int(text)
    if not 1 <= count <= 100:
        raise argparse.ArgumentTypeError(f"{text}: must be 1 to 100")
    return count


def _no_picture(arguments: argparse.Namespace) -> str:
    """Why none can be written, before minutes go by; "" where one can."""
    folder: Path = arguments.picture.absolute().parent
    if not arguments.compare:
        return "goes with --compare"
    return "" if os.access(folder, os.W_OK | os.X_OK) else f"no folder that can be written to: {folder}"


def act(arguments: argparse.Namespace) -> int:
    """Rehearse and report. Exit 1 where a cap was crossed, or the rehearsal could not run."""
    if arguments.picture is not None and (trouble := _no_picture(arguments)):
        print(f"evenwater rehearse: --picture {arguments.picture}: {trouble}", file=sys.stderr)
        return 1
    if arguments.all or arguments.compare:
        from daemon.cli.contest import contest

        return contest(arguments)
    try:
        settings, days = _scene(arguments)
        with _bar(days) as progressing:
            report = rehearse(settings, days, arguments.seed, progressing)
    except (*CANNOT_START, grower.GrowerStoppedError, RequestRefused) as trouble:
        print(f"evenwater rehearse: {trouble}", file=sys.stderr)
        return 1
    if arguments.json:
        print(json.dumps(report, ensure_ascii=False))
    else:
        for line in _lines(report):
            print(line)
    return 1 if report["cap_violations"] else 0


def _scene(arguments: argparse.Namespace) -> tuple[Settings, float]:
    """The settings to rehearse, the scenario's changes in them, and for how many days."""
    settings, usual_days = load(arguments.settings), USUAL_DAYS
    if arguments.scenario is not None:
        scenario = SCENARIOS[arguments.scenario]
        usual_days = scenario.days
        print(f"{arguments.scenario}: {scenario.says}", file=sys.stderr)
        settings = Settings.model_validate(tables_of(raw_tables(arguments.settings), scenario))
    days = usual_days if arguments.days is None else arguments.days
    return settings_with(settings, site={"pass_every_s": arguments.every}), days


def rehearse(settings: Settings, days: float, seed: int, progressing: Progressing) -> dict[str, Any]:
    """Run `days` and give the report as plain values. progressing: told the days gone by, now and then."""
    tally = Tally()
    audit = Audit(settings)
    table = bench_table(settings, seed=seed)
    bench = open_rig(table)
    watcher = _Watcher(bench, tally, audit, progressing)
    with (
        folder_in_memory() as folder,
        Service(
            settings, rig=bench, state_folder=folder, control=False, mqtt=False, history=False, watch=watcher.see
        ) as service,
    ):
        calibrate_all(service, bench)
        watcher.begin()
        started = time.perf_counter()
        service.run(days * DAY_S)
        took_s = time.perf_counter() - started
        audit.see(taken(bench.world.edges))
        audit.finish(bench.clock.monotonic_s())
        doses = sum(1 for _ in service.ledger.export())
    return {
        "days": days,
        "seed": seed,
        "pass_every_s": settings.site.pass_every_s,
        **_counted(tally),
        "still_levels": _levels(tally, expected_levels(BenchTable.model_validate(table).tank, days)),
        "doses": doses,
        "delivered_ml": audit.total_ml(),
        "cap_violations": len(audit.violations),
        "violations": audit.violations,
        "speed_ratio": round(days * DAY_S / took_s, 1),
    }


class _Watcher:
    """Feeds the tally and the audit once the rehearsal proper has begun."""

    def __init__(self, bench: Bench, tally: Tally, audit: Audit, progressing: Progressing) -> None:
        self._bench, self._tally, self._audit, self._progressing = bench, tally, audit, progressing
        self._begun = False
        self._next_truth_s = 0.0

    def begin(self) -> None:
        self._begun = True

    def see(self, state: State) -> None:
        if not self._begun:
            return
        values: Mapping[str, Values] = {}
        if state.at_s >= self._next_truth_s:
            self._next_truth_s = state.at_s + TRUTH_EVERY_S
            values = truths(self._bench)
            self._audit.see(taken(self._bench.world.edges))
            self._progressing((state.at_s - (self._tally.begun_s or state.at_s)) / DAY_S)
        self._tally.see(state, values)


def _counted(tally: Tally) -> dict[str, Any]:
    """The tally's part of the report."""
    last = tally.last
    conditions = {} if last is None else {name: each.condition for name, each in last.reservoirs.items()}
    return {
        "passes": tally.passes,
        "in_band": tally.shares(),
        "in_band_after_6_h": tally.shares(settled=True),
        "refusals": {cap.value: count for cap, count in tally.refusals.most_common()},
        "alarms": [asdict(run) for run in tally.alarm_runs()],
        "ended_condition": next((c.value for c in GRAVEST_FIRST if c in conditions.values()), None),
        "ended_conditions": {name: condition.value for name, condition in conditions.items()},
    }


def _levels(tally: Tally, expected: Mapping[str, tuple[Day, ...]]) -> dict[str, list[dict[str, float | None]]]:
    """Of each still reservoir, day by day: how it stood, and how it should, as shares of the full one."""
    return {
        name: [
            {
                "day": day.day,
                "level": tally.levels.get(name, {}).get(day.day),
                "expected": round(day.level, 4),
                "expected_low": round(day.level_low, 4),
                "expected_high": round(day.level_high, 4),
            }
            for day in days[:-1]
        ]
        for name, days in expected.items()
    }


def _level_lines(levels: Mapping[str, list[dict[str, float | None]]]) -> Iterator[str]:
    """Every few days: how a still reservoir stood, and how it should if nobody poured anything in."""
    for name, days in levels.items():
        yield f"  level of {name}, beside what the plants should leave if nobody pours anything in"
        for day in days[::LEVELS_EVERY_DAYS]:
            stood = "not known" if day["level"] is None else f"{day['level']:.0%}"
            yield (
                f"    day {day['day']:>3}   {stood:>5}   expected {day['expected']:.0%}, "
                f"{day['expected_low']:.0%} to {day['expected_high']:.0%}"
            )


def _lines(report: Mapping[str, Any]) -> Iterator[str]:
    """The report for a person."""
    yield (
        f"{report['days']:g} days in simulated water, a pass every {report['pass_every_s']:g} s, "
        f"{report['speed_ratio']:,.0f} times as fast as real"
    )
    for quantity, share in report["in_band"].items():
        later = report["in_band_after_6_h"].get(quantity)
        after = "" if later is None else f", after the first 6 h {later:.1%}"
        yield f"  {words.QUANTITY[Quantity(quantity)]:<12}in band {share:.1%} of the time{after}"
    for pump, ml in report["delivered_ml"].items():
        yield f"  {pump:<20}{ml:.1f} mL"
    yield f"  {report['doses']} doses; cap violations: {report['cap_violations']}"
    yield from (f"  VIOLATION {what}" for what in report["violations"])
    for cap, count in report["refusals"].items():
        yield f"  refused, spells of it: {count} × {words.CAP[Cap(cap)]}"
    yield from _level_lines(report["still_levels"])
    for alarm in report["alarms"]:
        over = (
            "still there"
            if alarm["over_s"] is None
            else f"over after {_hours(alarm['over_s'] - alarm['raised_s'])}"
        )
        yield f"  alarm {alarm['key']} after {_hours(alarm['raised_s'])}, {over}"
    yield f"  ended {report['ended_condition']}"


def _hours(seconds: float) -> str:
    return f"{seconds / 3600.0:.1f} h"


@contextmanager
def _bar(days: float) -> Iterator[Progressing]:
    """A progress bar on standard error."""
    columns = (
        TextColumn("rehearsing"),
        BarColumn(),
        TextColumn("{task.completed:.1f} of {task.total:g} days"),
        TimeRemainingColumn(),
    )
    with Progress(*columns, console=Console(stderr=True), transient=True) as progress:
        task = progress.add_task("", total=days)
        yield lambda gone: progress.update(task, completed=gone)
