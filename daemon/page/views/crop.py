"""Crop: what is to do in the garden and how, what stands, what is planned, and what was written down. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from config.crop import Look
from daemon.crop import plan_words
from daemon.crop.diary import Batch, Line, batches
from daemon.crop.diary_words import entry
from daemon.crop.garden import Day
from daemon.crop.plan import Course
from daemon.crop.tasks import Task, when
from daemon.page.markup import Markup, element, joined
from daemon.page.views.forms import choice, field, folded, offered
from daemon.page.visitor import Visitor

NEXT_SHOWN, WRITTEN_SHOWN = 6, 12
WAYS_ON = {
    "Mix nutrient solution: what to weigh": "/crop/mix",
    "How heads grow, when to cut, what threatens; the harvest book": "/crop/growth",
}
FOUND = ("none", "few", "many")
HEADS = ("batch", "sow", "transplant", "ready", "best until", "heads", "stands")
NOTHING_WANTED = (
    "The settings want nothing of the garden yet: a table [garden.want.NAME] says what, and how many heads a "
    "week (docs/crop.md)."
)


@dataclass(frozen=True, slots=True)
class Garden:
    """The day as it is planned, and what was written down. places: where one can walk past."""

    day: Day
    lines: tuple[Line, ...]
    places: tuple[str, ...]


def crop(of: Garden, visitor: Visitor) -> Markup:
    """All of it: what is due first."""
    today = of.day.plan.today
    due = [task for task in of.day.tasks if task.is_due(today)]
    later = [task for task in of.day.tasks if not task.is_due(today)]
    parts: list[str] = [element("h1", "Crop")]
    if not of.day.tasks:
        parts.append(element("p", NOTHING_WANTED))
    else:
        told = f"{len(due)} to do" if due else "✓ Nothing is due"
        parts.append(element("h2", f"{today:%A, %d %b}: {told}"))
    parts += [_task(task, of, visitor) for task in due]
    if later:
        listed = [element("li", f"{task.due:%a %d %b}: {task.what}") for task in later[:NEXT_SHOWN]]
        parts += [element("h2", "Next"), element("ul", *listed)]
    return joined(*parts, *_ways_on(), *_standing(of), *_planned(of), *_written(of.lines))


def _ways_on() -> Iterator[Markup]:
    for text, to in WAYS_ON.items():
        yield element("p", element("a", text, href=to, class_="step"))


def _task(task: Task, of: Garden, visitor: Visitor) -> Markup:
    """What to do and how, and the form that says it is done."""
    today = of.day.plan.today
    late = f"! {when(task, today)}" if task.is_late(today) else ""
    how = element("ul", *(element("li", one) for one in task.how))  # cautions with it: never folded away
    form = _walking(of, visitor) if task.verb == "walk" else _doing(task, visitor)
    heading = element("h3", f"{task.what[0].upper()}{task.what[1:]}")
    return element(
        "section", heading, element("p", late) if late else "", how, form, id=f"task-{task.id}", class_="task"
    )


def _doing(task: Task, visitor: Visitor) -> Markup:
    return offered(visitor, "/crop/did", *_asked(task), button=f"Done: {task.verb}", task=task.id)


def _asked(task: Task) -> Iterator[Markup]:
    """What the plan cannot know: how many it were in the end. Left as it is, it was as planned."""
    course = task.course
    if course is None:
        return
    count = {
        "sow": ("plugs", "Plugs sown", course.plugs),
        "look": ("plugs", "Plugs with a seedling", None),
        "transplant": ("heads", "Seedlings set out", course.heads),
        "harvest": ("heads", "Plants picked" if course.kind.by_leaves else "Heads cut", course.heads),
    }.get(task.verb)
    if count is not None:
        name, label, planned = count
        value = None if planned is None else str(planned)
        yield field(
            name, label, f"{name}-{task.id}", inputmode="numeric", maxlength=4, required=True, value=value
        )
    if task.verb == "harvest":
        yield field("grams", "Together in g, if weighed", f"grams-{task.id}", inputmode="decimal", maxlength=8)


def _walking(of: Garden, visitor: Visitor) -> Markup:
    """Each thing that is looked for, with where to look; nothing of it is the usual answer."""
    where = choice("where", "Where", _same(of.places), "walk-where")
    looks = [_look(number, look) for number, look in enumerate(of.day.looks)]
    form = offered(visitor, "/crop/walk", where, *looks, button="Write down what I found")
    return folded("I walk now", "walk-now", form)


def _look(number: int, look: Look) -> Markup:
    return joined(
        choice(f"found-{look.what}", look.what, _same(FOUND), f"walk-{number}"),
        element("p", look.look, class_="why"),
    )


def _same(options: Iterable[str]) -> dict[str, str]:
    """What is read is what is sent."""
    return {text: text for text in options}


def _standing(of: Garden) -> Iterator[Markup]:
    """How each batch stands that is not over, and what all of them gave so far."""
    every = batches(of.lines).values()
    there = [batch for batch in every if not batch.over]
    if there:
        yield element("h2", "What stands")
        yield element("ul", *(element("li", _stands(batch)) for batch in there))
    picked, grams = sum(batch.picked for batch in every), sum(batch.grams for batch in every)
    if picked or grams:
        weighed = f", {grams:g} g as far as it was weighed" if grams else ""
        yield element("p", f"Harvested so far: {_many(picked, 'head')}{weighed}.")


def _stands(batch: Batch) -> str:
    where = f" in {', '.join(name for name, _ in batch.reservoirs)}" if batch.reservoirs else ""
    counts = [
        _many(batch.seedlings, "seedling") if batch.seedlings else "",
        f"{_many(batch.heads, 'head')}{where}" if batch.heads else "",
        f"{batch.picked} picked" if batch.picked else "",
        f"{batch.grams:g} g so far" if batch.grams else "",
    ]
    told = ", ".join(filter(None, counts))
    return f"{batch.name}: {batch.variety} {batch.crop}, sown {batch.sown_on:%d %b}: {told}"


def _many(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"


def _planned(of: Garden) -> Iterator[Markup]:
    plan = of.day.plan
    wanted = [kind for kind in plan.kinds if kind.heads_per_week > 0]
    if not (wanted or plan.courses):
        return
    yield element("h2", "The plan")
    lines = [line.strip() for kind in wanted for line in plan_words.of_kind(kind, plan.steady[kind.name])]
    yield element("ul", *(element("li", line) for line in lines))
    if plan.courses:
        yield _table(plan.courses)
        yield element(
            "p", element("a", "All tasks for a calendar (.ics)", href="/crop/garden.ics", class_="step")
        )
    short = list(plan_words.gaps(plan))
    if short:
        yield element("h3", "Weeks with fewer heads than their share")
        yield element("ul", *(element("li", line) for line in short))


def _table(courses: Sequence[Course]) -> Markup:
    heads = [element("th", text, scope="col") for text in HEADS]
    rows = [
        element("tr", element("th", course.name, scope="row"), *(element("td", text) for text in _cells(course)))
        for course in courses
    ]
    table = element("table", element("thead", element("tr", *heads)), element("tbody", *rows))
    return element(
        "div", table, class_="wide", tabindex=0, role="region", aria_label="Batches, their days and heads"
    )


def _cells(course: Course) -> tuple[str, ...]:
    days = (course.sow_on, course.transplant_on, course.ready_on, course.best_until)
    stands = "to come" if course.batch is None else "in the water" if course.batch.planted else "sown"
    return (*map(_day, days), str(course.heads), stands)


def _day(day: date) -> str:
    return f"{day:%d %b}"


def _written(lines: Sequence[Line]) -> Iterator[Markup]:
    """The newest entries of the diary."""
    if lines:
        newest = [element("li", f"{line.day:%d %b}: {entry(line)}") for line in reversed(lines[-WRITTEN_SHOWN:])]
        yield element("h2", "Written down, newest first")
        yield element("ul", *newest)
