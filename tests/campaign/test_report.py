"""The report's own arithmetic: sums, worsts and rates of months that are known."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import Any

import pytest

from tests.campaign.report import HOURS_A_MONTH, SHOWN, Month, findings, is_clean, kind_rows, rows, summed

CALM = Month(seed=1, hours=720.0, healthy_hours=720.0, doses=10, worst_day_share=0.4)
ROUGH = Month(
    seed=2,
    hours=700.0,
    healthy_hours=360.0,
    faults=Counter(probe_stuck=2, pump_dead=1),
    happened=Counter(kill=3),
    doses=5,
    worst_day_share=0.9,
    excursion_ph=0.1,
    poured_ph=0.7,
    wrong_doses=2,
    locks=("1.00 d: why", "2.00 d: why"),
    false_latches=("2.00 d: why",),
    unseen=Counter(pump_dead=1),
    delays_s=(("probe_stuck", 60.0), ("probe_stuck", 1800.0)),
)


def test_counts_are_added_and_worsts_taken() -> None:
    """Over all months, whatever their order."""
    expected = {
        "runs": 3,
        "hours": 2120.0,
        "faults": {"probe_stuck": 4, "pump_dead": 2},
        "happened": {"kill": 6},
        "doses": 20,
        "worst_day_share_of_cap": 0.9,
        "worst_excursion_ph": 0.1,
        "worst_excursion_with_a_stuck_pump_or_a_hand_ph": 0.7,
        "doses_on_wrong_readings": 4,
        "locks": 4,
        "false_latches": 2,
        "unseen_faults": {"pump_dead": 2},
        "worst_delay_s": {"probe_stuck": 1800.0},
    }
    report = summed([ROUGH, CALM, replace(ROUGH, seed=3, delays_s=(("probe_stuck", 90.0),))])
    assert {key: report[key] for key in expected} == expected


def test_false_latches_are_a_rate_of_healthy_time_alone() -> None:
    """One in 360 + 720 healthy hours is two thirds in a month of them."""
    assert summed([ROUGH, CALM])["false_latches_per_healthy_month"] == pytest.approx(HOURS_A_MONTH / 1080.0)
    assert summed([replace(ROUGH, healthy_hours=0.0)])["false_latches_per_healthy_month"] is None


@pytest.mark.parametrize(
    "found",
    [{"violations": ("x",)}, {"beyond_first": ("x",)}, {"missed": ("x",)}, {"stopped": "x"}],
    ids=lambda found: next(iter(found)),
)
def test_one_finding_in_one_month_is_not_clean(found: dict[str, Any]) -> None:
    """And it is shown with the seed that repeats it."""
    assert is_clean([CALM, ROUGH])
    bad = replace(CALM, seed=77, **found)
    assert not is_clean([CALM, bad, ROUGH])
    assert any(line.endswith("seed 77: x") for line in findings([CALM, bad]))


def test_a_flood_of_findings_is_cut_and_counted() -> None:
    """So many of a kind are shown."""
    lines = list(findings([replace(CALM, missed=tuple(map(str, range(SHOWN + 5))))]))
    assert len(lines) == SHOWN + 1
    assert lines[-1] == "missed: and 5 more"


def test_every_kind_of_fault_has_its_row() -> None:
    """Injected, without alarm, longest delay in minutes; nothing where there was no alarm."""
    assert list(kind_rows(summed([ROUGH, CALM]))) == [
        ("probe_stuck", "2", "0", "30 min"),
        ("pump_dead", "1", "1", ""),
    ]


def test_the_rows_for_people_say_what_the_sums_say() -> None:
    """Figure by figure."""
    shown = dict(rows(summed([ROUGH, CALM])))
    assert shown["runs"] == "2"
    assert shown["hours simulated"] == "1,420"
    assert shown["worst 24 h total, share of its cap"] == "90.0%"
    assert shown["worst excursion caused by dosing"] == "0.10 pH"
    assert shown["false latches per healthy month"] == "0.67"
