"""`make bench`: the figures the README claims, measured in one run and printed with their targets.

Ratios where a ratio fits; absolute times belong to the machine they were measured on and are only shown.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from adafruit_ads1x15.ads1115 import ADS1115

from config.load import load, raw_tables
from config.settings import Settings
from daemon.cli.contest import WAYS, runs_of
from daemon.cli.rehearse import DAYS_OF_ALL, USUAL, rehearse
from daemon.rehearsal.compare import ORACLE, OURS, Run, mean_and_spread, scores, targets_over
from daemon.service import Service, settings_with
from sim_hw.bench import open_rig
from sim_hw.from_settings import bench_table
from sim_hw.scenarios import SCENARIOS, VARIANTS
from tests.page import two_years
from tests.page.watching import PHONES, resident_mb, with_phones
from tests.river.report import page, replay
from tests.river.series import folder, sites
from tests.uncertainty import CASES, DRAWS, SEED

RIG = Path(__file__).parent.parent / "config" / "rigs" / "quince-lane.toml"
DAY_S = 86400.0
RSS_PASSES = 60
CONVERSIONS = 5000
PASSES = 3000
LEAST_IN_BAND = 0.99
SEEDS = (1, 2, 3, 4)
OTHERWISE_IN, OTHERWISE_DAYS, LEAST_OTHERWISE = ("typical", "soft", "hard-corner"), 4.0, 0.99


Row = tuple[str, str, str, bool | None]
"""What, measured, target; whether it is met, None where nothing is aimed at."""

_WORDS = {True: "met", False: "MISSED", None: ""}


def main() -> int:
    """Print every figure as a row: what, measured, target, whether it is met. 1 where one is missed."""
    settings = load(RIG)
    missed = 0
    for what, measured, target, met in _figures(settings):
        print(f"{what:<66}{measured:>14}   {target:<14}{_WORDS[met]}".rstrip(), flush=True)
        missed += met is False
    where = folder()
    print(
        "real probes in a river: not replayed, RIVER_DATA is not set"
        if where is None
        else page([*map(replay, sites(where))])
    )
    print(f"missed: {missed}")
    return 1 if missed else 0


def _figures(settings: Settings) -> Iterator[Row]:
    ten = settings_with(settings, site={"pass_every_s": 10.0})
    day = rehearse(ten, 1.0, 1, _quietly)
    yield _speed("rehearsal, a pass every 10 s, simulated : real time", day["speed_ratio"], 3000.0)
    fortnight = rehearse(settings_with(settings, site={"pass_every_s": 60.0}), 14.0, 1, _quietly)
    yield _speed("rehearsal, a pass every 60 s, simulated : real time", fortnight["speed_ratio"], 15000.0)
    settled, up_ml = fortnight["in_band_after_6_h"]["ph"], fortnight["delivered_ml"]["bed1/ph_up"]
    crossed = fortnight["cap_violations"]
    yield (
        "fortnight: share of time with pH in band after the first 6 h",
        f"{settled:.2%}",
        "99 %",
        settled >= LEAST_IN_BAND,
    )
    yield "fortnight: cap violations", str(crossed), "0", crossed == 0
    yield "fortnight: pH up dosed", f"{up_ml:.1f} mL", "0 mL", up_ml == 0.0
    drawn, _ = CASES[0].drawn(DRAWS, SEED)
    reckoned = f"{CASES[0].reckoned():.4f} by the GUM"
    yield (
        "pH 5.8 after two buffers: standard uncertainty, drawn (docs/uncertainty.md)",
        f"{drawn:.4f}",
        reckoned,
        None,
    )
    pass_ms, conversion_us = _pass_cpu_ms(ten), _conversion_us(ten)
    yield _below("CPU of one pass, one reservoir, simulated bus included", pass_ms, 5.0, "ms")
    share = 9 * conversion_us / 1000.0 / pass_ms
    yield "share of that in 9 conversions through the ADC library", f"{share:.0%}", "", None
    yield _below("resident memory of `evenwater run`", _resident_mb(), 55.0, "MB")
    yield from _trend()
    yield from _watched()
    yield from _beside_others()
    for variant in list(VARIANTS)[1:]:
        yield _otherwise(variant)


def _watched() -> Iterator[Row]:
    """The page with phones that watch, beside a stepped bench that does nothing but passes."""
    with tempfile.TemporaryDirectory() as state:
        watching = with_phones(Path(state))
    yield _below(f"resident memory of `evenwater page`, {PHONES} phones watching", watching.rss_mb, 80.0, "MB")
    what = f"processor time of a pass, {PHONES} phones watching : none"
    yield what, f"{watching.ratio:.2f} : 1", "1.1 : 1", watching.ratio < 1.1


def _trend() -> Iterator[Row]:
    """The page's trend over two years of minutes."""
    with tempfile.TemporaryDirectory() as folder:
        started_s = time.perf_counter()
        values = two_years.build(Path(folder))
        took_s = time.perf_counter() - started_s
        made = f"{values / 1e6:.1f} million values of two years, made for the page's trend"
        yield made, f"{took_s:.0f} s", "", None
        for span, took_ms, cpu_ms, size in two_years.figures(Path(folder)):
            most_ms = two_years.MOST_MS
            target = f"{most_ms:.0f} ms, {cpu_ms / most_ms:.0%} of it on the processor; {size / 1000:.0f} kB"
            yield f"  the page's trend of {span}", f"{took_ms:.0f} ms", target, cpu_ms <= most_ms


def _speed(what: str, ratio: float, least: float) -> Row:
    return what, f"{ratio:,.0f} : 1", f"{least:,.0f} : 1", ratio >= least


def _below(what: str, amount: float, most: float, unit: str) -> Row:
    return what, f"{amount:.2f} {unit}", f"{most:g} {unit}", amount <= most


def _beside_others() -> Iterator[Row]:
    """`rehearse --all --compare`, whole: its time, and what it shows."""
    runs = list(runs_of(SCENARIOS, WAYS, SEEDS, Run("", "", 0, days=DAYS_OF_ALL)))
    began_s = time.perf_counter()
    found = scores(runs, raw_tables(USUAL), os.cpu_count() or 1, lambda: None)
    took_s = time.perf_counter() - began_s
    what = f"rehearse --all --compare, {DAYS_OF_ALL:g} days, {len(SEEDS)} seeds, on {os.cpu_count()} cores"
    yield _below(what, took_s, 180.0, "s")
    for said, measured, met in targets_over(found):
        yield f"  {said}", measured, "", met


def _otherwise(variant: str) -> Row:
    """Where something is truly otherwise than the settings believe. Gently: no fight, crossing or excess."""
    runs = list(runs_of(OTHERWISE_IN, (OURS, ORACLE), SEEDS[:1], Run("", "", 0, variant, OTHERWISE_DAYS)))
    found = scores(runs, raw_tables(USUAL), os.cpu_count() or 1, lambda: None)
    ours, best = (mean_and_spread(s for r, s in found.items() if r.way == way)[0] for way in (OURS, ORACLE))
    errors = f"{ours.error_ph_h:.2f} : {best.error_ph_h:.2f} pH·h"
    measured = f"{ours.near:.1%}, {errors}, {ours.starts:.0f} : {best.starts:.0f}"
    gently = ours.crossings == ours.fights == ours.violations == 0.0 and ours.near >= LEAST_OTHERWISE
    return f"{variant}: ±0.2 pH, error, starts (ours : oracle)", measured, "99 %, no fight", gently


def _quietly(_days: float) -> None:
    """A rehearsal's progress, unshown."""


def _pass_cpu_ms(settings: Settings) -> float:
    rig = open_rig(bench_table(settings, seed=1))
    with (
        tempfile.TemporaryDirectory() as folder,
        Service(settings, rig=rig, state_folder=Path(folder), control=False, mqtt=False) as service,
    ):
        started_s = time.process_time()
        service.run(PASSES * settings.site.pass_every_s)
        return (time.process_time() - started_s) / PASSES * 1000.0


def _conversion_us(settings: Settings) -> float:
    rig = open_rig(bench_table(settings, seed=1))
    chip = ADS1115(rig.i2c(1))
    started_s = time.process_time()
    for _ in range(CONVERSIONS):
        chip.read(0)
    took_s = time.process_time() - started_s
    rig.close()
    return took_s / CONVERSIONS * 1e6


def _resident_mb() -> float:
    """Of a running daemon on the bench, its MQTT link trying and its control socket open."""
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, "-m", "daemon.cli.main", "run", str(RIG), "--state", folder]
        with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as daemon:
            time.sleep(RSS_PASSES / 6.0)  # the rig passes six times a second
            found_mb = resident_mb(daemon.pid)
            daemon.terminate()
    return found_mb


if __name__ == "__main__":
    sys.exit(main())
