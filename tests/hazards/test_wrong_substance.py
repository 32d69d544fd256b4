"""H12 to H15: the wrong thing comes out of a tube, or two that must not meet."""

from __future__ import annotations

from datetime import UTC, datetime
from itertools import permutations
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from config.pump import MIXING_TIMES
from config.settings import Settings
from daemon.dose.ledger import Ledger
from daemon.dose.permit import Facts, limits_of, permit
from daemon.dose.windows import Stamp
from daemon.values import (
    Cap,
    Condition,
    DoseReason,
    DoseRequest,
    Outcome,
    Permit,
    Role,
)
from sim_hw.faults import FaultName
from tests.at_the_tank import at_the_tank, raw_settings
from tests.hazards.conftest import Figure
from tests.hazards.kept import PH_UP_LINE, befall, delivered_ml, fed_bed, keep, until_locked

STOCK_LINES = {"stock_a": 22, "stock_b": 24}


def swapped_bottles() -> Settings:
    """The school garden, each tube in the other's bottle."""
    raw = raw_settings()
    for pump in raw["rig"]["tank"]["bed1"]["pump"]:
        pump["line"] = {17: 27, 27: 17}[pump["line"]]
    return Settings.model_validate(raw)


def with_stocks(**bed: Any) -> Settings:
    """The school garden with pumps for stock A and B, their caps set."""
    raw = raw_settings()
    for role, line in STOCK_LINES.items():
        raw["reservoir"]["bed1"]["pump"][role] = {**raw["reservoir"]["bed1"]["pump"]["ph_up"], "line": line}
        raw["rig"]["tank"]["bed1"]["pump"].append({"role": role, "line": line})
    raw["reservoir"]["bed1"].update(bed)
    return Settings.model_validate(raw)


def test_h12_swapped_bottles_are_found_by_one_dose(tmp_path: Path, figure: Figure) -> None:
    """Base in the acid's place: one dose, at most a third of the need, then locked."""
    with at_the_tank(tmp_path, wired=swapped_bottles()) as at:
        bed, minutes = until_locked(at, 1.0)
        assert len(at.runs()) == 1
        assert at.runs(PH_UP_LINE) == []
        numbers = bed.last_doses[0].numbers
        assert bed.last_doses[0].ml <= numbers["need_ml"] / 3.0
        assert "wrong bottle" in bed.condition_reason
        figure(f"1 dose of {bed.last_doses[0].ml:.0f} mL, locked {minutes:.0f} min after the start")


def test_h13_no_two_substances_meet_unmixed(tmp_path: Path, figure: Figure) -> None:
    """After a dose of any bottle none may follow from any other before three mixing times have passed."""
    table = with_stocks().reservoir["bed1"]
    wait_s = MIXING_TIMES * table.mixing_time_s
    shortest_s = wait_s * 10.0
    for first, second in permutations((Role.STOCK_A, Role.STOCK_B, Role.PH_DOWN, Role.PH_UP), 2):
        ledger = Ledger(tmp_path / f"{first}-{second}.db", stamp(0.0), version="test")
        intent = Permit(DoseRequest("bed1", first, 1.0, DoseReason.EC_LOW), 1.0, 1.0)
        ledger.settle(ledger.intend(intent, stamp(0.0)), Outcome.DONE, "")
        asked = DoseRequest("bed1", second, 1.0, DoseReason.PRIME)
        for at_s in range(0, round(2.0 * wait_s), 10):
            facts = Facts(
                condition=Condition.HELD,  # as a person primes
                verdict=None,
                spent=ledger.totals("bed1", second, stamp(float(at_s))),
                volume_l=table.volume_l,
                mixing_time_s=table.mixing_time_s,
                level_enough=True,
                has_level_probe=True,
            )
            answer = permit(asked, limits_of(second, table), facts)
            if isinstance(answer, Permit):
                shortest_s = min(shortest_s, float(at_s))
                break
            assert answer.cap in (Cap.MIXING, Cap.OPPOSITE)
        ledger.close()
    assert wait_s <= shortest_s <= wait_s + 11.0
    figure(f"12 orders of four bottles: none sooner than {shortest_s:.0f} s; three mixing times: {wait_s:.0f} s")


def stamp(at_s: float) -> Stamp:
    """A moment of one boot."""
    return Stamp("boot", at_s, datetime(2026, 4, 1, tzinfo=UTC), False)


@pytest.mark.parametrize("name", ["chlorine", "bleach", "cleaner", "peroxide", "PH_DOWN"])
def test_h14_no_pump_can_be_given_a_cleaner(name: str) -> None:
    """The settings know five kinds of bottle, none of them a cleaner; any other name stops the start."""
    raw = raw_settings()
    raw["reservoir"]["bed1"]["pump"][name] = raw["reservoir"]["bed1"]["pump"].pop("ph_up")
    with pytest.raises(ValidationError, match="ph_down"):
        Settings.model_validate(raw)


ONE_DOSE_ML, BENCH_IS_FASTER = 30.0, 1.04  # its pumps deliver a little more than the settings say
PAIR = (Role.STOCK_A, Role.STOCK_B)


@pytest.mark.parametrize("trouble", ["none", "b_empty", "b_nearly_empty", "restart", "hold", "ec_unplugged"])
def test_h15_neither_half_of_a_pair_is_left_out(tmp_path: Path, trouble: str, figure: Figure) -> None:
    """Whatever happens to B, what came out of the two bottles differs by one dose at most."""
    settings = fed_bed()
    if trouble == "b_nearly_empty":
        settings.reservoir["bed1"].pump["stock_b"] = (
            settings.reservoir["bed1"].pump["stock_b"].model_copy(update={"bottle_ml": 45.0})
        )
    given_ml = dict.fromkeys(PAIR, 0.0)
    for start in range(2):
        with at_the_tank(tmp_path, settings, wired=fed_bed(), tank={"nutrient_strength": 0.3}) as at:
            if trouble == "b_empty":
                befall(at, FaultName.BOTTLE_EMPTY, "stock_b")
            if start == 0:
                at.until(lambda _: delivered_ml(at, Role.STOCK_A) > 0.0, within=400)
            if trouble == "hold":
                at.ask("hold", reason="looking")
                keep(at, 1.0)
                at.ask("release")
            elif trouble == "ec_unplugged":
                befall(at, FaultName.PROBE_UNPLUGGED, "ec", for_s=7200.0)
            keep(at, 0.0 if trouble == "restart" and start == 0 else 8.0)
            for role in PAIR:
                given_ml[role] += delivered_ml(at, role)
    assert given_ml[Role.STOCK_A] > 0.0
    apart_ml = abs(given_ml[Role.STOCK_A] - given_ml[Role.STOCK_B])
    most_doses = 3.0 if trouble == "b_empty" else 1.0
    assert apart_ml <= most_doses * ONE_DOSE_ML * BENCH_IS_FASTER
    figure(f"{trouble.replace('_', ' ')}: A and B differ by {apart_ml:.0f} mL of {given_ml[Role.STOCK_A]:.0f} mL")
