"""An alarm's life, in the words of ISA-18.2: causes in, alarms out. Pure.

normal -> unacknowledged -> acknowledged -> normal; `returned_unacknowledged` when the cause goes
first. Returned alarms leave the list once their off-delay has passed; what happened stays in the log.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime

from daemon.alarm.table import TABLE, Kind
from daemon.values import Alarm, AlarmState, Priority

UNHEARD_S = 86400.0  # a day: somebody has to be able to reach the rig within one
_GRAVEST_FIRST = {Priority.HIGH: 0, Priority.MEDIUM: 1, Priority.LOW: 2}


@dataclass(frozen=True, slots=True)
class Cause:
    """Something that is true now and may call for a person. `about` tells two of a kind apart."""

    kind: Kind
    reservoir: str
    about: str
    text: str

    @property
    def key(self) -> str:
        """Unique among all causes, made of a-z, 0-9 and hyphens, as an MQTT topic level needs."""
        parts = (self.reservoir, self.about.replace("_", "-"), self.kind.value)
        return "-".join(part for part in parts if part)


@dataclass(frozen=True, slots=True)
class Life:
    """One cause being followed: since when it is there or gone, and the alarm once it is raised."""

    cause: Cause
    there_since_s: float
    gone_since_s: float | None = None
    alarm: Alarm | None = None


Lives = Mapping[str, Life]


def advance(lives: Lives, causes: Iterable[Cause], now_s: float, utc: datetime) -> Lives:
    """Every life one pass on. Alarms are raised after their on-delay and dropped after their off-delay."""
    here = {cause.key: cause for cause in causes}
    if not here and not lives:
        return lives
    following = {key: _present(lives.get(key), cause, now_s, utc) for key, cause in here.items()}
    for key, life in lives.items():
        if key not in here and (kept := _absent(life, now_s)) is not None:
            following[key] = kept
    return following


def _present(life: Life | None, cause: Cause, now_s: float, utc: datetime) -> Life:
    if life is None:
        life = Life(cause, there_since_s=now_s)
    if life.gone_since_s is not None:  # it came back before it was dropped
        life = replace(life, gone_since_s=None, there_since_s=now_s)
    row = TABLE[cause.kind]
    if life.alarm is None:
        if now_s - life.there_since_s < row.on_delay_s:
            return replace(life, cause=cause)
        return replace(life, cause=cause, alarm=_raised(cause, now_s, utc))
    alarm = life.alarm
    if alarm.state is AlarmState.RETURNED:
        alarm = replace(alarm, state=AlarmState.UNACKNOWLEDGED)
    return life if alarm is life.alarm else replace(life, alarm=alarm)


def _raised(cause: Cause, now_s: float, utc: datetime) -> Alarm:
    row = TABLE[cause.kind]
    text = f"{cause.text} {row.done} {row.act}"
    return Alarm(
        key=cause.key,
        kind=cause.kind.value,
        reservoir=cause.reservoir,
        priority=row.priority,
        state=AlarmState.UNACKNOWLEDGED,
        text=text,
        raised_utc=utc,
        raised_s=now_s,
    )


def _absent(life: Life, now_s: float) -> Life | None:
    if life.alarm is None:
        return None
    if life.gone_since_s is None:
        life = replace(life, gone_since_s=now_s)
    gone_s = now_s - (now_s if life.gone_since_s is None else life.gone_since_s)
    if gone_s >= TABLE[life.cause.kind].off_delay_s:
        return None
    if life.alarm is not None and life.alarm.state is AlarmState.UNACKNOWLEDGED:
        return replace(life, alarm=replace(life.alarm, state=AlarmState.RETURNED))
    return life


def acknowledge(lives: Lives, keys: Iterable[str]) -> Lives:
    """The alarms named are seen by a person. Acknowledging silences; it never clears and never doses."""
    following = dict(lives)
    for key in keys:
        life = following.get(key)
        if life is not None and life.alarm is not None and life.alarm.state is AlarmState.UNACKNOWLEDGED:
            following[key] = replace(life, alarm=replace(life.alarm, state=AlarmState.ACKNOWLEDGED))
    return following


def unheard(lives: Lives, now_s: float) -> tuple[Alarm, ...]:
    """Alarms of high priority that have stood for UNHEARD_S and that nobody has acknowledged."""
    return tuple(
        alarm
        for alarm in active(lives)
        if alarm.priority is Priority.HIGH
        and alarm.state is AlarmState.UNACKNOWLEDGED
        and not now_s - alarm.raised_s < UNHEARD_S
    )


def active(lives: Lives) -> tuple[Alarm, ...]:
    """Alarms to show, gravest first, then oldest first."""
    alarms = [life.alarm for life in lives.values() if life.alarm is not None]
    return tuple(sorted(alarms, key=lambda alarm: (_GRAVEST_FIRST[alarm.priority], alarm.raised_s, alarm.key)))
