"""What is to be done in the garden, when, and how: from the plan and the diary. Pure.

    soak, sow, look, thin, transplant, harvest   of each batch, in this order; what comes later stands for before
    walk                                         once a week while anything stands

Days are days of the grower's calendar. A task is late the day after `until`, and stays until it is done.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from daemon.crop.diary import Done, Line, Walked, standing
from daemon.crop.plan import LATEST_SOWING_DAYS, WEEK, Course, Plan, monday_of

WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


@dataclass(frozen=True, slots=True)
class Task:
    """One thing to do. until: the last good day. how: a sentence for each hand's turn, cautions with them."""

    id: str
    verb: str
    due: date
    until: date
    what: str
    how: tuple[str, ...]
    course: Course | None = None

    def is_late(self, today: date) -> bool:
        """Whether its last good day is over."""
        return self.until < today

    def is_due(self, today: date) -> bool:
        """Whether its day has come."""
        return self.due <= today


def tasks(plan: Plan, lines: Iterable[Line], walk_on: str, looks: Iterable[str] = ()) -> tuple[Task, ...]:
    """All that is still to do, soonest first. looks: what a walk looks for."""
    every = standing(lines)
    done = {line.event.task for line in every if isinstance(line.event, Done)}
    open_ones = [task for course in plan.courses for task in _of(course) if task.id not in done]
    if any(course.batch is not None for course in plan.courses):
        open_ones.append(_walk(plan.today, every, done, walk_on, tuple(looks)))
    return tuple(sorted(open_ones, key=lambda task: (task.due, task.until, task.id)))


def next_task(open_ones: Iterable[Task], today: date) -> str:
    """The most urgent in one line, "" where nothing is to do."""
    first = next(iter(open_ones), None)
    return "" if first is None else f"{when(first, today)}: {first.what}"


def when(task: Task, today: date) -> str:
    """`2026-12-07`, `today`, `late since 2026-12-07`."""
    if task.is_late(today):
        return f"late since {task.until + timedelta(days=1)}"
    return "today" if task.is_due(today) else task.due.isoformat()


def _of(course: Course) -> Iterator[Task]:
    """What is still to do with one batch."""
    batch = course.batch
    if batch is None:
        yield from (_task(course, verb) for verb in ("soak", "sow"))
    if batch is None or not (batch.emerged_on or batch.thinned_on or batch.planted):
        yield _task(course, "look")
    if course.thin_on is not None and (batch is None or not (batch.thinned_on or batch.planted)):
        yield _task(course, "thin")
    if batch is None or not batch.planted:
        yield _task(course, "transplant")
    yield _task(course, "harvest")


def _task(course: Course, verb: str) -> Task:
    due, until = _days(course)[verb]
    what, how = _SAID[verb](course)
    return Task(f"{verb}-{course.name}", verb, due, until, what, how, course)


def _days(course: Course) -> Mapping[str, tuple[date, date]]:
    """The day of each task, and its last good one."""
    slack, latest = timedelta(days=2), course.meant_on + timedelta(days=LATEST_SOWING_DAYS)
    plant_on = course.sow_on + timedelta(days=course.kind.transplant_on_day)
    thin_on = course.thin_on or plant_on
    return {
        "soak": (course.soak_on, latest),
        "sow": (course.meant_on, latest),
        "look": (course.look_on, course.look_on + slack),
        "thin": (thin_on, thin_on + slack),
        "transplant": (plant_on, plant_on + slack),
        "harvest": (course.ready_on, course.best_until),
    }


ENTRY_OF = {
    **{"soak": "done", "sow": "sown", "look": "emerged"},
    **{"thin": "thinned", "transplant": "transplanted", "harvest": "picked", "walk": "walked"},
}
"""The kind of diary entry that says a task is done."""


def entry_of(task: Task) -> tuple[str, dict[str, Any]]:
    """The entry that says it was done as planned: its kind, and its fields as far as the plan knows them."""
    kind, course = ENTRY_OF[task.verb], task.course
    if course is None or kind == "done":
        return kind, {"task": task.id}
    of = course.kind
    more: dict[str, dict[str, Any]] = {
        "sown": {
            **{"crop": of.crop, "variety": of.variety},
            **{"plugs": course.plugs, "seeds_per_plug": of.seeds_per_plug},
        },
        "transplanted": {"heads": course.heads, "reservoir": of.reservoir},
        "picked": {"heads": course.heads, "way": "leaves" if of.by_leaves else "head"},
    }
    return kind, {"batch": course.name, **more.get(kind, {})}


# how


def _soak(course: Course) -> tuple[str, tuple[str, ...]]:
    of = course.kind
    return f"soak {_count(course.plugs, 'plug')} for {course.name}", (
        "Dry mineral wool: wet it before you handle it, outdoors, with a dust mask and gloves. Its dust and "
        "fibres hurt lungs, eyes and skin.",
        f"Lay the plugs for {of.soak_h:g} h in water at pH 5.5. Do not squeeze them: they need their air.",
    )


def _sow(course: Course) -> tuple[str, tuple[str, ...]]:
    of, (low, high) = course.kind, course.kind.germination_c
    return f"sow {_count(course.plugs, 'plug')} of {of.title} ({course.name})", (
        f"{_count(of.seeds_per_plug, 'seed')} in each plug, pressed on and hardly covered. Label it: "
        f"{course.name}, and the day.",
        f"Keep it moist at {low:g} to {high:g} °C. Above {of.warmest_c:g} °C the seed sleeps.",
        "Treated seed: gloves, and no food or drink beside it. Wash your hands.",
    )


def _look(course: Course) -> tuple[str, tuple[str, ...]]:
    return f"look whether {course.name} is up", (
        "Count the plugs with a seedling, and give them light at once: long and pale ones want more of it.",
        "Too few? Sow the empty plugs again today.",
    )


def _thin(course: Course) -> tuple[str, tuple[str, ...]]:
    return f"thin {course.name}", (
        "The seed leaves are open: leave the strongest seedling in each plug, and cut the others off at the base "
        "with clean scissors. Pulling tears the roots of the one that stays.",
        "What you cut can be eaten, if the seed was untreated.",
    )


def _transplant(course: Course) -> tuple[str, tuple[str, ...]]:
    of = course.kind
    return f"transplant {_count(course.heads, 'plant')} of {course.name} to {of.reservoir}", (
        f"The {_count(course.heads, 'best seedling')} into clean net cups, {of.spacing_cm:g} cm apart, so that "
        "the roots reach the water. Hold them by the leaves, never by the stem.",
        "Wash hands and tools before. Switch off whatever stands in the water before you reach into it.",
    )


def _harvest(course: Course) -> tuple[str, tuple[str, ...]]:
    of = course.kind
    way = (
        "Pick the outer leaves and leave the heart: it goes on growing. Or cut the whole head."
        if of.by_leaves
        else "Cut the whole head above the lowest leaves, early in the day."
    )
    count = _count(course.heads, "plant" if of.by_leaves else "head")
    return (
        f"harvest {count} of {course.name}, best until {course.best_until}",
        (
            f"{way} Clean knife, washed hands. Nothing that a pump of acid or base dripped on.",
            f"Weigh it, rinse it in drinking water, cool it at once: it keeps about {of.keeps_cut_days:g} days.",
            "Take cup and roots out with the head, and scrub the cup before it is used again.",
        ),
    )


_SAID: Mapping[str, Callable[[Course], tuple[str, tuple[str, ...]]]] = {
    "soak": _soak,
    "sow": _sow,
    "look": _look,
    "thin": _thin,
    "transplant": _transplant,
    "harvest": _harvest,
}


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"


# walk


def _walk(today: date, lines: Iterable[Line], done: set[str], walk_on: str, looks: tuple[str, ...]) -> Task:
    """This week's walk, or next week's where somebody has walked already."""
    monday = monday_of(today)
    walked = {monday_of(line.day) for line in lines if isinstance(line.event, Walked)}
    if monday in walked or _walk_id(monday) in done:
        monday += WEEK
    due = monday + timedelta(days=WEEKDAYS.index(walk_on))
    near = "Look at every batch from near: leaves from below, the heart, roots and water."
    how = (
        f"{near} Look for {', '.join(looks)}." if looks else near,
        "Clean hands and tools between beds: what crawls travels with you. `evenwater crop walk` asks you on.",
    )
    return Task(_walk_id(monday), "walk", due, monday + timedelta(days=6), "walk past every plant", how)


def _walk_id(monday: date) -> str:
    return f"walk-{monday:%g}w{monday:%V}"
