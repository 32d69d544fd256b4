"""Snapshots become rows of minutes, and what began or ended."""

from __future__ import annotations

from dataclasses import replace

from daemon.store.minutes import Banded, Minute, Minutes, banded, happened
from daemon.values import Condition, Quality, Quantity, State
from tests.link.states import alarm
from tests.store.snapshots import snapshot


def with_condition(state: State, condition: Condition, why: str) -> State:
    """The same, bed1 in another condition."""
    bed = replace(state.reservoirs["bed1"], condition=condition, condition_reason=why)
    return replace(state, reservoirs={"bed1": bed})


def test_a_row_is_the_mean_of_its_minute() -> None:
    """It comes once the next minute has begun, and once only."""
    minutes = Minutes()
    assert minutes.see(snapshot(60.0, 6.0)) == []
    assert minutes.see(snapshot(90.0, 6.2)) == []
    assert minutes.see(snapshot(125.0, 6.6)) == [Minute(("bed1", "ph"), 60.0, (6.0 + 6.2) / 2.0, doubted=False)]
    assert minutes.end() == [Minute(("bed1", "ph"), 120.0, 6.6, doubted=False)]
    assert minutes.end() == []


def test_a_minute_with_a_doubted_reading_is_doubted() -> None:
    """What was not dosed by does not look as good as the rest."""
    minutes = Minutes()
    minutes.see(snapshot(60.0, 6.0))
    minutes.see(snapshot(90.0, 9.0, quality=Quality.BAD))
    minutes.see(snapshot(100.0, 6.0))
    assert [row.doubted for row in minutes.end()] == [True]


def test_no_reading_leaves_a_gap() -> None:
    """Nothing is made up."""
    minutes = Minutes()
    minutes.see(snapshot(60.0, None))
    assert minutes.end() == []


def test_alarms_and_conditions_that_begin_and_end() -> None:
    """Once each, not at every pass; the first snapshot tells how everything stands."""
    quiet = snapshot(10.0, 6.0)
    loud = replace(
        with_condition(snapshot(20.0, 6.0), Condition.LOCKED, "stop"), alarms=(alarm("bed1-locked", text="come"),)
    )
    assert [(h.what, h.key) for h in happened(None, quiet)] == [("keeping", "")]
    assert [(h.at_s, h.reservoir, h.what, h.key, h.text) for h in happened(quiet, loud)] == [
        (20.0, "bed1", "raised", "bed1-locked", "come"),
        (20.0, "bed1", "locked", "", "stop"),
    ]
    assert list(happened(loud, replace(loud, at_s=30.0))) == []
    assert [(h.what, h.key) for h in happened(loud, quiet)] == [("over", "bed1-locked"), ("keeping", "")]


def with_band(state: State, *band: float) -> State:
    """The same, with this band of pH."""
    low, high = band
    bed = replace(state.reservoirs["bed1"], bands={Quantity.PH: (low, high)})
    return replace(state, reservoirs={"bed1": bed})


def test_a_band_is_told_at_first_and_when_it_moved() -> None:
    """Not at each look."""
    first = with_band(snapshot(10.0, 6.0), 5.5, 6.5)
    same = with_band(snapshot(20.0, 6.0), 5.5, 6.5)
    moved = with_band(snapshot(30.0, 6.0), 5.6, 6.5)
    assert [*banded(None, first)] == [Banded(("bed1", "ph"), 10.0, 5.5, 6.5)]
    assert [*banded(first, same)] == []
    assert [*banded(same, moved)] == [Banded(("bed1", "ph"), 30.0, 5.6, 6.5)]
