"""What changed between two snapshots, as plain lines: for a terminal-less demo and the service's log."""

from __future__ import annotations

from collections.abc import Iterator

from daemon import words
from daemon.values import Entry, Quality, Quantity, ReservoirState, State

SHOWN = (Quantity.PH, Quantity.EC, Quantity.TEMPERATURE)


def between(before: State | None, after: State) -> Iterator[str]:
    """One line per change of state: condition, verdicts, doses, alarms. Nothing where nothing changed."""
    for name, reservoir in after.reservoirs.items():
        earlier = before.reservoirs.get(name) if before else None
        yield from _reservoir(earlier, reservoir)
    yield from _alarms(before, after)


def values(state: State) -> Iterator[str]:
    """One line per reservoir with what is measured now."""
    for reservoir in state.reservoirs.values():
        shown = [reservoir.verdicts[q] for q in SHOWN if q in reservoir.verdicts]
        text = ", ".join(words.verdict(verdict) for verdict in shown)
        yield f"{reservoir.title}: {text} · {reservoir.condition.value}"


def _reservoir(before: ReservoirState | None, after: ReservoirState) -> Iterator[str]:
    where = after.title
    if before is None or (before.condition, before.condition_reason) != (after.condition, after.condition_reason):
        yield f"{where}: {words.condition(after.condition, after.condition_reason)}"
    for quantity, verdict in after.verdicts.items():
        old = before.verdicts.get(quantity) if before else None
        if old is not None and (old.quality is Quality.BAD) is not (verdict.quality is Quality.BAD):
            yield f"{where}: {words.verdict(verdict)}"
    if before is not None:  # the first snapshot's doses are of an earlier run
        yield from _dosed(where, before.last_doses, after.last_doses)


def _dosed(where: str, before: tuple[Entry, ...], after: tuple[Entry, ...]) -> Iterator[str]:
    known = {entry.number for entry in before}
    for entry in reversed(after):
        if entry.number not in known:
            yield f"{where}: dosed {words.entry(entry)}"


def _alarms(before: State | None, after: State) -> Iterator[str]:
    old = {alarm.key: alarm for alarm in before.alarms} if before else {}
    new = {alarm.key: alarm for alarm in after.alarms}
    for key, alarm in new.items():
        if key not in old:
            yield f"alarm {key} ({alarm.priority.value}): {alarm.text}"
    for key in old:
        if key not in new:
            yield f"alarm {key} is over"
