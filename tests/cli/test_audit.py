"""The audit of what pumps truly did: it finds every cap that is crossed, and none that is not."""

from __future__ import annotations

import math
from collections.abc import Iterable

import pytest

from config.settings import Settings
from daemon.cli.audit import DAY_S, HOUR_S, Audit
from sim_hw.pins import Edge
from tests.at_the_tank import one_bed, pump_settings, raw_settings, two_beds

ACID, BASE = 17, 27  # lines of pumps of 1 mL/s; acid: 8 mL a dose, 60 an hour, 150 in 24 h, 360 s apart
GAP_S = 360.0


def run(at_s: float, ml: float, line: int = ACID, ml_per_s: float = 1.0) -> list[Edge]:
    """One run from its first edge to its last."""
    return [Edge(at_s, line, True), Edge(at_s + ml / ml_per_s, line, False)]


def runs(count: int, every_s: float, ml: float) -> list[Edge]:
    """So many of the acid pump."""
    return [edge for number in range(count) for edge in run(number * every_s, ml)]


def found(edges: Iterable[Edge], settings: Settings | None = None) -> list[str]:
    """What the audit says of these edges."""
    audit = Audit(settings or one_bed())
    audit.see(edges)
    return audit.violations


UNDER_AND_OVER = [
    # what, edges just under its cap, edges just over it
    ("one dose", run(0.0, 7.99), run(0.0, 8.2)),
    ("one hour", runs(8, 400.0, 7.45), runs(8, 400.0, 7.6)),
    ("one 24 h", runs(20, 4000.0, 7.45), runs(20, 4000.0, 7.6)),
    ("s after its last start", runs(2, GAP_S, 4.0), runs(2, GAP_S - 1.0, 4.0)),
    ("another pump", run(0.0, 4.0) + run(4.0, 2.0, BASE), [*run(0.0, 4.0)[:1], *run(3.9, 2.0, BASE)]),
]


@pytest.mark.parametrize(("what", "under", "over"), UNDER_AND_OVER, ids=[row[0] for row in UNDER_AND_OVER])
def test_each_cap_is_found_just_over_and_not_just_under(what: str, under: list[Edge], over: list[Edge]) -> None:
    """One violation that names the pump, the window and the cap."""
    assert found(under) == []
    (violation,) = found(over)
    assert what in violation
    assert violation.startswith(("bed1/ph_down", "bed1/ph_up"))


def test_a_violation_says_how_much_and_what_was_allowed() -> None:
    """In mL, with the moment."""
    assert found(run(100.0, 9.0)) == ["bed1/ph_down at 109 s: 9.00 mL in one dose, cap 8 mL"]


def test_a_rounding_of_the_keepers_clock_is_no_violation() -> None:
    """Five hundredths of a mL are let pass."""
    assert found(run(0.0, 8.04)) == []
    assert len(found(run(0.0, 8.06))) == 1


@pytest.mark.parametrize(
    ("cap", "window_s", "edges"),
    [("hour", HOUR_S, runs(7, 500.0, 8.0)), ("24 h", DAY_S, runs(18, 4500.0, 8.0))],
)
def test_a_window_rolls_and_a_run_that_reaches_into_it_counts(
    cap: str, window_s: float, edges: list[Edge]
) -> None:
    """56 of 60 mL (144 of 150) are spent: 7 more only once the first run lies wholly before the window."""
    first_end_s = 8.0
    last_end_s = first_end_s + window_s
    assert found([*edges, *run(last_end_s - 7.0, 7.0)]) == []
    (violation,) = found([*edges, *run(last_end_s - 7.5, 7.0)])
    assert f"one {cap}" in violation


@pytest.mark.parametrize("name", ["max_per_dose_ml", "max_per_hour_ml", "max_per_day_ml"])
def test_a_cap_that_is_not_set_is_zero(name: str) -> None:
    """Any run at all is a violation."""
    assert any("cap 0 mL" in violation for violation in found(run(0.0, 1.0), pump_settings(**{name: None})))


def test_each_pump_has_its_own_caps() -> None:
    """Base may have 5 mL a dose where acid may have 8, and neither counts the other's."""
    assert found(run(0.0, 8.0) + run(10.0, 5.0, BASE)) == []
    (violation,) = found(run(0.0, 5.5, BASE))
    assert violation.startswith("bed1/ph_up")


def test_the_rate_of_the_settings_turns_time_into_ml() -> None:
    """At 2 mL/s half the time is the same dose."""
    audit = Audit(pump_settings(ml_per_s=2.0))
    audit.see([*run(0.0, 8.0, ml_per_s=2.0), *run(600.0, 4.0, ml_per_s=2.0)])
    assert audit.total_ml() == {"bed1/ph_down": 12.0, "bed1/ph_up": 0.0}
    assert audit.violations == []


def test_pumps_of_several_reservoirs_may_not_run_together() -> None:
    """One keeper, one pump at a time."""
    edges = [Edge(0.0, 17, True), Edge(1.0, 22, True), Edge(2.0, 22, False), Edge(3.0, 17, False)]
    (violation,) = found(edges, two_beds())
    assert violation == "bed2/ph_down at 1 s: ran while another pump was running"


def test_edges_may_come_in_pieces() -> None:
    """A run that began in one piece and ended in the next is one run."""
    audit = Audit(one_bed())
    on, off = run(0.0, 9.0)
    audit.see([on])
    assert audit.violations == []
    audit.see([off])
    assert len(audit.violations) == 1


def test_a_line_that_stays_high_is_found_at_the_end() -> None:
    """It has no last edge: what it has run so far counts, against its caps too."""
    audit = Audit(one_bed())
    audit.see(run(0.0, 100.0)[:1])
    audit.finish(100.0)
    assert audit.total_ml()["bed1/ph_down"] == 100.0
    assert audit.violations[0] == "bed1/ph_down at 100 s: was still running at the end"
    assert len(audit.violations) == 3  # per dose and per hour as well
    audit.finish(200.0)
    assert len(audit.violations) == 3


def test_what_belongs_to_no_pump_is_passed_over() -> None:
    """Other lines, a repeated level, and a line that goes low without having been high."""
    stray = [Edge(0.0, 5, True), Edge(1.0, 17, False), Edge(2.0, 17, True), Edge(3.0, 17, True)]
    audit = Audit(Settings.model_validate(raw_settings()))
    audit.see([*stray, Edge(6.0, 17, False)])
    assert audit.total_ml()["bed1/ph_down"] == 4.0
    assert audit.violations == []


def test_the_fullest_day_is_told_as_a_share_of_its_cap() -> None:
    """Of the pump nearest to its own cap, long after that day is over."""
    audit = Audit(one_bed())
    assert audit.worst_day_share() == 0.0
    audit.see([*runs(3, 400.0, 5.0), *run(2000.0, 5.0, BASE), *run(3 * DAY_S, 1.0)])
    assert audit.worst_day_share() == pytest.approx(max(15.0 / 150.0, 5.0 / 50.0))
    audit.see(run(3 * DAY_S + GAP_S, 7.0, BASE))
    assert audit.worst_day_share() == pytest.approx(7.0 / 50.0)


def test_a_run_without_a_cap_fills_it_beyond_measure() -> None:
    """A missing cap is zero."""
    audit = Audit(pump_settings(max_per_day_ml=None))
    audit.see(run(0.0, 1.0))
    assert audit.worst_day_share() == math.inf
