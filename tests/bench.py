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
from daemon.cli.rehearse import USUAL, rehearse
from daemon.compare import BANDED, ORACLE, OURS, Run, scores, targets_over
from daemon.service import Service, settings_with
from sim_hw.bench import open_rig
from sim_hw.from_settings import bench_table
from sim_hw.scenarios import SCENARIOS
from tests.page import two_years
from tests.river.report import page, replay
from tests.river.series import folder, sites
from tests.uncertainty import CASES, DRAWS, SEED

RIG = Path(__file__).parent.parent / "config" / "rigs" / "quince-lane.toml"
DAY_S = 86400.0
PAGE_BYTES = os.sysconf("SC_PAGE_SIZE")
RSS_PASSES = 60
CONVERSIONS = 5000
PASSES = 3000
BESIDE_DAYS = 4.0


def main() -> int:
    """Print every figure as a row: what, measured, target."""
    settings = load(RIG)
    for what, measured, target in _figures(settings):
        print(f"{what:<66}{measured:>14}   {target}", flush=True)
    where = folder()
    print(
        "real probes in a river: not replayed, RIVER_DATA is not set"
        if where is None
        else page([*map(replay, sites(where))])
    )
    return 0


def _figures(settings: Settings) -> Iterator[tuple[str, str, str]]:
    ten = settings_with(settings, site={"pass_every_s": 10.0})
    day = rehearse(ten, 1.0, 1, _quietly)
    yield "rehearsal, a pass every 10 s, simulated : real time", f"{day['speed_ratio']:,.0f} : 1", "3,000 : 1"
    fortnight = rehearse(settings_with(settings, site={"pass_every_s": 60.0}), 14.0, 1, _quietly)
    yield (
        "rehearsal, a pass every 60 s, simulated : real time",
        f"{fortnight['speed_ratio']:,.0f} : 1",
        "15,000 : 1",
    )
    settled = fortnight["in_band_after_6_h"]["ph"]
    yield "fortnight: share of time with pH in band after the first 6 h", f"{settled:.2%}", "99 %"
    yield "fortnight: cap violations", str(fortnight["cap_violations"]), "0"
    yield "fortnight: pH up dosed", f"{fortnight['delivered_ml']['bed1/ph_up']:.1f} mL", "0 mL"
    drawn, _ = CASES[0].drawn(DRAWS, SEED)
    reckoned = f"{CASES[0].reckoned():.4f} by the GUM"
    yield "pH 5.8 after two buffers: standard uncertainty, drawn (docs/uncertainty.md)", f"{drawn:.4f}", reckoned
    pass_ms, conversion_us = _pass_cpu_ms(ten), _conversion_us(ten)
    yield "CPU of one pass, one reservoir, simulated bus included", f"{pass_ms:.2f} ms", "5 ms"
    share = 9 * conversion_us / 1000.0 / pass_ms
    yield "share of that in 9 conversions through the ADC library", f"{share:.0%}", ""
    yield "resident memory of `evenwater run`", f"{_resident_mb():.1f} MB", "55 MB"
    yield from _trend()
    yield from _beside_others()


def _trend() -> Iterator[tuple[str, str, str]]:
    """The page's trend over two years of minutes."""
    with tempfile.TemporaryDirectory() as folder:
        started_s = time.perf_counter()
        values = two_years.build(Path(folder))
        took_s = time.perf_counter() - started_s
        yield f"{values / 1e6:.1f} million values of two years, made for the page's trend", f"{took_s:.0f} s", ""
        for span, took_ms, cpu_ms, size in two_years.figures(Path(folder)):
            share = f"{cpu_ms / two_years.MOST_MS:.0%} of it on the processor; {size / 1000:.0f} kB"
            yield f"  the page's trend of {span}", f"{took_ms:.0f} ms", f"{two_years.MOST_MS:.0f} ms, {share}"


def _beside_others() -> Iterator[tuple[str, str, str]]:
    """A share of `rehearse --all --compare`: each water that is dosed, one seed."""
    waters = [name for name, scenario in SCENARIOS.items() if scenario.dosed]
    runs = [Run(name, way, 1, days=BESIDE_DAYS) for name in waters for way in (OURS, ORACLE, BANDED)]
    started_s = time.perf_counter()
    found = scores(runs, raw_tables(USUAL), os.cpu_count() or 1, lambda: None)
    took_s = time.perf_counter() - started_s
    yield f"{len(waters)} waters, {BESIDE_DAYS:g} days, 1 seed, beside oracle and PID", f"{took_s:.0f} s", ""
    for what, measured, met in targets_over(found):
        yield f"  {what}", measured, "met" if met else "missed"


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
            pages = int(Path(f"/proc/{daemon.pid}/statm").read_text(encoding="ascii").split()[1])
            daemon.terminate()
    return pages * PAGE_BYTES / 1e6


if __name__ == "__main__":
    sys.exit(main())
