"""H16 to H23: what the probes say is not so."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from functools import partial
from pathlib import Path
from random import Random
from typing import Any

import pytest

from config.settings import Settings
from daemon.values import Condition, Quality, Quantity, Role, Verdict, VerdictReason
from sim_hw import grower
from sim_hw.ads1115_chip import Input
from sim_hw.faults import BUS_FAULTS, CHIP_FAULTS, FaultName
from tests.at_the_tank import (
    BEGINNING,
    CALIBRATIONS,
    PH_DOWN_LINE,
    TO_A_DOSE,
    AtTheTank,
    at_the_tank,
    one_bed,
    raw_settings,
)
from tests.hazards.conftest import Figure
from tests.hazards.kept import (
    PH_UP_LINE,
    SLOW_PASS_S,
    TWO_CALIBRATIONS,
    befall,
    keep,
    pour,
    three_days_on_little,
    true_ph,
    until_locked,
    watched_by_a_reference,
    with_two_ph_probes,
)

CHIP = 0x48
PH_INPUT = 0
LONGEST_PASS_S = 5.0
NEAR_PH_SEVEN_V = 1.65 - 0.018  # the amplifier's middle and 6 mV of offset: what a cracked bulb gives


def verdict(at: AtTheTank, quantity: Quantity = Quantity.PH) -> Verdict:
    """The newest of this probe."""
    return at.bed().verdicts[quantity]


def wrap_input(at: AtTheTank, channel: int, around: Callable[[Input], Input]) -> None:
    """Put something between a probe and its input of the converter."""
    inputs = at.bench.i2c(1).chips[CHIP].inputs
    inputs[channel] = around(inputs[channel])


def always(volts: float) -> Callable[[Input], Input]:
    """An input held at one voltage."""
    return lambda _: lambda now_s, lasting_s: volts


@pytest.mark.parametrize("fault", [FaultName.PROBE_UNPLUGGED, FaultName.PROBE_DRY])
def test_h16_a_probe_that_floats_is_unknown_at_once(tmp_path: Path, fault: FaultName, figure: Figure) -> None:
    """Pulled out (a rail, with hum) or dry, while acid is needed: unknown within 3 looks, no dose in 2 h."""
    with at_the_tank(tmp_path) as at:
        at.passes(TO_A_DOSE)
        befall(at, fault, "ph")
        looks = 1
        while at.passes(1) and verdict(at).usable:
            looks += 1
        assert looks <= 3
        keep(at, 2.0, every_s=20.0)
        assert len(at.runs()) == 1
        assert "bed1-ph-probe" in at.alarms()
        figure(f"{fault.value.replace('_', ' ')}: unknown at look {looks}, 0 doses in 2 h")


def test_h16_no_volts_at_all_are_no_reading(tmp_path: Path) -> None:
    """0 V at the input, for good: outside what the electrode can tell."""
    with at_the_tank(tmp_path) as at:
        wrap_input(at, PH_INPUT, always(0.0))
        keep(at, 1.0, every_s=20.0)
        assert at.runs() + at.runs(PH_UP_LINE) == []
        assert verdict(at).quality is Quality.BAD


def test_h17_a_cracked_bulb_never_passes_for_ph_seven(tmp_path: Path, figure: Figure) -> None:
    """It gives near 0 mV from one look to the next, with a living noise: no dose in the half hour of doubt."""
    chance = Random(7)
    with at_the_tank(tmp_path, tank={"start_ph": 5.98}) as at:
        at.passes(TO_A_DOSE)
        assert verdict(at).usable
        wrap_input(at, PH_INPUT, lambda _: lambda now_s, lasting_s: NEAR_PH_SEVEN_V + chance.gauss(0.0, 0.0005))
        keep(at, 0.49, every_s=10.0)
        assert verdict(at).reason is VerdictReason.JUMPED
        assert at.runs() == []
        keep(at, 6.0, every_s=20.0)
        doses = len(at.runs())
        assert doses <= 3
        figure(f"0 doses in the first half hour; {doses} in 6 h, then: {at.bed().condition.value}")


def test_h17_a_reading_that_stands_still_carries_few_doses(tmp_path: Path, figure: Figure) -> None:
    """Frozen at a pH that asks for acid, without the least noise: one dose, through which it stands still."""
    with at_the_tank(tmp_path) as at:
        at.passes(5)
        befall(at, FaultName.PROBE_STUCK, "ph")
        keep(at, 3.0, every_s=10.0)
        assert len(at.runs()) == 1
        assert not verdict(at).usable
        figure(f"frozen: {len(at.runs())} doses, then: {at.bed().condition.value}, {verdict(at).reason.value}")


@pytest.mark.parametrize(("slope_percent", "doses"), [(89.0, 0), (91.0, 1)])
def test_h18_no_dose_rests_on_a_worn_electrode(tmp_path: Path, slope_percent: float, doses: int) -> None:
    """Truly that flat, and calibrated so: below 90 % it is only shown."""
    book = CALIBRATIONS.format(name="bed1").replace("97.0", f"{slope_percent}")
    (tmp_path / "calibrations.toml").write_text(book, encoding="utf-8")
    with at_the_tank(tmp_path, ph_probe(slope_percent=slope_percent)) as at:
        at.passes(TO_A_DOSE)
        assert len(at.runs()) == doses
        assert (verdict(at).reason is VerdictReason.PROBE_WORN) is (doses == 0)


def ph_probe(settings: dict[str, Any] | None = None, **true: Any) -> Settings:
    """The school garden; settings: changes to what the daemon believes of its pH probe, true: to what it is."""
    raw = raw_settings()
    raw["reservoir"]["bed1"]["probe"]["ph"].update(settings or {})
    (probe,) = (one for one in raw["rig"]["tank"]["bed1"]["probe"] if one["kind"] == "ph_amplifier")
    probe.update(true)
    return Settings.model_validate(raw)


@pytest.mark.parametrize(("days", "doses"), [(59, 1), (61, 0)])
def test_h19_no_dose_rests_on_an_expired_calibration(tmp_path: Path, days: int, doses: int) -> None:
    """Warned from 30 days, at an end after 60; a person is called in both cases."""
    with at_the_tank(tmp_path, start_utc=BEGINNING + timedelta(days=days)) as at:
        at.passes(80)
        assert (len(at.runs()) > 0) is (doses > 0)
        assert "bed1-ph-calibration" in at.alarms()


@pytest.mark.parametrize(
    ("mv_per_h", "after_h", "most_off"),
    [(-3.0, 120.0, 0.6), (-15.0, 120.0, 0.7), (-4.0, 60.0, 0.95), (-4.0, 32.0, 1.2), (-15.0, 2.0, 1.0)],
)
def test_h18_a_probe_that_drifts_is_found_by_how_far_pH_comes_back(  # noqa: N802 - pH is written so
    tmp_path: Path, mv_per_h: float, after_h: float, most_off: float, figure: Figure
) -> None:
    """The reading rises by itself: each dose shows, and what comes back in a day tells. Later in new water."""
    with at_the_tank(tmp_path) as at:
        keep(at, after_h)
        assert at.bed().condition is Condition.KEEPING
        before = len(at.runs())
        befall(at, FaultName.PROBE_DRIFTING, "ph", size=mv_per_h)
        bed, minutes = until_locked(at, 24.0, every_s=60.0)
        off = abs(mv_per_h) / 59.0 * minutes / 60.0
        assert "usual here" in bed.condition_reason
        assert off <= most_off
        assert not at.ask("clear")["accepted"]
        assert at.bed().condition is Condition.LOCKED
        figure(
            f"{mv_per_h:g} mV/h, {after_h:g} h after the first dose: locked after {minutes / 60.0:.1f} h and "
            f"{len(at.runs()) - before} doses, pH off by {off:.2f}"
        )


def test_h18_the_step_that_a_calibration_makes_is_no_drift(tmp_path: Path) -> None:
    """The probe read 0.8 pH too low for days; calibrated, it shows what the water wants, and nothing locks."""
    book = CALIBRATIONS.format(name="bed1").replace("= 6.0", "= -20.0")
    (tmp_path / "calibrations.toml").write_text(book, encoding="utf-8")
    with at_the_tank(tmp_path, ph_probe(offset_mv=24.0)) as at:
        keep(at, 4 * 24.0)
        assert true_ph(at) > 6.6
        wait = partial(keep, at, 10.0 / 3600.0, every_s=10.0)
        grower.calibrate("ph", "bed1", ask=at.ask, play=at.bench.play, wait=wait)
        keep(at, 0.5)
        left_ph = true_ph(at)
    later = BEGINNING + timedelta(days=4.1)
    with at_the_tank(tmp_path, ph_probe(offset_mv=24.0), start_utc=later, tank={"start_ph": left_ph}) as at:
        keep(at, 6.0)
        assert at.bed().condition is Condition.KEEPING
        assert abs(true_ph(at) - 6.0) < 0.15


def test_h18_a_step_while_the_program_was_off_is_no_drift(tmp_path: Path) -> None:
    """Somebody turned it off, changed the water and told nobody: it is brought down, and nothing locks."""
    with at_the_tank(tmp_path) as at:
        keep(at, 40.0)
    later = BEGINNING + timedelta(hours=40.5)
    with at_the_tank(tmp_path, start_utc=later, tank={"start_ph": 7.6}) as at:
        keep(at, 5.0)
        assert at.bed().condition is Condition.KEEPING
        assert true_ph(at) < 6.5


GROSSLY_WRONG_PH = 0.5


@pytest.mark.parametrize(("mv_per_h", "hours"), [(-3.0, 30.0), (-15.0, 12.0), (-31.7, 12.0), (15.0, 12.0)])
@pytest.mark.parametrize("which", ["ph", "ph_2"])
def test_h18_of_two_probes_one_that_drifts_is_found_in_new_water(
    tmp_path: Path, which: str, mv_per_h: float, hours: float, figure: Figure
) -> None:
    """From the first minute, before anything is usual: they disagree, and no dose rests on either.

    hours: until their mean, which is off by half, would be grossly wrong and more.
    """
    (tmp_path / "calibrations.toml").write_text(TWO_CALIBRATIONS, encoding="utf-8")
    wrong: list[float] = []
    with at_the_tank(tmp_path, with_two_ph_probes()) as at:
        keep(at, 6.0)
        assert verdict(at).reason is VerdictReason.FINE
        befall(at, FaultName.PROBE_DRIFTING, which, size=mv_per_h)
        ran = len(at.runs())
        found_h: list[float] = []
        began_s = at.clock.monotonic_s()

        def look() -> None:
            nonlocal ran
            reading = verdict(at).reading
            assert reading is not None
            if len(at.runs()) > ran and abs(reading.value - true_ph(at)) > GROSSLY_WRONG_PH:
                wrong.append(true_ph(at))
            ran = len(at.runs())
            if not found_h and "bed1-ph-disagree" in at.alarms():
                found_h.append((at.clock.monotonic_s() - began_s) / 3600.0)

        keep(at, hours, each=look)
        assert wrong == []
        assert verdict(at).reason is VerdictReason.DISAGREE
        assert verdict(at).quality is Quality.BAD
        figure(f"two probes, {which} {mv_per_h:g} mV/h from new: told after {found_h[0]:.1f} h, 0 wrong doses")


@pytest.mark.parametrize("out", ["ph", "ph_2"])
def test_h18_of_two_probes_one_that_is_out_leaves_the_other(tmp_path: Path, out: str) -> None:
    """Unplugged while acid is needed: dosing goes on by the other, and a person is told."""
    (tmp_path / "calibrations.toml").write_text(TWO_CALIBRATIONS, encoding="utf-8")
    with at_the_tank(tmp_path, with_two_ph_probes()) as at:
        at.passes(TO_A_DOSE)
        befall(at, FaultName.PROBE_UNPLUGGED, out)
        before = len(at.runs())
        keep(at, 2.0, every_s=20.0)
        assert verdict(at).reason is VerdictReason.ONE_LEFT
        assert len(at.runs()) > before
        assert "bed1-ph-one-probe" in at.alarms()
        assert "bed1-ph-probe" not in at.alarms()


@pytest.mark.parametrize("out", ["", "ph", "ph_2"])
def test_h18_water_that_truly_asks_for_more_gets_it_while_two_agree(
    tmp_path: Path, out: str, figure: Figure
) -> None:
    """It turns alkaline, as slowly as a probe drifts. A single probe cannot tell the two, so that one locks.

    out: the probe that is unplugged.
    """
    (tmp_path / "calibrations.toml").write_text(TWO_CALIBRATIONS, encoding="utf-8")
    with at_the_tank(tmp_path, with_two_ph_probes()) as at:
        three_days_on_little(at)
        if out:
            befall(at, FaultName.PROBE_UNPLUGGED, out)
        keep(at, 10.0, each=lambda: pour(at, Role.PH_UP, 0.08))
        bed = at.bed()
        if out:
            assert bed.condition is Condition.LOCKED
            assert "usual here" in bed.condition_reason
            return
        given_ml = bed.caps[Role.PH_DOWN].last_day_ml
        assert bed.condition is Condition.KEEPING
        assert given_ml > 1.25 * 3.0 + 0.3 * 60.0  # where a single probe is no longer believed
        assert abs(true_ph(at) - 6.0) < 0.1
        figure(f"two that agree: {given_ml:.0f} mL in a day where 3 are usual, not locked")


def test_h18_two_that_drift_alike_are_found_by_how_far_pH_comes_back(  # noqa: N802 - pH is written so
    tmp_path: Path, figure: Figure
) -> None:
    """They agree, and are both wrong: the margin is wider, and still there is one."""
    (tmp_path / "calibrations.toml").write_text(TWO_CALIBRATIONS, encoding="utf-8")
    with at_the_tank(tmp_path, with_two_ph_probes()) as at:
        three_days_on_little(at)
        keep(at, 1.0)
        for which in ("ph", "ph_2"):
            befall(at, FaultName.PROBE_DRIFTING, which, size=-15.0)
        bed, minutes = until_locked(at, 24.0, every_s=60.0)
        off = 15.0 / 59.0 * minutes / 60.0
        assert "usual here" in bed.condition_reason
        assert off <= 1.8
        figure(f"two that drift alike, -15 mV/h: locked after {minutes / 60.0:.1f} h, pH off by {off:.2f}")


@pytest.mark.parametrize("out", ["ph", "ph_2"])
def test_h18_a_restart_forgets_no_disagreement(tmp_path: Path, out: str) -> None:
    """Which of two was wrong is not known after it either: the one that is left carries no dose."""
    (tmp_path / "calibrations.toml").write_text(TWO_CALIBRATIONS, encoding="utf-8")
    with at_the_tank(tmp_path, with_two_ph_probes()) as at:
        at.passes(TO_A_DOSE)
        befall(at, FaultName.PROBE_DRIFTING, "ph_2", size=60.0)
        keep(at, 1.0)
        assert verdict(at).reason is VerdictReason.DISAGREE
    with at_the_tank(tmp_path, with_two_ph_probes()) as at:
        befall(at, FaultName.PROBE_UNPLUGGED, out)
        keep(at, 2.0, every_s=20.0)
        assert at.runs() == []
        assert "bed1-ph-disagree" in at.alarms()


def test_h18_two_that_agree_again_after_a_restart_are_believed(tmp_path: Path) -> None:
    """After some looks, as without one."""
    (tmp_path / "calibrations.toml").write_text(TWO_CALIBRATIONS, encoding="utf-8")
    with at_the_tank(tmp_path, with_two_ph_probes()) as at:
        at.passes(TO_A_DOSE)
        befall(at, FaultName.PROBE_DRIFTING, "ph_2", size=60.0)
        keep(at, 1.0)
    with at_the_tank(tmp_path, with_two_ph_probes()) as at:
        at.passes(1)
        assert verdict(at).reason is not VerdictReason.FINE
        keep(at, 1.0)
        assert verdict(at).reason is VerdictReason.FINE


def test_h18_both_of_two_out_carry_no_dose(tmp_path: Path) -> None:
    """Then there is no one left."""
    (tmp_path / "calibrations.toml").write_text(TWO_CALIBRATIONS, encoding="utf-8")
    with at_the_tank(tmp_path, with_two_ph_probes()) as at:
        at.passes(TO_A_DOSE)
        before = len(at.runs())
        for which in ("ph", "ph_2"):
            befall(at, FaultName.PROBE_UNPLUGGED, which)
        keep(at, 2.0, every_s=20.0)
        assert len(at.runs()) == before
        assert "bed1-ph-probe" in at.alarms()


@pytest.mark.parametrize("volts", [5.0, 4.096], ids=["far beyond the range", "at its end"])
def test_h20_a_saturated_converter_carries_no_dose(tmp_path: Path, volts: float, figure: Figure) -> None:
    """The code is 32767, which would be a pH like any other: no dose."""
    with at_the_tank(tmp_path) as at:
        at.passes(TO_A_DOSE)
        wrap_input(at, PH_INPUT, always(volts))
        at.passes(1)
        assert verdict(at).reason is VerdictReason.CLIPPED
        keep(at, 1.0, every_s=20.0)
        assert len(at.runs()) == 1
        figure("code 32767: unknown at look 1, 0 doses in 1 h")


@pytest.mark.parametrize("times", [1.02, 0.98])
def test_h20_a_converter_whose_reference_drifted_carries_no_dose(
    tmp_path: Path, times: float, figure: Figure
) -> None:
    """Off by 2 % while acid is needed: unknown at the next look, one alarm that names the converter, no dose."""
    with at_the_tank(tmp_path, watched_by_a_reference()) as at:
        at.passes(TO_A_DOSE)
        before = len(at.runs())
        assert before == 1
        befall(at, FaultName.CHIP_REFERENCE_DRIFTED, "ph", size=times)
        at.passes(1)
        for quantity in (Quantity.PH, Quantity.EC, Quantity.TEMPERATURE):
            assert verdict(at, quantity).reason is VerdictReason.REFERENCE
        keep(at, 2.0, every_s=10.0)
        assert at.runs()[before:] + at.runs(PH_UP_LINE) == []
        assert [key for key in at.alarms() if "probe" in key or "converter" in key] == ["i2c1-0x48-converter"]
        assert f"measures {2.5025 * times:.2f}" in at.alarms()["i2c1-0x48-converter"].text
        at.bench.play("mend", name=FaultName.CHIP_REFERENCE_DRIFTED, target="bed1/ph")
        keep(at, 1.0, every_s=10.0)
        assert len(at.runs()) > before
        assert "i2c1-0x48-converter" not in at.alarms()
        figure(f"reference off by {times - 1.0:+.1%}: unknown at look 1, 0 doses in 2 h")


@pytest.mark.parametrize("times", [1.005, 0.995])
def test_h20_a_reference_within_its_tolerance_stops_nothing(tmp_path: Path, times: float, figure: Figure) -> None:
    """Off by 0.5 %: it doses as it does without a fault."""
    doses = {}
    for now in (1.0, times):
        (tmp_path / f"{now}").mkdir()
        with at_the_tank(tmp_path / f"{now}", watched_by_a_reference()) as at:
            befall(at, FaultName.CHIP_REFERENCE_DRIFTED, "ph", size=now)
            keep(at, 2.0, every_s=10.0)
            doses[now] = len(at.runs())
            assert "i2c1-0x48-converter" not in at.alarms()
    assert doses[times] == pytest.approx(doses[1.0], abs=1)
    assert doses[times] > 3
    figure(f"reference off by {times - 1.0:+.1%}: {doses[times]} doses in 2 h, sound: {doses[1.0]}")


@pytest.mark.parametrize("fault", sorted(CHIP_FAULTS | BUS_FAULTS))
def test_h21_a_bus_that_hangs_holds_no_pass_up(tmp_path: Path, fault: FaultName, figure: Figure) -> None:
    """Each look is given up in time: no pass takes longer than 5 s, no dose, and it comes back by itself."""
    took_s: list[float] = []
    with at_the_tank(tmp_path) as at:
        at.passes(2)
        befall(at, fault, "ph")
        for _ in range(10):
            began_s = at.clock.monotonic_s()
            at.loop.one_pass()
            took_s.append(at.clock.monotonic_s() - began_s)
            at.clock.sleep(10.0)
        assert at.runs() == []
        assert max(took_s) <= LONGEST_PASS_S
        at.bench.play("mend", name=fault, target="bed1/ph")
        at.passes(2 * TO_A_DOSE)
        assert len(at.runs()) == 1
        figure(f"{fault.value.replace('_', ' ')}: longest pass {max(took_s):.1f} s")


def test_h22_a_wrong_temperature_hardly_moves_ph(tmp_path: Path, figure: Figure) -> None:
    """A thermometer that is 10 °C too warm: pH within 0.06 of what it would be."""
    seen = {}
    for error_c in (0.0, 10.0):
        (tmp_path / f"{error_c}").mkdir()
        raw = raw_settings()
        (probe,) = (one for one in raw["rig"]["tank"]["bed1"]["probe"] if one["kind"] == "ntc_divider")
        probe["error_c"] = error_c
        settings = Settings.model_validate(raw)
        with at_the_tank(tmp_path / f"{error_c}", settings, tank={"start_ph": 5.5}) as at:
            at.passes(TO_A_DOSE)
            reading = verdict(at).reading
            assert reading is not None
            seen[error_c] = reading.value
    moved_ph = abs(seen[10.0] - seen[0.0])
    assert moved_ph <= 0.06
    figure(f"10 °C too warm at pH 5.5: pH off by {moved_ph:.3f}")


@pytest.mark.parametrize("volts", [3.3, 0.0], ids=["broken wire", "short circuit"])
def test_h22_without_a_thermometer_ec_is_unknown_and_ph_goes_on(
    tmp_path: Path, volts: float, figure: Figure
) -> None:
    """pH with the assumed temperature, within 0.06 of the truth; EC, which moves by 2 % a degree, not at all."""
    with at_the_tank(tmp_path, one_bed(assumed_temperature_c=25.0), tank={"start_ph": 5.5}) as at:
        wrap_input(at, 2, always(volts))
        at.passes(TO_A_DOSE)
        assert verdict(at, Quantity.EC).reason is VerdictReason.NO_TEMPERATURE
        assert verdict(at).usable
        reading = verdict(at).reading
        assert reading is not None
        error_ph = abs(reading.value - true_ph(at))
        assert error_ph <= 0.06
        assert "bed1-temperature-probe" in at.alarms()
        figure(f"25 °C assumed for 20 °C: pH off by {error_ph:.3f}")


def test_h23_outliers_cause_no_dose(tmp_path: Path, figure: Figure) -> None:
    """One look in fifty is off by up to 3 pH, for a day, in water that rests at the target: no dose at all."""
    chance = Random(23)
    off_v: dict[int, float] = {}

    def spiked(probe: Input) -> Input:
        def volts(now_s: float, lasting_s: float) -> float:
            look = round(now_s / SLOW_PASS_S)
            if look not in off_v:
                off_v[look] = chance.uniform(-0.5, 0.5) if chance.random() < 0.02 else 0.0
            return probe(now_s, lasting_s) + off_v[look]

        return volts

    still = {"start_ph": 6.0, "plants": 0, "co2_exchange_per_h": 0.0, "evaporation_l_per_day": 0.0}
    with at_the_tank(tmp_path, tank=still) as at:
        wrap_input(at, PH_INPUT, spiked)
        keep(at, 24.0)
        spikes = sum(volts != 0.0 for volts in off_v.values())
        assert spikes >= 20
        assert [at.runs(line) for line in (PH_DOWN_LINE, PH_UP_LINE)] == [[], []]
        figure(f"{spikes} outliers in 24 h: 0 doses")
