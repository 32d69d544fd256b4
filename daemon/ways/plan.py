"""What is to be sent, and when: from states to messages, within what the settings allow. Pure.

Alarms that come together are one message. No more go out than `most_per_hour` and `most_per_day`, and half of
both is kept for grave ones; what does not fit waits, and goes with the next if it still stands. That one is over
is told of those that went out, and counts as a low one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from config.notify import Notify
from daemon.alarm.kinds import Kind
from daemon.alarm.life import is_silent
from daemon.values import Alarm, Priority, State

HOUR_S, DAY_S = 3600.0, 86400.0
LONGEST_TEXT = 3000  # characters: what a phone shows and services take
OURS = (Kind.WAYS_OUT.value,)  # that no way works goes out by none


@dataclass(frozen=True, slots=True)
class Message:
    """One message as people read it."""

    title: str
    text: str


@dataclass(frozen=True, slots=True)
class Told:
    """One alarm that was sent: when it had been raised, and when it was last sent, both in proven s."""

    raised_s: float
    at_s: float


@dataclass(frozen=True, slots=True)
class Memory:
    """What was sent. told: by the alarm's key. sent_s: when messages went out in the last day, proven s.

    over: keys of alarms that were sent and have ended, which nobody was told yet. summary: the last one that was
    seen.
    """

    told: Mapping[str, Told] = field(default_factory=dict)
    over: tuple[str, ...] = ()
    sent_s: tuple[float, ...] = ()
    summary: str = ""


def due(memory: Memory, state: State, now_s: float, site: str, settings: Notify) -> tuple[Memory, Message | None]:
    """What is to be sent now, None for nothing, and what is to be remembered.

    now_s: proven. site: the garden's name, for the title.
    """
    memory = _forgetting(memory, state, now_s)
    alarms = [alarm for alarm in state.alarms if _is_due(alarm, memory, now_s, state.utc.hour, settings)]
    summary = state.summary if settings.daily_summary and state.summary not in ("", memory.summary) else ""
    over = memory.over if settings.ends and not _waits("low", state.utc.hour, settings) else ()
    grave = any(alarm.priority is Priority.HIGH for alarm in alarms)
    if not (alarms or over or summary) or not _has_room(memory, now_s, settings, grave=grave):
        return memory, None
    told = {alarm.key: Told(alarm.raised_s, now_s) for alarm in alarms}
    after = Memory(
        told={**memory.told, **told},
        over=() if over else memory.over,
        sent_s=(*memory.sent_s, now_s),
        summary=summary or memory.summary,
    )
    return after, _message(site, alarms, over, summary)


def _forgetting(memory: Memory, state: State, now_s: float) -> Memory:
    """With alarms that have ended as those that are over.

    Without messages of more than a day ago (or, of another clock, yet to come).
    """
    standing = {(alarm.key, alarm.raised_s) for alarm in state.alarms}
    told = {key: one for key, one in memory.told.items() if (key, one.raised_s) in standing}
    there = {key for key, _ in standing}
    over = tuple(key for key in dict.fromkeys((*memory.over, *memory.told)) if key not in there)
    sent_s = tuple(at_s for at_s in memory.sent_s if 0.0 <= now_s - at_s < DAY_S)
    if (told, over, sent_s) == (memory.told, memory.over, memory.sent_s):
        return memory
    return replace(memory, told=told, over=over, sent_s=sent_s)


def _is_due(alarm: Alarm, memory: Memory, now_s: float, hour: int, settings: Notify) -> bool:
    if alarm.priority.value not in settings.priorities or is_silent(alarm) or alarm.kind in OURS:
        return False
    if _waits(alarm.priority.value, hour, settings):
        return False
    if (told := memory.told.get(alarm.key)) is None:
        return alarm.unheard
    grave = alarm.priority is Priority.HIGH and alarm.unheard
    return settings.reminders and grave and not now_s - told.at_s < HOUR_S


def _waits(priority: str, hour: int, settings: Notify) -> bool:
    return priority in settings.quiet_priorities and is_quiet(hour, settings)


def is_quiet(hour: int, settings: Notify) -> bool:
    """Whether that hour, in UTC, is one of the quiet ones; from and to may lie on two sides of midnight."""
    begins, ends = settings.quiet_from_hour, settings.quiet_to_hour
    if begins <= ends:
        return begins <= hour < ends
    return hour >= begins or hour < ends


def _has_room(memory: Memory, now_s: float, settings: Notify, *, grave: bool) -> bool:
    of_the_hour = sum(now_s - at_s < HOUR_S for at_s in memory.sent_s)
    most_per_hour, most_per_day = settings.most_per_hour, settings.most_per_day
    if not grave:
        most_per_hour, most_per_day = (most_per_hour + 1) // 2, (most_per_day + 1) // 2
    return of_the_hour < most_per_hour and len(memory.sent_s) < most_per_day


def _message(site: str, alarms: Sequence[Alarm], over: Sequence[str], summary: str) -> Message:
    """Gravest first, as they stand in the state; then what is over, then the summary."""
    lines = [f"{alarm.priority.value}: {alarm.text} You have: {alarm.within}." for alarm in alarms]
    lines += [f"over: {key}." for key in over]
    text = "\n\n".join([*lines, summary] if summary else lines)
    return Message(f"{site}: {_heading([alarm.key for alarm in alarms], over)}", text[:LONGEST_TEXT])


def _heading(raised: Sequence[str], over: Sequence[str]) -> str:
    if not (raised or over):
        return "the last day"
    first, *more = raised or over
    return f"{first}{f' and {len(more)} more' if more else ''}{'' if raised else ' over'}"
