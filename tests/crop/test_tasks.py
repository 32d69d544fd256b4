"""What is to be done, when, and how."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from daemon.crop.diary import Done, Emerged, Event, Picked, Sown, Thinned, Transplanted, Walked, batches
from daemon.crop.diary_file import event_of
from daemon.crop.plan import Plan, plan
from daemon.crop.tasks import Task, entry_of, next_task, tasks, when
from tests.crop.test_diary import DAY, diary
from tests.crop.test_plan import BUTTERHEAD, WINDOWSILL

SOWN = Sown(batch="salad-27w17", crop="lettuce", variety="butterhead", plugs=5)
MONDAY = date(2027, 3, 1)  # the day it is sown on


def plan_on(today: date, *events: Event) -> tuple[Plan, tuple[Task, ...]]:
    """The plan and the tasks after these, the first on MONDAY, the rest a day after each other."""
    lines = diary(*(((MONDAY - DAY).days + number, event) for number, event in enumerate(events)))
    now = plan([BUTTERHEAD], WINDOWSILL, batches(lines), today)
    return now, tasks(now, lines, "friday", ["aphids", "brown roots"])


def open_on(today: date, *events: Event, batch: str = "salad-27w17") -> list[str]:
    """The verbs of what is still to do for one batch."""
    return [task.verb for task in plan_on(today, *events)[1] if task.id.endswith(batch)]


def test_each_batch_has_its_tasks_in_order() -> None:
    """From soaking to harvest."""
    assert open_on(MONDAY) == ["soak", "sow", "look", "thin", "transplant", "harvest"]


@pytest.mark.parametrize(
    ("events", "left"),
    [
        ((Done(task="soak-salad-27w17"),), ["sow", "look", "thin", "transplant", "harvest"]),
        ((SOWN,), ["look", "thin", "transplant", "harvest"]),
        ((SOWN, Emerged(batch=SOWN.batch, plugs=5)), ["thin", "transplant", "harvest"]),
        ((SOWN, Thinned(batch=SOWN.batch)), ["transplant", "harvest"]),
        ((SOWN, Transplanted(batch=SOWN.batch, heads=4, reservoir="bed1")), ["harvest"]),
        (
            (
                SOWN,
                Transplanted(batch=SOWN.batch, heads=4, reservoir="bed1"),
                Picked(batch=SOWN.batch, heads=4),
            ),
            [],
        ),
    ],
    ids=["soaked", "sown", "up", "thinned", "planted", "picked"],
)
def test_what_was_done_is_gone_and_what_comes_before_it_too(events: tuple[Event, ...], left: list[str]) -> None:
    """By what the diary says."""
    assert open_on(MONDAY + timedelta(days=2), *events) == left


def test_a_task_is_due_then_late() -> None:
    """Some days are allowed."""
    sow = next(task for task in plan_on(MONDAY)[1] if task.verb == "sow")
    days = {ago: MONDAY + timedelta(days=ago) for ago in (-1, 0, 3, 4)}
    assert [sow.is_due(days[ago]) for ago in (-1, 0)] == [False, True]
    assert [sow.is_late(days[ago]) for ago in (3, 4)] == [False, True]
    assert when(sow, days[-1]) == "2027-03-01"
    assert when(sow, days[3]) == "today"
    assert when(sow, days[4]) == "late since 2027-03-05"


def test_what_was_not_done_in_time_is_late() -> None:
    """A sowing for as long as it is still good for its week; a planting until it is done."""
    sow = next(task for task in plan_on(MONDAY + timedelta(days=3))[1] if task.verb == "sow")
    assert (sow.id, sow.due, sow.until) == ("sow-salad-27w17", MONDAY, MONDAY + timedelta(days=3))
    much_later = MONDAY + timedelta(days=30)
    planting = next(task for task in plan_on(much_later, SOWN)[1] if task.verb == "transplant")
    assert (planting.due, planting.is_late(much_later)) == (MONDAY + timedelta(days=14), True)


def test_the_next_task_is_one_line() -> None:
    """The first that is open; nothing where there is none."""
    _, open_ones = plan_on(MONDAY)
    assert next_task(open_ones, MONDAY) == "today: soak 4 plugs for salad-27w17"
    assert next_task((), MONDAY) == ""


def test_there_is_a_walk_a_week_while_anything_stands() -> None:
    """On its day; once walked, the next week's."""
    assert not any(task.verb == "walk" for task in plan_on(MONDAY)[1])
    first = next(task for task in plan_on(MONDAY, SOWN)[1] if task.verb == "walk")
    assert (first.id, first.due, first.until) == ("walk-27w09", date(2027, 3, 5), date(2027, 3, 7))
    assert "aphids, brown roots" in first.how[0]
    after = next(task for task in plan_on(MONDAY, SOWN, Walked(where="bed1"))[1] if task.verb == "walk")
    assert (after.id, after.due) == ("walk-27w10", date(2027, 3, 12))
    skipped = next(task for task in plan_on(MONDAY, SOWN, Done(task="walk-27w09"))[1] if task.verb == "walk")
    assert skipped.id == "walk-27w10"


CAUTIONS = {
    "soak": ("mineral wool: wet it before", "outdoors", "dust mask"),
    "sow": ("2 seeds in each plug", "Wash your hands", "25 °C"),
    "thin": ("leave the strongest", "seed leaves are open", "clean scissors"),
    "transplant": ("net cup", "Wash hands and tools", "Switch off whatever stands in the water"),
    "harvest": ("Cut the whole head", "drinking water", "Clean knife"),
}


@pytest.mark.parametrize("verb", CAUTIONS)
def test_each_task_says_how_with_its_cautions(verb: str) -> None:
    """In the trade's words."""
    task = next(task for task in plan_on(MONDAY)[1] if task.verb == verb)
    assert all(word in " ".join(task.how) for word in CAUTIONS[verb])


def test_leaves_are_picked_from_the_outside() -> None:
    """And the plant goes on growing."""
    kind = replace(BUTTERHEAD, by_leaves=True, thin_on_day=None)
    open_ones = tasks(plan([kind], WINDOWSILL, {}, MONDAY), (), "friday")
    harvest = next(task for task in open_ones if task.verb == "harvest")
    assert "outer leaves" in harvest.how[0]
    assert entry_of(harvest)[1]["way"] == "leaves"
    assert not any(task.verb == "thin" for task in open_ones)


def test_a_task_done_as_planned_is_an_entry_of_the_diary() -> None:
    """Each verb's, complete but for what only a look can tell."""
    _, open_ones = plan_on(MONDAY)
    first = {task.verb: task for task in reversed(open_ones) if task.id.endswith("salad-27w17")}
    for verb in ("soak", "sow", "thin", "transplant", "harvest"):
        assert event_of(*entry_of(first[verb]))
    kind, fields = entry_of(first["look"])
    assert event_of(kind, fields | {"plugs": 4}) == Emerged(batch="salad-27w17", plugs=4)
    assert event_of(*entry_of(first["sow"])) == Sown(
        batch="salad-27w17", crop="lettuce", variety="butterhead", plugs=4, seeds_per_plug=2
    )
