"""What is known of a batch from what was written down, and what cannot have happened."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from daemon.crop.diary import (
    KINDS,
    Batch,
    Done,
    Eaten,
    Emerged,
    Event,
    Line,
    Lost,
    Note,
    Picked,
    Sown,
    Thinned,
    Transplanted,
    Undone,
    Weighed,
    batches,
    objection,
    standing,
)

DAY = date(2026, 3, 1)
AT = datetime(2026, 3, 1, 6, tzinfo=UTC)
SOWN = Sown(batch="spring-1", crop="lettuce", variety="butterhead", plugs=6)


def diary(*events: Event | tuple[int, Event]) -> tuple[Line, ...]:
    """Entries in this order, each a day after the one before; a number beside one is its day."""
    lines = []
    for number, each in enumerate(events, start=1):
        days, event = each if isinstance(each, tuple) else (number - 1, each)
        lines.append(Line(number, AT + timedelta(days=number), DAY + timedelta(days=days), event))
    return tuple(lines)


def spring(*events: Event) -> Batch:
    """The batch of SOWN after these."""
    return batches(diary(SOWN, *events))["spring-1"]


def planted(heads: int) -> Transplanted:
    return Transplanted(batch="spring-1", heads=heads, reservoir="bed1")


def cut(heads: int, grams: float | None = None) -> Picked:
    return Picked(batch="spring-1", heads=heads, grams=grams)


def test_a_batch_begins_with_its_sowing() -> None:
    """Until anybody has looked, each plug counts as a seedling."""
    batch = spring()
    assert (batch.crop, batch.variety, batch.sown_on, batch.plugs) == ("lettuce", "butterhead", DAY, 6)
    assert (batch.seedlings, batch.heads, batch.over) == (6, 0, False)


def test_seedlings_become_heads() -> None:
    """What emerged is in the nursery until it is set out; the first days are kept."""
    batch = spring(Emerged(batch="spring-1", plugs=5), Thinned(batch="spring-1"), planted(3), planted(1))
    assert (batch.emerged, batch.planted, batch.seedlings, batch.heads) == (5, 4, 1, 4)
    assert (batch.emerged_on, batch.thinned_on, batch.transplanted_on) == tuple(
        DAY + timedelta(days=day) for day in (1, 2, 3)
    )
    assert batch.reservoirs == (("bed1", 4),)


def test_whole_heads_free_their_places_and_leaves_do_not() -> None:
    """Both count as harvest."""
    leaves = Picked(batch="spring-1", heads=4, grams=80.0, way="leaves")
    batch = spring(planted(6), leaves, cut(2, 300.0), cut(1))
    assert (batch.heads, batch.picked, batch.grams) == (3, 3, 380.0)
    assert [picked.way for _, picked in batch.pickings] == ["leaves", "head", "head"]


def test_losses_are_of_the_nursery_before_transplanting_and_of_the_bed_after() -> None:
    """By cause, added up."""
    gone = [Lost(batch="spring-1", heads=1, cause=cause) for cause in ("damped off", "slugs", "bolted", "slugs")]
    batch = spring(gone[0], planted(4), *gone[1:])
    assert batch.lost_seedlings == (("damped off", 1),)
    assert batch.lost_heads == (("bolted", 1), ("slugs", 2))
    assert (batch.seedlings, batch.heads) == (1, 1)


def test_a_batch_is_over_when_nothing_stands() -> None:
    """Picked or lost; a spare seedling that was never planted does not keep it open."""
    assert spring(planted(6), cut(5), Lost(batch="spring-1", heads=1, cause="bolted")).over
    assert not spring(planted(5), cut(4)).over
    assert spring(planted(5), cut(5)).over


def test_an_entry_that_was_undone_counts_no_more() -> None:
    """It and the undoing stay in the diary."""
    lines = diary(SOWN, planted(6), cut(2), Undone(entry=3))
    assert [line.number for line in standing(lines)] == [1, 2]
    assert batches(lines)["spring-1"].heads == 6


def test_what_was_written_late_counts_on_its_day() -> None:
    """An emergence noted after the transplanting is still the first."""
    batch = batches(diary((0, SOWN), (14, planted(5)), (4, Lost(batch="spring-1", heads=1, cause="mice"))))[
        "spring-1"
    ]
    assert batch.lost_seedlings == (("mice", 1),)


CANNOT: list[tuple[str, tuple[Event, ...], Event]] = [
    ("has been sown already", (SOWN,), SOWN),
    ("was never sown; begin", (), Thinned(batch="spring-1")),
    ("those standing are: spring-1", (SOWN,), Thinned(batch="spring-2")),
    ("has 6 plugs sown", (SOWN,), Emerged(batch="spring-1", plugs=7)),
    ("has 6 seedlings in the nursery", (SOWN,), planted(7)),
    ("has 2 seedlings in the nursery", (SOWN, planted(4)), planted(3)),
    ("has 6 seedlings in the nursery", (SOWN,), Lost(batch="spring-1", heads=7, cause="mice")),
    ("has 4 heads standing", (SOWN, planted(4)), cut(5)),
    ("has 4 heads standing", (SOWN, planted(4)), Lost(batch="spring-1", heads=5, cause="mice")),
    ("has 0 heads standing", (SOWN,), Weighed(batch="spring-1", heads=1, grams_fresh=5.0)),
    ("there is no such entry", (SOWN,), Undone(entry=2)),
    ("undoes another entry", (SOWN, Undone(entry=1)), Undone(entry=2)),
    ("has been undone already", (SOWN, Undone(entry=1)), Undone(entry=1)),
]


@pytest.mark.parametrize(("why", "before", "event"), CANNOT, ids=[row[0] for row in CANNOT])
def test_what_cannot_have_happened_is_told(why: str, before: tuple[Event, ...], event: Event) -> None:
    """With the numbers and what to do."""
    assert why in (objection(diary(*before), event, DAY + timedelta(days=30)) or "")


CAN: list[tuple[Event, ...]] = [
    (SOWN,),
    (SOWN, Emerged(batch="spring-1", plugs=6)),
    (SOWN, planted(4), planted(2)),
    (SOWN, planted(4), cut(4)),
    (SOWN, Undone(entry=1)),
    (SOWN, Undone(entry=1), SOWN),
    (Note(text="the lamp is new"),),
    (Done(task="scout-2026-10"),),
    (Eaten(heads=3),),
]


@pytest.mark.parametrize("events", CAN, ids=str)
def test_what_can_have_happened_is_taken(events: tuple[Event, ...]) -> None:
    """Up to the last plant."""
    assert objection(diary(*events[:-1]), events[-1], DAY + timedelta(days=30)) is None


def test_nothing_happens_to_a_batch_before_its_sowing() -> None:
    """The day is named."""
    assert "was sown later, on 2026-03-01" in (objection(diary(SOWN), planted(1), DAY - timedelta(days=1)) or "")
    assert objection(diary(SOWN), planted(1), DAY) is None


def test_no_kind_of_entry_uses_the_words_of_the_line_itself() -> None:
    """Number, at, day and kind stand beside the entry's own fields."""
    for model in KINDS.values():
        assert not {"number", "at", "day", "kind"} & model.model_fields.keys()


@pytest.mark.parametrize(
    "wrong", [{"plugs": 0}, {"plugs": 2.5}, {"batch": "Spring 1"}, {"colour": "red"}], ids=str
)
def test_an_entry_out_of_bounds_is_refused(wrong: dict[str, object]) -> None:
    """Nothing unknown, nothing rounded."""
    with pytest.raises(ValidationError):
        Sown.model_validate(SOWN.model_dump() | wrong)


@given(st.lists(st.tuples(st.sampled_from("telcw"), st.integers(1, 8)), max_size=25))
def test_no_plant_is_counted_twice(drawn: list[tuple[str, int]]) -> None:
    """Of what is let in, in any order, seedlings, heads, picked and lost are never more than the plugs."""
    lines = diary(SOWN)
    for letter, count in drawn:
        events: dict[str, Event] = {
            "t": planted(count),
            "e": Emerged(batch="spring-1", plugs=min(count, 6)),
            "l": Lost(batch="spring-1", heads=count, cause="mice"),
            "c": cut(count),
            "w": Weighed(batch="spring-1", heads=count, grams_fresh=9.0),
        }
        event = events[letter]
        if objection(lines, event, DAY) is None:
            lines = (*lines, Line(len(lines) + 1, AT, DAY, event))
    batch = batches(lines)["spring-1"]
    lost = sum(count for _, count in (*batch.lost_seedlings, *batch.lost_heads))
    assert batch.seedlings + batch.heads + batch.picked + lost <= 6
