"""H1, H4 to H8, H10, H11: more is delivered than the water needs."""

from __future__ import annotations

from datetime import timedelta
from itertools import pairwise
from pathlib import Path

import pytest

from config.pump import HARD_MAX_RUN_S
from config.settings import Settings
from daemon.lock import StateLockError
from daemon.service import Service
from daemon.values import Condition, DoseReason, Role
from drivers.keeper import LEASE_S
from sim_hw.bench import open_rig
from sim_hw.faults import FaultName
from sim_hw.from_settings import bench_table
from tests.at_the_tank import (
    BEGINNING,
    PH_DOWN_LINE,
    TO_A_DOSE,
    AtTheTank,
    at_the_tank,
    one_bed,
    pump_settings,
    raw_settings,
)
from tests.hazards.conftest import Figure
from tests.hazards.kept import (
    CUT_OUT_LINE,
    HOUR_S,
    PH_UP_LINE,
    befall,
    delivered_ml,
    keep,
    pour,
    true_ph,
    until_locked,
    with_cut_out,
)

TARGET_PH = 6.0
OVERSHOOT_PH = 0.2
TRUE_ML_PER_S = 1.03
OLD_RATE = "bed1-ph-down-rate-old"
OPPOSITE_S = 6 * HOUR_S
MIXED_S = 420.0  # after a dose into the school garden's bed


def run_seconds(at: AtTheTank, line: int) -> list[float]:
    """How long each run of this pump was, by its line."""
    edges = [edge for edge in at.bench.edges if edge.line == line]
    return [off.at_s - on.at_s for on, off in pairwise(edges) if on.on and not off.on]


def test_h01_a_pump_that_does_not_stop_is_found(tmp_path: Path, figure: Figure) -> None:
    """Its driver is shorted while it stands: locked within 3 min, and no dose is given against it."""
    with at_the_tank(tmp_path) as at:
        keep(at, 2.0)
        before_ml, doses = delivered_ml(at), len(at.runs())
        befall(at, FaultName.PUMP_STUCK_ON, "ph_down")
        bed, minutes = until_locked(at, 0.5)
        gave_ml = delivered_ml(at) - before_ml
        assert minutes <= 3.0
        assert any(word in bed.condition_reason for word in ("supply", "stuck relay"))
        keep(at, 1.0)
        assert at.runs(PH_UP_LINE) == []
        assert len(at.runs()) <= doses + 1
        figure(f"locked after {minutes:.1f} min, when {gave_ml:.0f} mL had run out")


def test_h01_a_cut_out_bounds_it_by_the_runs(tmp_path: Path, figure: Figure) -> None:
    """Welded within a run, with a relay in series with the supply: nothing flows once the run is over."""
    with at_the_tank(tmp_path, with_cut_out()) as at:
        at.until(lambda _: len(at.runs()) == 2, within=400)
        before_ml = delivered_ml(at)
        befall(at, FaultName.PUMP_STUCK_ON, "ph_down")
        keep(at, 6.0)
        welded_s = sum(run_seconds(at, PH_DOWN_LINE)[2:]) + sum(run_seconds(at, PH_UP_LINE))
        gave_ml = delivered_ml(at) - before_ml
        assert len(at.runs()) > 2
        assert gave_ml <= TRUE_ML_PER_S * (welded_s + LEASE_S)
        assert at.runs(CUT_OUT_LINE) != []
        figure(f"with a cut-out: {gave_ml:.1f} mL in 6 h, all of it within {welded_s:.0f} s of runs")


@pytest.mark.parametrize("start_ph", [9.5, 4.8])
def test_h04_the_wildest_settings_give_no_long_run(tmp_path: Path, start_ph: float, figure: Figure) -> None:
    """Every gain at its largest and pH far out: no run is longer than its cap, nor than the built-in 30 s."""
    wild = {"ml_per_ph": 500.0, "share_of_need": 0.5}
    with at_the_tank(tmp_path, one_bed(ph=wild), tank={"start_ph": start_ph}) as at:
        keep(at, 3.0)
        cap_s, line = (8.0, PH_DOWN_LINE) if start_ph > TARGET_PH else (5.0, PH_UP_LINE)
        runs_s = run_seconds(at, line)
        assert len(runs_s) >= 3
        assert max(runs_s) <= cap_s + 0.1 <= HARD_MAX_RUN_S
        figure(f"from pH {start_ph}: longest of {len(runs_s)} runs {max(runs_s):.1f} s, cap {cap_s:g} s")


@pytest.mark.parametrize("fault", [FaultName.PUMP_DEAD, FaultName.BOTTLE_EMPTY])
def test_h05_doses_without_effect_end_soon(tmp_path: Path, fault: FaultName, figure: Figure) -> None:
    """At most three doses into nothing, each no larger than the one before; then a person must look."""
    with at_the_tank(tmp_path) as at:
        befall(at, fault, "ph_down")
        bed, minutes = until_locked(at, 2.0)
        doses_ml = [entry.ml for entry in reversed(bed.last_doses)]
        assert len(at.runs()) == len(doses_ml) <= 3
        assert all(later <= earlier for earlier, later in pairwise(doses_ml))
        assert "bottle empty" in bed.condition_reason
        figure(f"{fault.replace('_', ' ')}: locked after {len(doses_ml)} doses, {minutes:.0f} min")


def test_h05_a_pump_at_half_strength_is_not_taken_for_dead(tmp_path: Path, figure: Figure) -> None:
    """It needs twice the doses, and gets there."""
    with at_the_tank(tmp_path) as at:
        befall(at, FaultName.PUMP_FAST, "ph_down", size=0.5)
        keep(at, 7.0)
        assert at.bed().condition is Condition.KEEPING
        assert true_ph(at) < 6.3
        figure(f"half strength: no lock in 7 h and {len(at.runs())} doses")


@pytest.mark.parametrize(("believed_s", "times"), [(120.0, 1.0), (120.0, 3.0), (600.0, 3.0), (1800.0, 1.0)])
def test_h06_slow_mixing_does_not_overshoot(
    tmp_path: Path, believed_s: float, times: float, figure: Figure
) -> None:
    """Water that mixes up to three times slower than the settings believe ends no more than 0.2 pH low."""
    lowest: list[float] = []
    with at_the_tank(
        tmp_path, generous(believed_s), tank={"mixing_time_s": believed_s * times, "start_ph": 7.2}
    ) as at:
        keep(at, max(3.0, believed_s / 150.0), each=lambda: lowest.append(true_ph(at)))
        assert len(at.runs()) >= 3
        assert min(lowest) >= TARGET_PH - OVERSHOOT_PH
        figure(f"{believed_s:g} s believed, {believed_s * times:g} s true: lowest pH {min(lowest):.2f}")


def generous(mixing_time_s: float) -> Settings:
    """The school garden with wide caps and large steps, so that only waiting keeps it from overshooting."""
    raw = raw_settings()
    bed = raw["reservoir"]["bed1"]
    bed["mixing_time_s"] = mixing_time_s
    bed["ph"]["ml_per_ph"] = 80.0
    bed["pump"]["ph_down"] |= {"max_per_dose_ml": 30.0, "max_per_hour_ml": 150.0, "min_gap_s": 60.0}
    return Settings.model_validate(raw)


def test_h07_acid_and_base_do_not_fight(tmp_path: Path, figure: Figure) -> None:
    """Somebody pours base, then acid, and so on: never both within 6 h, locked at the third turn of a day."""
    narrow = one_bed(bands={"ph_low": 5.9, "ph_high": 6.1}, ph={"dead_band": 0.05, "ml_per_ph": 60.0})
    still = {"start_ph": 6.0, "plants": 0, "co2_exchange_per_h": 0.0}
    with at_the_tank(tmp_path, narrow, tank=still) as at:
        keep(at, 0.5)
        for role, hours in ((Role.PH_UP, 2.0), (Role.PH_DOWN, 7.0), (Role.PH_UP, 7.0), (Role.PH_DOWN, 7.0)):
            pour(at, role, 40.0)
            keep(at, hours)
        runs = sorted([*at.runs(), *at.runs(PH_UP_LINE)], key=lambda edge: edge.at_s)
        turns_s = [later.at_s - earlier.at_s for earlier, later in pairwise(runs) if later.line != earlier.line]
        assert len(turns_s) == 3
        assert min(turns_s) >= OPPOSITE_S
        assert "in turns" in at.bed().condition_reason
        figure(f"{len(turns_s)} turns, the closest {min(turns_s) / HOUR_S:.1f} h apart, then locked")


def test_h08_a_siphon_is_found(tmp_path: Path, figure: Figure) -> None:
    """1 mL a minute through a pump that stands, in water that has mixed: locked within 10 min."""
    with at_the_tank(tmp_path) as at:
        keep(at, 4.0)
        at.until(lambda _: at.clock.monotonic_s() - at.runs()[-1].at_s > MIXED_S, within=200)
        before_ml = delivered_ml(at)
        befall(at, FaultName.PUMP_LEAKS, "ph_down", size=1.0)
        bed, minutes = until_locked(at, 0.5)
        assert minutes <= 10.0
        assert "siphon" in bed.condition_reason
        figure(f"1 mL/min: locked after {minutes:.1f} min and {delivered_ml(at) - before_ml:.0f} mL")


def test_h10_a_second_program_changes_nothing_in_the_middle_of_a_run(tmp_path: Path, figure: Figure) -> None:
    """It starts on the same folder while the pump turns: it is told to go, its lines rest, the run is as long."""
    seconds: list[int] = []

    def start_a_second() -> None:
        if at.pump_is_on():
            rig = open_rig(bench_table(one_bed(), seed=2))
            with pytest.raises(StateLockError):
                Service(one_bed(), rig=rig, state_folder=tmp_path, control=False, mqtt=False)
            seconds.append(len(rig.edges))
            rig.close()

    with at_the_tank(tmp_path) as at:
        at.clock.during_sleep = start_a_second
        at.passes(TO_A_DOSE)
        assert seconds
        assert sum(seconds) == 0
        assert run_seconds(at, PH_DOWN_LINE) == [pytest.approx(8.0, abs=0.1)]
        figure(f"{len(seconds)} starts during one run: 0 edges, run unchanged")


@pytest.mark.parametrize("times", [2.0, 4.0])
def test_h11_a_pump_faster_than_calibrated_overshoots_little(
    tmp_path: Path, times: float, figure: Figure
) -> None:
    """A new tube gives more from the sixth dose on: no more than 0.2 pH too low, whether noticed or not."""
    lowest: list[float] = []
    with at_the_tank(tmp_path, tank={"start_ph": 7.6}) as at:
        at.until(lambda _: len(at.runs()) == 5, within=400)
        befall(at, FaultName.PUMP_FAST, "ph_down", size=times)
        keep(at, 6.0, each=lambda: lowest.append(true_ph(at)))
        assert min(lowest) >= TARGET_PH - OVERSHOOT_PH
        figure(f"{times:g} times as fast: lowest pH {min(lowest):.2f}, {len(at.runs()) - 5} such doses")


def test_h11_a_rate_left_to_age_stops_its_pump(tmp_path: Path, figure: Figure) -> None:
    """Measured 59 days ago: a reminder on the next day, no dose from the 91st day on."""
    settings = pump_settings(measured_on=BEGINNING.date() - timedelta(days=59))
    doses, alarms = [], []
    for day in (0, 1, 31, 32):
        folder = tmp_path / str(day)
        folder.mkdir()
        with at_the_tank(folder, settings, start_utc=BEGINNING + timedelta(days=day)) as at:
            keep(at, 2.0)
            doses.append(len(at.runs()))
            alarms.append([key for key in at.alarms() if key.startswith("bed1-ph-down-rate")])
    assert alarms == [[], [OLD_RATE], [OLD_RATE], ["bed1-ph-down-rate-expired"]]
    assert min(doses[:3]) >= 1
    assert doses[3] == 0
    figure(f"doses within 2 h at an age of 59, 60, 90 and 91 days: {', '.join(map(str, doses))}")


@pytest.mark.parametrize("times", [0.6, 1.9])
def test_h11_a_cylinder_shows_what_a_new_tube_gives(tmp_path: Path, times: float, figure: Figure) -> None:
    """A tube of another bore: no dose until it is measured; then driver and caps reckon by what is true."""
    with at_the_tank(tmp_path) as at:
        at.passes(1)
        befall(at, FaultName.PUMP_FAST, "ph_down", size=times)
        at.ask("tube", pump="ph_down")
        keep(at, 1.0)
        assert at.runs() == []
        at.ask("hold", reason="measuring")
        read_ml = []
        for _ in range(2):
            before_ml = delivered_ml(at)
            at.ask("calibrate_pump.run", pump="ph_down", run_s=8.0)
            keep(at, 0.01)
            read_ml.append(delivered_ml(at) - before_ml)
        at.ask("calibrate_pump.finish", pump="ph_down", measured_ml=read_ml)
        at.ask("release")
        at.until(lambda _: len(at.runs()) == 3, within=100)
        keep(at, 0.01)
        dose = at.bed().last_doses[0]
        off_by = (delivered_ml(at) - sum(read_ml)) / dose.ml - 1.0
        assert dose.reason is DoseReason.PH_HIGH
        assert abs(off_by) <= 0.02
        figure(f"{times:g} times as fast, measured: the next dose off by {abs(off_by):.1%}")
