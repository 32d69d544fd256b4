"""What is sent and when: each alarm once, reminders hourly, never more than the settings allow."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from config.notify import Notify
from daemon.alarm.kinds import Kind
from daemon.values import Alarm, AlarmState, Priority, State
from daemon.ways.plan import HOUR_S, Memory, Message, due, is_quiet
from tests.link.states import MORNING, alarm, state

ALL = Notify(priorities=("high", "medium", "low"), quiet_from_hour=0, quiet_to_hour=0)


def with_alarms(*alarms: Alarm, **changes: Any) -> State:
    """A state in which these stand."""
    return replace(state(), alarms=alarms, **changes)


def grave(key: str = "bed1-locked", **changes: Any) -> Alarm:
    """One of high priority."""
    return replace(alarm(key), **changes)


def lesser(key: str) -> Alarm:
    """One of medium priority."""
    return alarm(key, Priority.MEDIUM)


def sent(memory: Memory, seen: State, now_s: float, settings: Notify = ALL) -> tuple[Memory, Message | None]:
    """What is due of this state."""
    return due(memory, seen, now_s, "Quince Lane", settings)


def test_an_alarm_is_sent_once_with_what_to_do_and_how_long_there_is() -> None:
    """And again only where it was raised anew."""
    one = grave(within="hours")
    memory, message = sent(Memory(), with_alarms(one), 0.0)
    assert message is not None
    assert message.title == "Quince Lane: bed1-locked"
    assert one.text in message.text
    assert "You have: hours." in message.text
    memory, message = sent(memory, with_alarms(one), 10.0)
    assert message is None
    memory, message = sent(memory, with_alarms(), 20.0, ALL.model_copy(update={"ends": False}))
    assert message is None
    _, message = sent(memory, with_alarms(replace(one, raised_s=one.raised_s + 3600.0)), 30.0)
    assert message is not None


def test_what_comes_together_is_one_message() -> None:
    """Gravest first, as the state has them; the title counts the rest."""
    three = [grave("a"), lesser("b"), lesser("c")]
    memory, message = sent(Memory(), with_alarms(*three), 0.0)
    assert message is not None
    assert message.title == "Quince Lane: a and 2 more"
    assert message.text.index(three[0].text) == len("high: ")
    assert len(memory.sent_s) == 1


def test_that_one_is_over_is_told_once_of_those_that_went_out() -> None:
    """Also of one that was acknowledged meanwhile; not of one that nobody was told of."""
    memory, _ = sent(
        Memory(), with_alarms(grave("a"), grave("b"), grave("c", state=AlarmState.ACKNOWLEDGED)), 0.0
    )
    memory, message = sent(memory, with_alarms(grave("b", state=AlarmState.ACKNOWLEDGED)), 60.0)
    assert message == Message("Quince Lane: a over", "over: a.")
    memory, message = sent(memory, with_alarms(), 120.0)
    assert message == Message("Quince Lane: b over", "over: b.")
    assert sent(memory, with_alarms(), 180.0) == (memory, None)


def test_what_is_over_goes_with_what_has_begun_and_after_it() -> None:
    """One message; its title is of what calls for a person."""
    memory, _ = sent(Memory(), with_alarms(grave("a"), grave("b")), 0.0)
    _, message = sent(memory, with_alarms(grave("c")), 60.0)
    assert message is not None
    assert message.title == "Quince Lane: c"
    assert message.text.endswith("over: a.\n\nover: b.")
    _, message = sent(memory, with_alarms(), 60.0)
    assert message is not None
    assert message.title == "Quince Lane: a and 1 more over"


def test_what_is_there_again_is_not_over() -> None:
    """While there was no room, or in quiet hours, to say that it had gone."""
    quiet = ALL.model_copy(update={"quiet_priorities": ("low",), "quiet_from_hour": 21, "quiet_to_hour": 6})
    night, morning = MORNING.replace(hour=23), MORNING.replace(hour=6)
    memory, _ = sent(Memory(), with_alarms(grave("a"), grave("b"), utc=night), 0.0, quiet)
    memory, message = sent(memory, with_alarms(utc=night), 60.0, quiet)
    assert message is None
    memory, _ = sent(memory, with_alarms(grave("a", raised_s=120.0), utc=night), 120.0, quiet)
    _, message = sent(memory, with_alarms(grave("a", raised_s=120.0), utc=morning), 180.0, quiet)
    assert message == Message("Quince Lane: b over", "over: b.")


@pytest.mark.parametrize("heard", [AlarmState.SHELVED, AlarmState.SUPPRESSED, AlarmState.ACKNOWLEDGED])
def test_what_calls_nobody_is_not_sent(heard: AlarmState) -> None:
    """Nor is what was acknowledged before it could go out."""
    assert sent(Memory(), with_alarms(grave(state=heard)), 0.0)[1] is None


def test_only_the_priorities_of_the_settings_go_out() -> None:
    """By default the grave ones."""
    assert sent(Memory(), with_alarms(lesser("a")), 0.0, Notify())[1] is None
    assert sent(Memory(), with_alarms(grave()), 0.0, Notify())[1] is not None


def test_a_grave_one_that_nobody_heard_goes_out_again_each_hour() -> None:
    """Until it is acknowledged, or where the settings want no reminders."""
    memory, _ = sent(Memory(), with_alarms(grave()), 0.0)
    assert sent(memory, with_alarms(grave()), HOUR_S - 1.0)[1] is None
    again, message = sent(memory, with_alarms(grave()), HOUR_S)
    assert message is not None
    assert sent(again, with_alarms(grave()), HOUR_S + 1.0)[1] is None
    assert sent(memory, with_alarms(grave(state=AlarmState.ACKNOWLEDGED)), HOUR_S)[1] is None
    assert sent(memory, with_alarms(grave()), HOUR_S, ALL.model_copy(update={"reminders": False}))[1] is None


def test_the_summary_goes_out_once_where_it_is_wanted() -> None:
    """A new text is a new day."""
    wanted = ALL.model_copy(update={"daily_summary": True})
    day = with_alarms(summary="all is well")
    memory, message = sent(Memory(), day, 0.0, wanted)
    assert message == Message("Quince Lane: the last day", "all is well")
    assert sent(memory, day, 10.0, wanted)[1] is None
    assert sent(Memory(), day, 0.0)[1] is None


def test_in_the_quiet_hours_what_may_wait_waits() -> None:
    """And goes out at their end, if it still stands; a grave one does not wait."""
    quiet = Notify(priorities=("high", "low"), quiet_from_hour=21, quiet_to_hour=6)
    low = alarm("a", Priority.LOW)
    night, morning = MORNING.replace(hour=23), MORNING.replace(hour=6)
    memory, message = sent(Memory(), with_alarms(low, utc=night), 0.0, quiet)
    assert message is None
    assert sent(memory, with_alarms(low, utc=morning), 10.0, quiet)[1] is not None
    assert sent(memory, with_alarms(grave(), utc=night), 10.0, quiet)[1] is not None


@pytest.mark.parametrize(
    ("begins", "ends", "quiet"),
    [(21, 6, {21, 22, 23, 0, 1, 2, 3, 4, 5}), (1, 4, {1, 2, 3}), (7, 7, set()), (0, 0, set())],
)
def test_quiet_hours_may_lie_on_two_sides_of_midnight(begins: int, ends: int, quiet: set[int]) -> None:
    """Each hour of the day."""
    settings = Notify(quiet_from_hour=begins, quiet_to_hour=ends)
    assert {hour for hour in range(24) if is_quiet(hour, settings)} == quiet


def test_half_is_kept_for_grave_ones() -> None:
    """However many lesser ones chattered."""
    few = ALL.model_copy(update={"most_per_hour": 4})
    memory, gone = Memory(), 0
    for number in range(20):
        memory, message = sent(memory, with_alarms(lesser(f"a{number}")), float(number), few)
        gone += message is not None
    assert gone == 2
    assert sent(memory, with_alarms(grave()), 30.0, few)[1] is not None


def test_that_no_way_works_goes_out_by_none() -> None:
    """It would be the first thing to arrive once all is well again."""
    assert sent(Memory(), with_alarms(grave(kind=Kind.WAYS_OUT.value)), 0.0)[1] is None


@given(
    steps=st.lists(st.tuples(st.floats(0.0, 7200.0), st.integers(0, 30), st.booleans()), max_size=60),
    most=st.tuples(st.integers(1, 6), st.integers(1, 12)),
)
def test_never_more_than_the_settings_allow(steps: list[tuple[float, int, bool]], most: tuple[int, int]) -> None:
    """In any hour and any day, whatever is raised, by a reckoning of its own."""
    settings = ALL.model_copy(update={"most_per_hour": most[0], "most_per_day": most[1]})
    memory, now_s, gone_s = Memory(), 0.0, list[float]()
    for step_s, number, is_grave in steps:
        now_s += step_s
        raised = grave(f"a{number}") if is_grave else lesser(f"a{number}")
        memory, message = sent(memory, with_alarms(raised), now_s, settings)
        gone_s += [now_s] if message is not None else []
    for at_s in gone_s:
        assert sum(at_s <= other_s < at_s + 3600.0 for other_s in gone_s) <= most[0]
        assert sum(at_s <= other_s < at_s + 86400.0 for other_s in gone_s) <= most[1]
