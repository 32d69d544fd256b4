"""The figures of a run, the table's means, the targets and the picture."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from xml.etree import ElementTree as ET

import pytest

from config.load import raw_tables
from config.settings import Settings
from daemon.rehearsal.compare import (
    BANDED,
    ORACLE,
    OURS,
    Run,
    Score,
    live,
    lived,
    mean_and_spread,
    picture,
    same_as,
    score,
    targets,
    targets_over,
    waters_of,
)
from daemon.rehearsal.rivals import DAY_S, HOUR_S, Sight
from sim_hw.scenarios import SCENARIOS, tables_of
from tests.at_the_tank import RIGS

BASE = raw_tables(RIGS / "quince-lane-fed.toml")
SETTINGS = Settings.model_validate(tables_of(BASE, SCENARIOS["typical"]))
GOOD = Score(0.999, 5.0, 100.0, 3.0, 1.0, 0.0, 0.0, 0.0)


def sight(*ph: float, doses: tuple[tuple[float, float], ...] = ()) -> Sight:
    """A day at the target, then an hour at each of these."""
    values = [6.0] * 24 + list(ph)
    hours = [(hour * HOUR_S, value) for hour, value in enumerate(values)]
    return Sight(hours, [(at_s, 1.2) for at_s, _ in hours], list(doses))


def test_only_the_second_day_and_on_counts_for_nearness() -> None:
    """Half near, and the error summed over hours."""
    got = score(sight(6.0, 6.5, 6.1, 6.3), SETTINGS)
    assert got.near == 0.5
    assert got.error_ph_h == pytest.approx(0.5 + 0.1 + 0.3)


def test_doses_crossings_and_fights() -> None:
    """A dip below the band is one crossing; base within six hours of acid is a fight."""
    doses = ((0.0, 6.0), (5.0 * HOUR_S, -3.0), (12.0 * HOUR_S, 6.0))
    got = score(sight(5.4, 5.4, 5.6, 5.3, doses=doses), SETTINGS)
    assert (got.starts, got.ml_per_l, got.crossings, got.fights) == (3, 15.0 / 60.0, 2, 1)


def test_means_and_spread() -> None:
    """Over seeds; one alone has no spread."""
    mean, spread = mean_and_spread([GOOD, replace(GOOD, starts=120.0)])
    assert (mean.starts, spread.starts) == pytest.approx((110.0, 14.142), abs=0.001)
    assert mean_and_spread([GOOD])[1].starts == 0.0


def test_as_near_as_the_pid_is_to_a_thousandth_of_the_time() -> None:
    """Where both are near nearly always, a minute says nothing; any other column does, and is named."""
    banded = replace(GOOD, near=0.9998)
    assert targets(GOOD, GOOD, banded)[-1][1:] == ("worse: nowhere", True)
    assert targets(GOOD, GOOD, replace(banded, near=1.0, starts=99.0))[-1][1:] == ("worse: starts", False)
    assert targets(replace(GOOD, near=0.996), GOOD, banded)[-1][1:] == ("worse: share", False)


@pytest.mark.parametrize(
    "change",
    [
        {"near": 0.994},
        {"error_ph_h": 7.1},
        {"ml_per_l": 3.2},
        {"starts": 101.0},
        {"ec_near": 0.98},
        {"crossings": 1.0},
        {"fights": 1.0},
        {"violations": 1.0},
    ],
)
def test_each_target_can_be_missed(change: dict[str, float]) -> None:
    """And is met where all is as good as the oracle's."""
    banded = replace(GOOD, near=0.9, error_ph_h=20.0, starts=300.0, ml_per_l=4.0)
    assert all(met for *_, met in targets(GOOD, GOOD, banded))
    assert not all(met for *_, met in targets(replace(GOOD, **change), GOOD, banded))


@cache
def lived_through() -> tuple[Score, Sight]:
    """A day and a half of the real thing, once for all tests."""
    return live(Run("typical", OURS, 1, days=1.5), BASE)


def test_ours_goes_through_the_whole_program() -> None:
    """It doses and crosses no cap."""
    got, seen = lived_through()
    assert got.violations == 0
    assert got.starts > 5
    assert got.near > 0.9
    assert len(seen.ph) == pytest.approx(1.5 * 1440, rel=0.02)


def test_the_picture_is_sound_and_shows_every_dose() -> None:
    """An SVG with one strip for each way."""
    seen = sight(6.2, 6.4, doses=((0.0, 6.0), (DAY_S, -3.0)))
    svg = picture("typical: <water> & more", {"ours": seen, "oracle": seen}, SETTINGS, 2.0)
    root = ET.fromstring(svg)
    texts = [each.text for each in root.iter() if each.text]
    assert "typical: <water> & more" in texts
    assert texts.count("2 doses") == 2
    ticks = [each.get("d") or "" for each in root.iter() if (each.get("d") or "").count("v8")]
    assert [tick.count("v8") for tick in ticks] == [2, 2]


def test_a_way_without_chance_is_run_once_for_all_seeds() -> None:
    """Whatever the seed, it sees and does the same; one with a probe is run for each."""
    runs = [Run("typical", way, seed, days=1.1) for way in ("oracle", "timer") for seed in (1, 2)]
    assert lived(runs) == 3
    oracle = [live(run, BASE)[1] for run in runs[:2]]
    assert oracle[0] == oracle[1]


def test_a_fault_yet_to_come_makes_no_other_water() -> None:
    """For a week nobody could tell the holiday from the typical water: lived once, and counted once."""
    assert (same_as("holiday", 7.0), same_as("holiday", 14.0)) == ("typical", "holiday")
    assert same_as("holiday", None) == "holiday"
    assert [same_as(name, 5.0) for name in SCENARIOS if name != "holiday"] == [
        n for n in SCENARIOS if n != "holiday"
    ]
    runs = [Run(name, OURS, 1, days=5.0) for name in ("typical", "holiday", "still")]
    assert lived(runs) == 2
    assert waters_of(runs) == ["typical"]
    assert waters_of(runs[1:]) == ["holiday"]


def test_a_seed_and_the_water_before_its_fault_tell_the_same_again() -> None:
    """The holiday's first day, lived by itself, is that of the typical water to the last digit, dose by dose."""
    _, typical = lived_through()
    _, again = live(Run("holiday", OURS, 1, days=1.1), BASE)
    assert len(again.doses) > 5
    assert again.ph == typical.ph[: len(again.ph)]
    assert again.ec == typical.ec[: len(again.ec)]
    assert again.doses == typical.doses[: len(again.doses)]


def test_the_means_count_each_water_once() -> None:
    """Half of the starts in one of two waters are a quarter less, however often its figures stand there."""
    ways = (OURS, ORACLE, BANDED)
    found = {Run(name, way, 1, days=5.0): GOOD for name in ("typical", "soft", "holiday") for way in ways}
    found[Run("soft", OURS, 1, days=5.0)] = replace(GOOD, starts=50.0)
    assert [measured for what, measured, _ in targets_over(found) if "starts" in what] == ["75 : 100"]
