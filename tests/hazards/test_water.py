"""H35 to H41: too little water, new water, bottles, hands, and a crop that is only watched."""

from __future__ import annotations

from pathlib import Path

import pytest

from daemon.desk.requests import Origin, RequestRefused
from daemon.values import Cap, Condition, Permit, Refusal, Role
from sim_hw.faults import FaultName
from tests.at_the_tank import TO_A_DOSE, AtTheTank, at_the_tank, one_bed, pump_settings
from tests.hazards.conftest import Figure
from tests.hazards.kept import (
    PH_UP_LINE,
    befall,
    delivered_ml,
    keep,
    pour,
    until_locked,
    with_contact,
    with_level_sender,
)

MIXED_S = 3 * 120.0
TRAY_LINE, FLOW_LINE = 24, 25
NOMINAL_ML_PER_L = 8.0 / 60.0


def decided(at: AtTheTank, within: int = 3 * TO_A_DOSE) -> Permit | Refusal:
    """The first decision on a dose."""
    state = at.until(lambda state: state.reservoirs["bed1"].last_decision is not None, within=within)
    decision = state.reservoirs["bed1"].last_decision
    assert decision is not None
    return decision


@pytest.mark.parametrize("share", [1.0, 0.8, 0.6, 0.45, 0.35, 0.28, 0.15])
def test_h35_less_water_gets_less(tmp_path: Path, share: float, figure: Figure) -> None:
    """A dose is at most as much per litre as in the full reservoir, half of that below 50 %, then none."""
    with at_the_tank(tmp_path, with_level_sender()) as at:
        if share < 1.0:
            at.bench.play("drain", litres=60.0 * (1.0 - share))
        decision = decided(at)
        if share < 0.3:
            assert isinstance(decision, Refusal)
            assert decision.cap is Cap.LEVEL
            keep(at, 1.0)
            assert at.runs() == []
            figure(f"{share:.0%}: none")
        else:
            assert isinstance(decision, Permit)
            per_l = decision.ml / (60.0 * share)
            assert per_l <= NOMINAL_ML_PER_L * (1.02 if share >= 0.5 else 0.51)
            figure(f"{share:.0%}: {decision.ml:.1f} mL")


def test_h35_an_unknown_level_gets_nothing(tmp_path: Path) -> None:
    """The sender's wire is broken."""
    with at_the_tank(tmp_path, with_level_sender()) as at:
        befall(at, FaultName.PROBE_UNPLUGGED, "level")
        decision = decided(at)
        assert isinstance(decision, Refusal)
        assert decision.cap is Cap.LEVEL


def test_h36_a_wet_tray_locks(tmp_path: Path, figure: Figure) -> None:
    """The contact opens, wet or with a broken wire: locked at the second look, and no pump turns again."""
    with at_the_tank(tmp_path, with_contact("tray", TRAY_LINE)) as at:
        at.passes(TO_A_DOSE)
        doses = len(at.runs())
        befall(at, FaultName.PROBE_UNPLUGGED, "tray")
        bed, minutes = until_locked(at, 0.1)
        assert "wet" in bed.condition_reason
        assert minutes * 60.0 <= 11.0
        keep(at, 1.0)
        assert len(at.runs()) == doses
        figure(f"wet tray: locked after {minutes * 60.0:.0f} s")


def test_h36_a_leak_shows_as_low_water(tmp_path: Path, figure: Figure) -> None:
    """The reservoir runs out: dosing has ended and a person is called once a third is left."""
    with at_the_tank(tmp_path, with_level_sender()) as at:
        litres = 0.0
        while litres < 45.0:
            at.bench.play("drain", litres=0.5)
            litres += 0.5
            keep(at, 0.05, every_s=60.0)
        assert "bed1-level-level-low" in at.alarms()
        before = len(at.runs())
        keep(at, 1.0)
        assert len(at.runs()) == before
        figure("10 L/h: no dose below 30 %, alarm level-low")


def lose(at: AtTheTank, hours: float, l_per_h: float) -> bool:
    """Water runs out, minute by minute; whether the reservoir locked meanwhile."""
    for _ in range(round(60.0 * hours)):
        at.bench.play("drain", litres=l_per_h / 60.0)
        keep(at, 1.0 / 60.0)
        if at.bed().condition is Condition.LOCKED:
            return True
    return False


@pytest.mark.parametrize("l_per_h", [0.5, 5.0])
def test_h36_a_leak_is_told_from_drinking(tmp_path: Path, l_per_h: float, figure: Figure) -> None:
    """A deep-water reservoir of 60 L: locked within the hour, long before the level is low."""
    with at_the_tank(tmp_path, with_level_sender(system="deep_water")) as at:
        keep(at, 2.0)
        begun_s = at.clock.monotonic_s()
        assert lose(at, 1.2, l_per_h)
        minutes = (at.clock.monotonic_s() - begun_s) / 60.0
        assert minutes <= 61.0
        assert "the level fell by" in at.bed().condition_reason
        assert "bed1-level-leak" in at.alarms()
        figure(f"{l_per_h:g} L/h: locked after {minutes:.0f} min")


def test_h36_neither_drinking_nor_floods_nor_a_person_is_a_leak(tmp_path: Path, figure: Figure) -> None:
    """Two days of a full bed with floods; then ten litres are bailed out while it is held."""
    tank = {"transpiration_l_per_day": 3.0, "plants": 18, "nitrate_uptake_mmol_per_plant_day": 0.0}
    tank |= {"alkalinity_mmol_per_l": 0.1, "start_ph": 6.0}  # what floods bring back here is water from the tap
    with at_the_tank(tmp_path, with_level_sender(), tank=tank) as at:
        for hour in range(48):
            if hour % 6 == 3:
                at.bench.play("drain", litres=15.0)
                keep(at, 0.25)
                at.bench.play("add_water", litres=15.0)
            keep(at, 1.0)
            assert at.bed().condition is not Condition.LOCKED
        at.ask("hold", reason="bailing")
        at.bench.play("drain", litres=10.0)
        keep(at, 1.0)
        at.ask("release")
        keep(at, 2.0)
        assert at.bed().condition is not Condition.LOCKED
        figure("48 h of 3 L a day and 8 floods, 10 L bailed out while held: no lock")


def test_h37_a_bottle_used_up_stays_so_after_a_restart(tmp_path: Path, figure: Figure) -> None:
    """It stops at a twentieth; only a person at the tank, not one far away, can say that it is full again."""
    settings = pump_settings(bottle_ml=20.0)
    with at_the_tank(tmp_path, settings) as at:
        at.until(lambda _: "bed1-ph-down-bottle-empty" in at.alarms(), within=400)
        given_ml = delivered_ml(at) / 1.03
        assert given_ml <= 0.951 * 20.0
    with at_the_tank(tmp_path, settings, tank={"start_ph": 7.0}) as at:
        at.passes(100)
        assert at.runs() == []
        with pytest.raises(RequestRefused):
            at.ask("bottle", Origin.REMOTE, pump="ph_down")
        at.passes(20)
        assert at.runs() == []
        at.ask("bottle", pump="ph_down")
        at.until(lambda _: at.runs() != [], within=100)
        figure(f"stopped after {given_ml:.1f} of 20 mL, and after a restart")


def test_h37_the_hours_of_a_tube_are_told_through_restarts(tmp_path: Path, figure: Figure) -> None:
    """At its maker's hours, reached over two starts, a person is called; dosing goes on."""
    settings = pump_settings(tube_hours=40.0 / 3600.0)
    for _ in range(2):
        with at_the_tank(tmp_path, settings, tank={"start_ph": 7.6}) as at:
            at.until(lambda _: len(at.runs()) == 3, within=400)
            assert "bed1-ph-down-tube-worn" not in at.alarms()
    with at_the_tank(tmp_path, settings, tank={"start_ph": 7.6}) as at:
        keep(at, 1.5)
        tube_h = at.bed().pumps[Role.PH_DOWN].tube_h
        assert tube_h is not None
        assert tube_h >= 40.0 / 3600.0
        assert "bed1-ph-down-tube-worn" in at.alarms()
        assert len(at.runs()) >= 3
        figure("40 s, run over three starts: told within the hour, dosing went on")


def test_h38_a_blocked_tube_is_not_pumped_against_for_long(tmp_path: Path, figure: Figure) -> None:
    """It blocks in the middle of the work: at most three runs against it, each short."""
    with at_the_tank(tmp_path, tank={"start_ph": 7.6}) as at:
        at.until(lambda _: len(at.runs()) == 4, within=400)
        befall(at, FaultName.PUMP_DEAD, "ph_down")
        until_locked(at, 2.0)
        against = len(at.runs()) - 4
        assert 1 <= against <= 3
        figure(f"{against} runs, {against * 8.0:.0f} s of pumping in all, then locked")


@pytest.mark.parametrize("phase", [0, 3, 8, 15, 30, 44])
def test_h39_nothing_is_dosed_into_a_refill(tmp_path: Path, phase: int, figure: Figure) -> None:
    """20 L of tap water at any moment of a dose's life: no dose for three mixing times after it."""
    with at_the_tank(tmp_path, with_level_sender()) as at:
        at.bench.play("drain", litres=20.0)
        at.passes(TO_A_DOSE + phase)
        at.bench.play("add_water", litres=20.0)
        filled_s = at.clock.monotonic_s()
        doses = len(at.runs())
        at.until(lambda _: len(at.runs()) > doses, within=300)
        waited_s = at.runs()[-1].at_s - filled_s
        assert waited_s >= MIXED_S
        figure(f"{waited_s:.0f} s")


def test_h39_a_refill_of_many_small_steps_is_waited_for(tmp_path: Path) -> None:
    """1 L a minute for a quarter of an hour: no dose from its second minute until it is mixed.

    A rise is one of 3 % or more, so the last litre may go unnoticed: hence the minute.
    """
    with at_the_tank(tmp_path, with_level_sender(), tank={"start_ph": 7.0}) as at:
        at.bench.play("drain", litres=25.0)
        at.passes(4)
        begin_s = at.clock.monotonic_s()
        for _ in range(15):
            at.bench.play("add_water", litres=1.0)
            at.passes(6)
        end_s = at.clock.monotonic_s() - 60.0
        at.passes(60)
        runs_s = [edge.at_s for edge in at.runs()]
        assert runs_s
        assert not [at_s for at_s in runs_s if begin_s + 120.0 <= at_s < end_s + MIXED_S - 60.0]


def test_h40_a_hand_at_the_tank_is_given_time(tmp_path: Path, figure: Figure) -> None:
    """A person pours base into water that was near enough: no dose until it has mixed, no lock, a word of it."""
    with at_the_tank(tmp_path, tank={"start_ph": 5.95, "plants": 0}) as at:
        at.passes(60)
        doses = len(at.runs())
        pour(at, Role.PH_UP, 40.0)
        poured_s = at.clock.monotonic_s()
        at.until(lambda _: "bed1-ph-moved" in at.alarms(), within=60)
        noticed_s = at.clock.monotonic_s() - poured_s
        assert len(at.runs()) == doses
        at.until(lambda _: len(at.runs()) > doses, within=400)
        waited_s = at.runs()[-1].at_s - poured_s
        assert waited_s >= MIXED_S
        assert at.bed().condition is Condition.KEEPING
        figure(f"noticed after {noticed_s:.0f} s, 0 doses until {waited_s:.0f} s after the hand")


@pytest.mark.parametrize(("told", "role", "ml"), [("before", Role.PH_UP, 40.0), ("after", Role.PH_UP, 40.0)])
def test_h40_a_hand_that_is_told_is_in_the_ledger(
    tmp_path: Path, told: str, role: Role, ml: float, figure: Figure
) -> None:
    """`evenwater poured`: no dose until it has mixed, no alarm of pH that moves by itself, no lock."""
    with at_the_tank(tmp_path, tank={"start_ph": 5.95, "plants": 0}) as at:
        at.passes(60)
        doses = len(at.runs())
        if told == "after":
            pour(at, role, ml)
            at.until(lambda _: "bed1-ph-moved" in at.alarms(), within=60)
        at.ask("poured", pump=role, ml=ml, sure=True)
        if told == "before":
            pour(at, role, ml)
        poured_s = at.clock.monotonic_s()
        moved: list[bool] = []
        keep(at, 0.5, every_s=10.0, each=lambda: moved.append("bed1-ph-moved" in at.alarms()))
        assert not any(moved[1:])
        at.until(lambda _: len(at.runs()) > doses, within=3000)
        waited_h = (at.runs()[-1].at_s - poured_s) / 3600.0
        assert waited_h >= 6.0
        assert at.bed().condition is Condition.KEEPING
        assert at.service.ledger.totals("bed1", role, at.loop.stamp()).day_ml == ml
        figure(f"told {told}: no alarm, no lock, the next dose after {waited_h:.1f} h (base, then acid)")


def test_h41_who_only_watches_calls_and_never_doses(tmp_path: Path, figure: Figure) -> None:
    """Two days of `watching` in water that no crop bears: a grave alarm, and not one drop."""
    with at_the_tank(tmp_path, one_bed(start="watching"), tank={"start_ph": 8.0}) as at:
        at.until(lambda _: "bed1-ph-far-out" in at.alarms(), within=60)
        minutes = at.clock.monotonic_s() / 60.0
        keep(at, 48.0, every_s=300.0)
        assert at.runs() + at.runs(PH_UP_LINE) == []
        figure(f"alarm after {minutes:.0f} min, 0 mL in 48 h")
