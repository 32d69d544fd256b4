"""An alarm's life, in the words of ISA-18.2: causes in, alarms out. Pure.

    normal -> unacknowledged -> acknowledged (latched, where only a person at the tank ends it) -> normal
                    |
                    `-> returned_unacknowledged: the cause went first; a grave one waits to be acknowledged
    shelved: of low priority, silent until a set time.   suppressed_by_design: what explains it stands beside it

Times are proven ones, which go on over restarts. What happened stays in the history.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from functools import lru_cache

from daemon.alarm.kinds import Kind
from daemon.alarm.table import TABLE
from daemon.values import Alarm, AlarmState, Priority

UNHEARD_S = 86400.0  # a day: somebody has to be able to reach the rig within one
MOST_SHELVED_S = 86400.0
_GRAVEST_FIRST = {Priority.HIGH: 0, Priority.MEDIUM: 1, Priority.LOW: 2}


@dataclass(frozen=True, slots=True)
class Cause:
    """Something that is true now and may call for a person. `about` tells two of a kind apart.

    own: nothing that stands beside it explains it.
    """

    kind: Kind
    reservoir: str
    about: str
    text: str
    own: bool = False

    @property
    def key(self) -> str:
        """Unique among all causes, made of a-z, 0-9 and hyphens, as an MQTT topic level needs."""
        return _key(self.reservoir, self.about, self.kind)


@lru_cache(maxsize=1024)
def _key(reservoir: str, about: str, kind: Kind) -> str:
    parts = (reservoir, about.replace("_", "-"), kind.value)
    return "-".join(part for part in parts if part)


@dataclass(frozen=True, slots=True)
class Life:
    """One cause being followed: since when it is there or gone, and the alarm once it is raised.

    shelved_until_s: until when it is silent, None where it is not. because_of: the key of what explains it, "".
    recalled: its cause has not been there since the start.
    """

    cause: Cause
    there_since_s: float
    gone_since_s: float | None = None
    alarm: Alarm | None = None
    shelved_until_s: float | None = None
    because_of: str = ""
    recalled: bool = False


Lives = Mapping[str, Life]


def advance(lives: Lives, causes: Iterable[Cause], now_s: float, utc: datetime, *, settled: bool = True) -> Lives:
    """Every life one pass on. Alarms are raised after their on-delay and dropped after their off-delay.

    settled: whether the cause of an alarm that was recalled is truly gone where it is not there; just after a
    start much is not known yet.
    """
    here = {cause.key: cause for cause in causes}
    if not here and not lives:
        return lives
    following = {key: _present(lives.get(key), cause, now_s, utc) for key, cause in here.items()}
    for key, life in lives.items():
        if key not in here and (kept := _absent(life, now_s, settled=settled)) is not None:
            following[key] = kept
    return {key: _explained(_unshelved(life, now_s), following) for key, life in following.items()}


def _present(life: Life | None, cause: Cause, now_s: float, utc: datetime) -> Life:
    if life is None:
        life = Life(cause, there_since_s=now_s)
    if life.recalled:  # what it said before the start may not be what is true now
        alarm = None if life.alarm is None else replace(life.alarm, text=_text_of(cause))
        life = replace(life, cause=cause, alarm=alarm, recalled=False)
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
    return Alarm(
        key=cause.key,
        kind=cause.kind.value,
        reservoir=cause.reservoir,
        priority=row.priority,
        state=AlarmState.UNACKNOWLEDGED,
        text=_text_of(cause),
        raised_utc=utc,
        raised_s=now_s,
        within=row.within,
    )


def _text_of(cause: Cause) -> str:
    row = TABLE[cause.kind]
    return f"{cause.text} {row.done} {row.act}"


def _absent(life: Life, now_s: float, *, settled: bool) -> Life | None:
    if life.alarm is None:
        return None
    if life.recalled and not (settled or TABLE[life.cause.kind].known_at_once):
        return life
    if life.gone_since_s is None:
        life = replace(life, gone_since_s=now_s)
    gone_s = now_s - (now_s if life.gone_since_s is None else life.gone_since_s)
    if gone_s >= TABLE[life.cause.kind].off_delay_s and not _waits_to_be_seen(life):
        return None
    if life.alarm is not None and life.alarm.state is AlarmState.UNACKNOWLEDGED:
        return replace(life, alarm=replace(life.alarm, state=AlarmState.RETURNED))
    return life


def _waits_to_be_seen(life: Life) -> bool:
    """Whether a grave alarm that went by itself was seen by nobody yet; what latches was ended by a person."""
    if life.alarm is None or TABLE[life.cause.kind].latches:
        return False
    return life.alarm.unheard and life.alarm.priority is Priority.HIGH


def _unshelved(life: Life, now_s: float) -> Life:
    """The life, off the shelf once its time is over."""
    if life.shelved_until_s is None or now_s < life.shelved_until_s <= now_s + MOST_SHELVED_S:
        return life
    return replace(life, shelved_until_s=None)


def _explained(life: Life, lives: Lives) -> Life:
    """The life, with what explains it: an alarm of its reservoir, or of the box, that it follows from."""
    follows = frozenset[Kind]() if life.cause.own else TABLE[life.cause.kind].follows
    found = (key for key, other in lives.items() if _explains(other, life, follows)) if follows else ()
    explains = next(iter(found), "")
    return life if life.because_of == explains else replace(life, because_of=explains)


def _explains(other: Life, life: Life, follows: frozenset[Kind]) -> bool:
    if other.cause.kind not in follows or other.alarm is None or other.shelved_until_s is not None:
        return False
    return other.cause.reservoir in ("", life.cause.reservoir)


# what people do


def acknowledge(lives: Lives, keys: Iterable[str]) -> Lives:
    """The alarms named are seen by a person. Acknowledging silences; it never clears and never doses."""
    following = dict(lives)
    for key in keys:
        life = following.get(key)
        if life is None or life.alarm is None:
            continue
        if life.alarm.state is AlarmState.UNACKNOWLEDGED:
            seen = AlarmState.LATCHED if TABLE[life.cause.kind].latches else AlarmState.ACKNOWLEDGED
            following[key] = replace(life, alarm=replace(life.alarm, state=seen))
        elif life.alarm.state is AlarmState.RETURNED:
            del following[key]
    return following


def may_be_shelved(lives: Lives, key: str) -> bool:
    """Whether there is such an alarm, of low priority."""
    life = lives.get(key)
    return life is not None and life.alarm is not None and life.alarm.priority is Priority.LOW


def shelve(lives: Lives, key: str, until_s: float, until_utc: datetime) -> Lives:
    """The alarm is silent until then. Raises ValueError unless `may_be_shelved`."""
    if not may_be_shelved(lives, key):
        raise ValueError(f"{key}: no alarm of low priority")
    life = lives[key]
    alarm = None if life.alarm is None else replace(life.alarm, until_utc=until_utc)
    return {**lives, key: replace(life, alarm=alarm, shelved_until_s=until_s)}


def unshelve(lives: Lives, keys: Iterable[str]) -> Lives:
    """The alarms named are told again."""
    off = {key: replace(lives[key], shelved_until_s=None) for key in keys if key in lives}
    return {**lives, **off}


# what they see


def standing(lives: Lives) -> frozenset[str]:
    """The keys of alarms whose cause was there at the last pass."""
    return frozenset(key for key, life in lives.items() if life.alarm is not None and life.gone_since_s is None)


def unheard(lives: Lives, now_s: float) -> tuple[Alarm, ...]:
    """Alarms of high priority that have stood for UNHEARD_S and that nobody has acknowledged."""
    alarms = (life.alarm for life in lives.values() if life.alarm is not None)
    if not any(alarm.priority is Priority.HIGH for alarm in alarms):  # as at nearly every pass
        return ()
    return tuple(
        alarm
        for alarm in active(lives)
        if alarm.priority is Priority.HIGH
        and alarm.state is AlarmState.UNACKNOWLEDGED
        and not now_s - alarm.raised_s < UNHEARD_S
    )


def active(lives: Lives) -> tuple[Alarm, ...]:
    """Alarms to show, gravest first, then oldest first; each that follows from another right after it."""
    shown = {key: _shown(life, life.alarm) for key, life in lives.items() if life.alarm is not None}
    heads = sorted((alarm for alarm in shown.values() if not alarm.because_of), key=_order)
    followers = sorted((alarm for alarm in shown.values() if alarm.because_of), key=_order)
    return tuple(
        one
        for head in heads
        for one in (head, *(alarm for alarm in followers if _first_of(alarm, shown) == head.key))
    )


def _first_of(alarm: Alarm, shown: Mapping[str, Alarm]) -> str:
    """The key of what it all began with."""
    while alarm.because_of:  # the table's kinds follow from each other in no circle
        alarm = shown[alarm.because_of]
    return alarm.key


def _order(alarm: Alarm) -> tuple[int, float, str]:
    return _GRAVEST_FIRST[alarm.priority], alarm.raised_s, alarm.key


def _shown(life: Life, alarm: Alarm) -> Alarm:
    """The alarm with the state that people see."""
    if life.shelved_until_s is not None:
        return replace(alarm, state=AlarmState.SHELVED)
    if life.because_of:
        return replace(alarm, state=AlarmState.SUPPRESSED, because_of=life.because_of)
    return alarm if alarm.until_utc is None else replace(alarm, until_utc=None)


def is_silent(alarm: Alarm) -> bool:
    """Whether nobody is to be called by it."""
    return alarm.state in (AlarmState.SHELVED, AlarmState.SUPPRESSED)
