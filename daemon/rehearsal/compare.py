"""Ours against other ways to keep pH: the same water, pumps and caps, several seeds, one table, one picture."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import astuple, dataclass, fields, replace
from html import escape
from statistics import fmean, stdev
from typing import Any

from config.settings import Settings
from daemon.cli.audit import Audit
from daemon.measure.convert import PhCalibration, nernst_slope_mv_per_ph
from daemon.rehearsal.rivals import DAY_S, HOUR_S, RIVALS, WITHOUT_CHANCE, Rival, Sight
from daemon.rehearsal.staging import calibrate_all, folder_in_memory, taken
from daemon.service import Service
from daemon.values import Quantity, State
from sim_hw.bench import open_rig
from sim_hw.faults import FaultName
from sim_hw.from_settings import bench_table
from sim_hw.scenarios import BED, SCENARIOS, VARIANTS, Scenario, tables_of
from sim_hw.tables import check

OURS, ORACLE, BANDED = "ours", "oracle", "pid, dead band"
NEAR_PH = 0.2
SETTLED_S = DAY_S
LIKE_SHARE = 0.001  # two ways that are near for all but so much of the time are alike in that
EC_SHARE = 0.1
OPPOSITE_S = 6 * HOUR_S
BEFORE_DAYS = 1.0  # a bench's faults count from its start: calibrating comes before the first day
START_DAY_S = 6 * HOUR_S  # of a stepped bench's local day


@dataclass(frozen=True, slots=True)
class Score:
    """How one run went. From the second day on: share within ±0.2 pH, integral of |error| in pH h, share of EC
    within 10 %, crossings of the band's far edge. Of the whole: pump starts, mL of acid and base for each litre,
    doses of base within 6 h of acid (or the other way round), cap violations."""

    near: float
    error_ph_h: float
    starts: float
    ml_per_l: float
    ec_near: float
    crossings: float
    fights: float
    violations: float


HEADINGS = ("±0.2 pH", "pH·h", "starts", "mL/L", "EC ±10 %", "far edge", "fights", "over cap")


@dataclass(frozen=True, slots=True)
class Run:
    """One way, in one scenario, with one seed."""

    scenario: str
    way: str
    seed: int
    variant: str = "as it is"
    days: float | None = None


def score(sight: Sight, settings: Settings) -> Score:
    """The figures of one run."""
    bed = settings.reservoir[BED]
    late = [(at_s, ph) for at_s, ph in sight.ph if at_s >= SETTLED_S]
    errors = [abs(ph - bed.ph.target) for _, ph in late]
    step_h = (late[1][0] - late[0][0]) / HOUR_S
    target_ec = bed.ec.target_ms_per_cm
    ecs = [abs(ec - target_ec) <= EC_SHARE * target_ec for at_s, ec in sight.ec if at_s >= SETTLED_S]
    return Score(
        near=fmean(error <= NEAR_PH for error in errors),
        error_ph_h=sum(errors) * step_h,
        starts=len(sight.doses),
        ml_per_l=sum(abs(ml) for _, ml in sight.doses) / bed.volume_l,
        ec_near=fmean(ecs),
        crossings=_crossings([ph < bed.bands.ph_low for _, ph in late]),
        fights=_fights(sight.doses),
        violations=sight.violations,
    )


def _crossings(outside: Sequence[bool]) -> int:
    return sum(now and not before for before, now in zip([False, *outside], outside, strict=False))


def _fights(doses: Sequence[tuple[float, float]]) -> int:
    """Doses that come within six hours of an opposite one."""
    return sum(
        any(0.0 < at_s - before_s < OPPOSITE_S and before_ml * ml < 0.0 for before_s, before_ml in doses)
        for at_s, ml in doses
    )


def live(run: Run, base: Mapping[str, Any]) -> tuple[Score, Sight]:
    """One run from beginning to end, in this process."""
    scenario = SCENARIOS[run.scenario]
    raw = tables_of(base, scenario, VARIANTS[run.variant])
    settings = Settings.model_validate(raw)
    days = scenario.days if run.days is None else run.days
    off_ph = float(VARIANTS[run.variant].get("calibration_off_ph", 0.0))
    sight = _ours(settings, run.seed, days, off_ph) if run.way == OURS else _rival(settings, run, days, off_ph)
    return score(sight, settings), sight


def _rival(settings: Settings, run: Run, days: float, off_ph: float) -> Sight:
    bed, bench = settings.reservoir[BED], check(bench_table(settings, seed=run.seed))
    empty = [fault for fault in bench.fault if fault.name is FaultName.BOTTLE_EMPTY]
    dry_s = {fault.target.partition("/")[2]: fault.start_s for fault in empty}
    way = RIVALS[run.way](bed)
    return Rival(bed, bench.tank[BED], way, seed=run.seed, off_ph=off_ph, dry_s=dry_s).live(days, START_DAY_S)


def _ours(settings: Settings, seed: int, days: float, off_ph: float) -> Sight:
    """The whole program on the stepped bench; pH and EC are the water's own, each minute.

    off_ph: how much too low every pH is read, as after buffers that were not what their labels say.
    """
    bench = open_rig(bench_table(settings, seed=seed))
    audit, sight = Audit(settings), Sight()
    rates = {pump.line: (role, pump.ml_per_s) for role, pump in settings.reservoir[BED].pump.items()}
    tank = bench.world.basins[BED].tank
    begun_s: list[float] = []
    on_s: dict[int, float] = {}

    def see(state: State) -> None:
        if not begun_s:
            return
        look = tank.look()
        sight.ph.append((state.at_s - begun_s[0], look.ph))
        sight.ec.append((state.at_s - begun_s[0], look.ec25_ms_per_cm))
        edges = list(taken(bench.world.edges))
        audit.see(edges)
        for edge in edges:
            role, rate = rates[edge.line]
            if edge.on:
                on_s[edge.line] = edge.at_s
            elif edge.line in on_s and role in ("ph_down", "ph_up"):
                ml = (edge.at_s - on_s.pop(edge.line)) * rate
                sight.doses.append((edge.at_s - begun_s[0], ml if role == "ph_down" else -ml))

    with (
        folder_in_memory() as folder,
        Service(
            settings, rig=bench, state_folder=folder, control=False, mqtt=False, history=False, watch=see
        ) as service,
    ):
        calibrate_all(service, bench)
        _miscalibrate(service, off_ph)
        bench.world.edges.clear()
        begun_s.append(bench.clock.monotonic_s())
        service.run(days * DAY_S)
        audit.see(taken(bench.world.edges))
        audit.finish(bench.clock.monotonic_s())
    sight.violations = len(audit.violations)
    return sight


def _miscalibrate(service: Service, off_ph: float) -> None:
    calibration = service.book.get(BED, Quantity.PH)
    if off_ph and isinstance(calibration, PhCalibration):
        off_mv = off_ph * nernst_slope_mv_per_ph(25.0) * calibration.slope_percent / 100.0
        service.book.put(BED, Quantity.PH, replace(calibration, offset_mv=calibration.offset_mv - off_mv), ())


def scores(runs: Sequence[Run], base: Mapping[str, Any], jobs: int, done: Callable[[], None]) -> dict[Run, Score]:
    """All of them, as `live_all`."""
    return {run: score for run, (score, _) in live_all(runs, base, jobs, done).items()}


def live_all(
    runs: Sequence[Run],
    base: Mapping[str, Any],
    jobs: int,
    done: Callable[[], None],
    drawn: Collection[Run] = frozenset(),
) -> dict[Run, tuple[Score, Sight | None]]:
    """All of them, in so many processes, the long ones first; `done` is called after each.

    What they saw is large, and kept for those alone that are to be drawn. A way without chance goes the same way
    with every seed, and is run once.
    """
    once = dict.fromkeys(sorted(map(_lived_as, runs), key=lambda run: run.way != OURS))
    kept = set(map(_lived_as, drawn))
    with ProcessPoolExecutor(jobs) as pool:
        results = {run: pool.submit(_lived, run, base, seen=run in kept) for run in once}
        for one in as_completed(results.values()):
            one.result()
            done()
    return {run: results[_lived_as(run)].result() for run in runs}


def lived(runs: Iterable[Run]) -> int:
    """How many of them are truly run."""
    return len(set(map(_lived_as, runs)))


def _lived_as(run: Run) -> Run:
    """The run that goes the same way, and is lived in its place."""
    same = replace(run, scenario=same_as(run.scenario, run.days))
    return replace(same, seed=0) if run.way in WITHOUT_CHANCE else same


def same_as(name: str, days: float | None) -> str:
    """The first scenario that is no other than this one for so many days: a fault yet to come changes nothing."""
    if days is None:
        return name
    here = _until(SCENARIOS[name], days)
    return next(other for other, scenario in SCENARIOS.items() if _until(scenario, days) == here)


def _until(scenario: Scenario, days: float) -> Scenario:
    soon = [fault for fault in scenario.faults if fault["start_s"] < (days + BEFORE_DAYS) * DAY_S]
    return replace(scenario, says="", days=days, faults=tuple(soon))


def _lived(run: Run, base: Mapping[str, Any], *, seen: bool) -> tuple[Score, Sight | None]:
    score, sight = live(run, base)
    return score, sight if seen else None


def mean_and_spread(found: Iterable[Score]) -> tuple[Score, Score]:
    """Means, and sample standard deviations (0 for one run)."""
    columns = list(zip(*(astuple(one) for one in found), strict=True))
    spread = [stdev(column) if len(column) > 1 else 0.0 for column in columns]
    return Score(*map(fmean, columns)), Score(*spread)


def waters_of(runs: Iterable[Run]) -> list[str]:
    """The waters that are dosed, each once: without those that are no other than one before for so long."""
    days = {run.scenario: run.days for run in runs if SCENARIOS[run.scenario].dosed}
    return [name for name, of in days.items() if (first := same_as(name, of)) == name or first not in days]


def targets_over(found: Mapping[Run, Score]) -> list[tuple[str, str, bool]]:
    """As `targets`, for the means over all runs in waters that are dosed, each of them once."""
    waters = waters_of(found)
    counted = {run: score for run, score in found.items() if run.scenario in waters}
    means = {
        way: mean_and_spread(score for run, score in counted.items() if run.way == way)[0]
        for way in (OURS, ORACLE, BANDED)
    }
    return targets(means[OURS], means[ORACLE], means[BANDED])


def targets(ours: Score, oracle: Score, banded: Score) -> list[tuple[str, str, bool]]:
    """What is aimed at, as measured, and whether it is met. banded: the PID with a dead band."""
    ratio = ours.error_ph_h / oracle.error_ph_h
    reagent = ours.ml_per_l / oracle.ml_per_l
    worse = {
        "share": ours.near < banded.near - LIKE_SHARE,
        "error": ours.error_ph_h > banded.error_ph_h,
        "starts": ours.starts > banded.starts,
        "acid and base": ours.ml_per_l > banded.ml_per_l,
    }
    where = ", ".join(column for column, is_worse in worse.items() if is_worse)
    return [
        ("within ±0.2 pH from the second day, at least 99.5 %", f"{ours.near:.2%}", ours.near >= 0.995),
        ("integral of error, at most 1.4 times the oracle's", f"{ratio:.2f}", ratio <= 1.4),
        ("acid and base, at most 1.05 times the oracle's", f"{reagent:.3f}", reagent <= 1.05),
        (
            "pump starts, at most the oracle's",
            f"{ours.starts:.0f} : {oracle.starts:.0f}",
            ours.starts <= oracle.starts,
        ),
        ("EC within 10 %, at least 99 %", f"{ours.ec_near:.2%}", ours.ec_near >= 0.99),
        ("crossings of the band's far edge, none", f"{ours.crossings:.0f}", ours.crossings == 0),
        ("base within 6 h of acid, none", f"{ours.fights:.0f}", ours.fights == 0),
        ("cap violations, none", f"{ours.violations:.0f}", ours.violations == 0),
        ("no worse than the PID with a dead band (share: to 0.1 %)", f"worse: {where or 'nowhere'}", not where),
    ]


COLUMNS = tuple(each.name for each in fields(Score))

# The picture: pH over time for each way, one strip below the other, doses as marks.

WIDTH, STRIP, LEFT, RIGHT, TOP, GAP = 1000.0, 110.0, 130.0, 20.0, 60.0, 22.0
LOW_PH, HIGH_PH = 5.2, 7.6
MOST_POINTS = 900


def picture(title: str, sights: Mapping[str, Sight], settings: Settings, days: float) -> str:
    """An SVG: the band a bar, the target a line, pH a curve, acid as ticks below, base as ticks above."""
    bed = settings.reservoir[BED]
    height = TOP + len(sights) * (STRIP + GAP) + 40.0
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {height:g}" font-family="sans-serif" '
        f'font-size="14"><rect width="100%" height="100%" fill="#ffffff"/>',
        f'<text x="{LEFT:g}" y="26" font-size="18">{escape(title)}</text>',
        f'<text x="{LEFT:g}" y="46" fill="#444444">pH over {days:g} days; bar: the band; ticks: doses '
        "(below: acid, above: base)</text>",
    ]
    for place, (way, sight) in enumerate(sights.items()):
        top = TOP + place * (STRIP + GAP)
        parts += _strip(way, sight, (bed.bands.ph_low, bed.bands.ph_high, bed.ph.target), top, days)
    for day in range(0, int(days) + 1, max(1, int(days) // 7)):
        x = _x(day * DAY_S, days)
        parts.append(f'<text x="{x:.1f}" y="{height - 16:g}" text-anchor="middle">day {day}</text>')
    return "\n".join([*parts, "</svg>\n"])


def _strip(way: str, sight: Sight, band: tuple[float, float, float], top: float, days: float) -> list[str]:
    low, high, target = band
    right = WIDTH - RIGHT
    points = sight.ph[:: max(1, len(sight.ph) // MOST_POINTS)]
    curve = " ".join(f"{_x(at_s, days):.1f},{_y(ph, top):.1f}" for at_s, ph in points)
    ticks = " ".join(
        f"M{_x(at_s, days):.1f},{top + STRIP - 8 if ml > 0 else top:.1f}v8" for at_s, ml in sight.doses
    )
    starts = len(sight.doses)
    return [
        f'<text x="8" y="{top + 18:g}">{escape(way)}</text>',
        f'<text x="8" y="{top + 38:g}" fill="#444444">{starts} doses</text>',
        f'<rect x="{LEFT:g}" y="{_y(high, top):.1f}" width="{right - LEFT:g}" '
        f'height="{_y(low, top) - _y(high, top):.1f}" fill="#e4efe2"/>',
        f'<path d="M{LEFT:g},{_y(target, top):.1f}H{right:g}" stroke="#7a9a76" stroke-dasharray="4 4"/>',
        f'<polyline points="{curve}" fill="none" stroke="#1d3557" stroke-width="1.4"/>',
        f'<path d="{ticks}" stroke="#a04000" stroke-width="1.2"/>',
        f'<text x="{LEFT - 6:g}" y="{_y(high, top) + 5:.1f}" text-anchor="end">{high:g}</text>',
        f'<text x="{LEFT - 6:g}" y="{_y(low, top) + 5:.1f}" text-anchor="end">{low:g}</text>',
    ]


def _x(at_s: float, days: float) -> float:
    return LEFT + (WIDTH - RIGHT - LEFT) * at_s / (days * DAY_S)


def _y(ph: float, top: float) -> float:
    held = min(HIGH_PH, max(LOW_PH, ph))
    return top + STRIP * (HIGH_PH - held) / (HIGH_PH - LOW_PH)
