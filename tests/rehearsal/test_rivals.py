"""Other ways to keep pH: the same waits and caps, and the oracle knows."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from config.load import raw_tables
from config.settings import Settings
from daemon.rehearsal.compare import START_DAY_S
from daemon.rehearsal.rivals import BISECTIONS, DAY_S, HOUR_S, RIVALS, Rival, Sight
from sim_hw.from_settings import bench_table
from sim_hw.reagents import ReagentRole
from sim_hw.scenarios import BED, SCENARIOS, tables_of
from sim_hw.tables import check
from sim_hw.tank import Tank
from tests.at_the_tank import RIGS

DAYS = 2.0
FED: Path = RIGS / "quince-lane-fed.toml"


def settings(**bed: Any) -> Settings:
    """The fed garden in typical water."""
    raw = tables_of(raw_tables(FED), SCENARIOS["typical"])
    raw["reservoir"][BED].update(bed)
    return Settings.model_validate(raw)


def lived(way: str, seed: int = 1, **more: Any) -> Sight:
    """Two days of it."""
    of = settings()
    bed = of.reservoir[BED]
    table = check(bench_table(of, seed=seed)).tank[BED]
    return Rival(bed, table, RIVALS[way](bed), seed=seed, **more).live(DAYS, START_DAY_S)


@pytest.fixture(scope="module")
def sights() -> dict[str, Sight]:
    """Each way, once."""
    return {way: lived(way) for way in RIVALS}


def late_error(sight: Sight) -> float:
    """Mean |error| on the second day."""
    late = [abs(ph - 6.0) for at_s, ph in sight.ph if at_s >= DAY_S]
    return sum(late) / len(late)


def test_each_is_told_of_minute_by_minute(sights: dict[str, Sight]) -> None:
    """And without dosing nothing starts."""
    assert {len(sight.ph) for sight in sights.values()} == {round(DAYS * 1440)}
    assert sights["nothing"].doses == []
    assert all(sight.doses for way, sight in sights.items() if way != "nothing")


def test_the_oracle_errs_least(sights: dict[str, Sight]) -> None:
    """And is near on the second day."""
    errors = {way: late_error(sight) for way, sight in sights.items()}
    assert min(errors, key=lambda way: errors[way]) == "oracle"
    assert errors["oracle"] < 0.03
    assert errors["nothing"] > 0.5


def test_all_keep_the_waits_and_caps(sights: dict[str, Sight]) -> None:
    """Those that the settings give ours."""
    bed = settings().reservoir[BED]
    acid = bed.pump["ph_down"]
    for sight in sights.values():
        starts = [at_s for at_s, _ in sight.doses]
        ends = [at_s + abs(ml) / acid.ml_per_s for at_s, ml in sight.doses]
        assert all(
            later - end_s >= 3.0 * bed.mixing_time_s for end_s, later in zip(ends, starts[1:], strict=False)
        )
        assert all(abs(ml) <= (acid.max_per_dose_ml or 0.0) for _, ml in sight.doses)
        for at_s in starts:
            hour_ml = sum(ml for t, ml in sight.doses if at_s - HOUR_S < t <= at_s and ml > 0.0)
            assert hour_ml <= (acid.max_per_hour_ml or 0.0) + 1e-9
        acids, bases = ([t for t, ml in sight.doses if (ml > 0.0) is acid] for acid in (True, False))
        assert all(abs(a - b) >= bed.opposite_gap_h * HOUR_S for a in acids for b in bases)


def test_caps_shrink_with_the_level() -> None:
    """Two litres an hour gone of sixty: after an hour the largest dose is a thirtieth smaller."""
    of = settings()
    bed = of.reservoir[BED]
    table = check(bench_table(of, seed=1)).tank[BED].model_copy(update={"evaporation_l_per_day": 48.0})
    doses = Rival(bed, table, RIVALS["oracle"](bed), seed=1).live(0.08, START_DAY_S).doses
    assert doses[0][1] == pytest.approx(8.0, abs=0.02)
    after_an_hour = next(ml for at_s, ml in doses if at_s > HOUR_S)
    assert after_an_hour == pytest.approx(8.0 * (1.0 - 2.0 / 60.0), rel=0.01)


def test_a_bottle_that_runs_dry_gives_no_more() -> None:
    """The way asks on, and pH no longer follows."""
    dry = lived("oracle", dry_s={"ph_down": HOUR_S})
    assert dry.ph[-1][1] > 6.5
    assert dry.doses[-1][0] > DAY_S


def test_the_same_seed_gives_the_same_run() -> None:
    """And another one another."""
    assert lived("timer").doses == lived("timer").doses
    assert lived("timer").ph == lived("timer").ph
    assert lived("pid, dead band", 2).doses != lived("pid, dead band", 3).doses


def test_the_oracle_reckons_only_where_it_may_dose(monkeypatch: pytest.MonkeyPatch) -> None:
    """In its waits and at its caps nothing could come of it. A reckoning tries so many amounts."""
    asked: list[float] = []
    ph_with = Tank.ph_with

    def noting(tank: Tank, role: ReagentRole, ml: float) -> float:
        asked.append(ml)
        return ph_with(tank, role, ml)

    monkeypatch.setattr(Tank, "ph_with", noting)
    doses = lived("oracle").doses
    assert len(asked) == BISECTIONS * len(doses) > 0
