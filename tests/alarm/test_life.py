"""An alarm's life from cause to normal."""

from __future__ import annotations

from datetime import UTC, datetime
from math import nan

from daemon.alarm.life import UNHEARD_S, Cause, Lives, acknowledge, active, advance, unheard
from daemon.alarm.table import TABLE, Kind
from daemon.values import AlarmState

UTC_NOW = datetime(2026, 3, 1, tzinfo=UTC)
PROBE = Cause(Kind.PROBE, "bed1", "ph", "pH probe: no answer.")
BAND = Cause(Kind.OUT_OF_BAND, "bed1", "ph", "pH 7.2.")


def _after(lives: Lives, causes: list[Cause], *times_s: float) -> Lives:
    for time_s in times_s:
        lives = advance(lives, causes, time_s, UTC_NOW)
    return lives


def test_a_dead_probe_alarms_at_once_and_says_what_to_do() -> None:
    """No on-delay: the first pass with the cause raises it, with the daemon's and the person's part."""
    (alarm,) = active(_after({}, [PROBE], 0.0))
    assert alarm.state is AlarmState.UNACKNOWLEDGED
    assert alarm.key == "bed1-ph-probe"
    assert TABLE[Kind.PROBE].act in alarm.text


def test_out_of_band_waits_for_its_delay() -> None:
    """Just under the on-delay there is no alarm, at it there is."""
    delay_s = TABLE[Kind.OUT_OF_BAND].on_delay_s
    assert active(_after({}, [BAND], 0.0, delay_s - 1)) == ()
    assert len(active(_after({}, [BAND], 0.0, delay_s))) == 1


def test_an_interrupted_cause_starts_its_delay_again() -> None:
    """A cause that goes away before its delay leaves nothing behind."""
    delay_s = TABLE[Kind.OUT_OF_BAND].on_delay_s
    lives = _after(_after({}, [BAND], 0.0, delay_s - 10), [], delay_s - 5)
    assert active(_after(lives, [BAND], delay_s)) == ()


def test_a_cause_that_goes_returns_then_leaves_after_its_off_delay() -> None:
    """Returned-unacknowledged until the off-delay has passed, then normal."""
    off_s = TABLE[Kind.PROBE].off_delay_s
    lives = _after(_after({}, [PROBE], 0.0), [], 10.0)
    assert [alarm.state for alarm in active(lives)] == [AlarmState.RETURNED]
    assert active(_after(lives, [], 10.0 + off_s - 1)) != ()
    assert active(_after(lives, [], 10.0 + off_s)) == ()


def test_a_cause_that_comes_back_is_the_same_alarm_again() -> None:
    """Chattering within the off-delay does not make a second alarm."""
    first = active(_after({}, [PROBE], 0.0))
    lives = _after(_after(_after({}, [PROBE], 0.0), [], 10.0), [PROBE], 15.0)
    (again,) = active(lives)
    assert again.state is AlarmState.UNACKNOWLEDGED
    assert again.raised_s == first[0].raised_s


def test_acknowledging_silences_and_clears_nothing() -> None:
    """The alarm stays while its cause does."""
    lives = acknowledge(_after({}, [PROBE], 0.0), ["bed1-ph-probe", "no-such-key"])
    assert [alarm.state for alarm in active(_after(lives, [PROBE], 10.0))] == [AlarmState.ACKNOWLEDGED]


def test_the_gravest_comes_first() -> None:
    """High before medium before low, then the oldest."""
    causes = [Cause(Kind.BOTTLE_LOW, "bed1", "ph_down", "x"), PROBE, Cause(Kind.LOCKED, "bed1", "", "y")]
    keys = [alarm.key for alarm in active(_after({}, causes, 0.0))]
    assert keys == ["bed1-locked", "bed1-ph-probe", "bed1-ph-down-bottle-low"]


LOCKED = Cause(Kind.LOCKED, "bed1", "", "Bed 1 is locked.")


def test_a_grave_alarm_that_nobody_heard_for_a_day() -> None:
    """A second before it is none; nor is one that is acknowledged, gone or of less priority."""
    lives = _after({}, [PROBE, LOCKED], 10.0)
    assert unheard(lives, 10.0 + UNHEARD_S - 1.0) == ()
    (alarm,) = unheard(lives, 10.0 + UNHEARD_S)
    assert alarm.kind == Kind.LOCKED.value
    assert unheard(lives, nan) == (alarm,)
    assert unheard(acknowledge(lives, [LOCKED.key]), 10.0 + UNHEARD_S) == ()
    assert unheard(_after(lives, [], 11.0), 10.0 + UNHEARD_S) == ()


def test_every_kind_has_a_row() -> None:
    """No kind can be raised without its row in the table."""
    assert set(TABLE) == set(Kind)
    assert all(row.consequence and row.done and row.act for row in TABLE.values())
