"""An alarm's life from cause to normal."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from math import inf, nan

import pytest

from daemon.alarm.kinds import Kind
from daemon.alarm.life import (
    MOST_SHELVED_S,
    UNHEARD_S,
    Cause,
    Lives,
    acknowledge,
    active,
    advance,
    is_silent,
    may_be_shelved,
    shelve,
    standing,
    unheard,
    unshelve,
)
from daemon.alarm.table import TABLE
from daemon.values import AlarmState

UTC_NOW = datetime(2026, 3, 1, tzinfo=UTC)
PROBE = Cause(Kind.PROBE, "bed1", "ph", "pH probe: no answer.")
LOCKED = Cause(Kind.LOCKED, "bed1", "", "Bed 1 is locked: stop.")
FAR = Cause(Kind.FAR_OUT, "bed1", "ph", "pH 3.9.")
OLD_RATE = Cause(Kind.RATE_OLD, "bed1", "ph_down", "pH down pump: old.")
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


def states(lives: Lives) -> dict[str, AlarmState]:
    """What people see."""
    return {alarm.key: alarm.state for alarm in active(lives)}


def raised(*causes: Cause) -> Lives:
    """These, each past its on-delay."""
    return _after({}, list(causes), 0.0, 5 * 3600.0)


def test_a_lock_that_is_acknowledged_stays_latched() -> None:
    """Only a person at the tank ends it; then it is over at once."""
    lives = acknowledge(raised(LOCKED), ["bed1-locked"])
    assert states(lives) == {"bed1-locked": AlarmState.LATCHED}
    assert states(_after(lives, [], 6 * 3600.0)) == {}


def test_a_grave_alarm_that_went_by_itself_waits_until_it_is_seen() -> None:
    """However long it is gone; acknowledged, it is over."""
    lives = _after(raised(FAR), [], 6 * 3600.0, 99 * 3600.0)
    assert states(lives) == {"bed1-ph-far-out": AlarmState.RETURNED}
    assert states(acknowledge(lives, ["bed1-ph-far-out"])) == {}
    seen = acknowledge(raised(FAR), ["bed1-ph-far-out"])
    assert states(_after(seen, [], 6 * 3600.0, 7 * 3600.0)) == {}


def test_only_low_priority_can_be_shelved() -> None:
    """And only what is there."""
    lives = raised(OLD_RATE, PROBE, LOCKED)
    assert may_be_shelved(lives, OLD_RATE.key)
    for key in (PROBE.key, LOCKED.key, "bed9-toast"):
        assert not may_be_shelved(lives, key)
        with pytest.raises(ValueError, match="low priority"):
            shelve(lives, key, 1.0, UTC_NOW)


def test_a_shelved_alarm_is_silent_until_its_time() -> None:
    """Then it is what it was."""
    key, until_s = OLD_RATE.key, 6 * 3600.0
    lives = _after(shelve(raised(OLD_RATE), key, until_s, UTC_NOW), [OLD_RATE], until_s - 1.0)
    (alarm,) = active(lives)
    assert (alarm.state, alarm.until_utc, is_silent(alarm)) == (AlarmState.SHELVED, UTC_NOW, True)
    (alarm,) = active(_after(lives, [OLD_RATE], until_s))
    assert (alarm.state, alarm.until_utc, is_silent(alarm)) == (AlarmState.UNACKNOWLEDGED, None, False)
    assert states(unshelve(lives, [key])) == {key: AlarmState.UNACKNOWLEDGED}


@pytest.mark.parametrize("until_s", [nan, inf, 5 * 3600.0 + MOST_SHELVED_S + 2.0, -1.0])
def test_nothing_is_shelved_for_longer_than_a_day(until_s: float) -> None:
    """Whatever a file says."""
    lives = _after(shelve(raised(OLD_RATE), OLD_RATE.key, until_s, UTC_NOW), [OLD_RATE], 5 * 3600.0 + 1.0)
    assert states(lives) == {OLD_RATE.key: AlarmState.UNACKNOWLEDGED}


def test_what_another_explains_calls_nobody() -> None:
    """It is listed right after that, whatever its priority, and calls once it stands alone."""
    lives = raised(OLD_RATE, BAND, LOCKED)
    assert [(alarm.key, alarm.because_of) for alarm in active(lives)] == [
        ("bed1-locked", ""),
        ("bed1-ph-out-of-band", "bed1-locked"),
        ("bed1-ph-down-rate-old", ""),
    ]
    assert states(lives)[BAND.key] is AlarmState.SUPPRESSED
    assert states(_after(lives, [BAND], 6 * 3600.0))[BAND.key] is AlarmState.UNACKNOWLEDGED


def test_another_reservoir_explains_nothing_and_nor_what_is_its_own() -> None:
    """The box's own alarms do."""
    elsewhere = Cause(Kind.LOCKED, "bed2", "", "Bed 2 is locked.")
    assert states(raised(BAND, elsewhere))[BAND.key] is AlarmState.UNACKNOWLEDGED
    warm = Cause(Kind.OUT_OF_BAND, "bed1", "temperature", "26 °C.", own=True)
    assert states(raised(warm, LOCKED))[warm.key] is AlarmState.UNACKNOWLEDGED
    ledger = Cause(Kind.LEDGER, "", "", "broken.")
    assert states(raised(BAND, ledger))[BAND.key] is AlarmState.SUPPRESSED


def test_a_chain_is_listed_below_what_it_began_with() -> None:
    """A leak, hence a low level, hence pH out of its band."""
    leak = Cause(Kind.LEAK, "bed1", "level", "leak.")
    low = Cause(Kind.LEVEL_LOW, "bed1", "level", "low.")
    assert [alarm.key for alarm in active(raised(BAND, low, leak))] == [leak.key, low.key, BAND.key]


def test_no_kind_follows_from_itself() -> None:
    """Nor by way of others."""

    def all_before(kind: Kind) -> set[Kind]:
        follows = TABLE[kind].follows
        return set(follows).union(*map(all_before, follows))

    assert [kind for kind in Kind if kind in all_before(kind)] == []


def test_a_recalled_alarm_waits_until_much_is_known() -> None:
    """After a start a cause shows only once its probe is judged; then it is the same alarm as before."""
    before = acknowledge(raised(PROBE), [PROBE.key])
    lives: Lives = {key: replace(life, recalled=True) for key, life in before.items()}
    off_s = TABLE[Kind.PROBE].off_delay_s
    waiting = advance(advance(lives, [], 0.0, UTC_NOW, settled=False), [], off_s, UTC_NOW, settled=False)
    assert states(waiting) == {PROBE.key: AlarmState.ACKNOWLEDGED}
    there = advance(waiting, [replace(PROBE, text="pH probe: dry.")], off_s, UTC_NOW, settled=False)
    assert states(there) == {PROBE.key: AlarmState.ACKNOWLEDGED}
    assert active(there)[0].text.startswith("pH probe: dry.")
    assert states(_after(waiting, [], 600.0, 600.0 + off_s)) == {}


def test_what_stands_is_what_was_there_at_the_last_pass() -> None:
    """Which is what a dead band holds on to."""
    lives = raised(PROBE)
    assert standing(lives) == {PROBE.key}
    assert standing(_after(lives, [], 5 * 3600.0 + 1.0)) == set()


def test_a_recalled_alarm_whose_cause_would_show_at_once_does_not_wait() -> None:
    """A ledger that was repaired meanwhile is no alarm of the new start."""
    held = Cause(Kind.HELD_LONG, "bed1", "", "Bed 1 is held.")
    lives: Lives = {key: replace(life, recalled=True) for key, life in raised_after(held, 13 * 3600.0).items()}
    gone = advance(advance(lives, [], 0.0, UTC_NOW, settled=False), [], 1.0, UTC_NOW, settled=False)
    assert states(gone) == {}


def raised_after(cause: Cause, seconds: float) -> Lives:
    """One that takes so long."""
    return _after({}, [cause], 0.0, seconds)
