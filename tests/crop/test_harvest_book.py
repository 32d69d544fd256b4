"""Tests of daemon/crop/harvest_book.py: what became of each batch."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.crop.diary import Composted, Eaten, Event, Lost, Picked, Shared, Undone
from daemon.crop.harvest_book import Became, book, heads_standing, season
from tests.crop.diaries import day, diary, picked, sown, transplanted

GROWN = (
    (0, sown("spring-1", 12)),
    (10, Lost(batch="spring-1", heads=2, cause="damping off")),
    (20, transplanted("spring-1", 10)),
    (40, Lost(batch="spring-1", heads=1, cause="bolted")),
    (45, picked("spring-1", 4, 600.0)),
    (52, picked("spring-1", 5, 900.0)),
)


def test_a_batch_from_seed_to_plate() -> None:
    """12 plugs, 10 heads set out, 9 cut: days, grams and losses as anyone would count them."""
    record = book(diary(*GROWN))["spring-1"]
    assert (record.batch.planted, record.batch.picked, record.batch.grams) == (10, 9, 1500.0)
    assert (record.days_to_harvest, record.first_picked, record.last_picked) == (45, day(45), day(52))
    assert record.grams_per_head == pytest.approx(1500.0 / 9)
    assert (record.lost, record.batch.lost_seedlings) == (3, (("damping off", 2),))
    assert record.until == day(52)
    assert record.wasted == pytest.approx(0.1)  # of ten heads one bolted, and nobody told of compost


def test_what_was_eaten_is_a_share_of_what_was_picked() -> None:
    """By weight, heads at this batch's own mean; what nobody told is left over."""
    used = (
        (46, Eaten(batch="spring-1", grams=450.0)),
        (46, Shared(batch="spring-1", grams=300.0)),
        (60, Composted(batch="spring-1", heads=3)),  # at 166.7 g each: 500 g
        (60, Eaten(batch="spring-2", grams=5000.0)),
        (60, Eaten(grams=5000.0)),
    )
    record = book(diary(*GROWN, *used))["spring-1"]
    assert record.became is not None
    assert record.became.eaten == pytest.approx(0.3)
    assert record.became.shared == pytest.approx(0.2)
    assert record.became.composted == pytest.approx(1 / 3)
    assert record.used == pytest.approx(0.5)
    assert record.wasted == pytest.approx((1 + 3) / 10)  # one bolted, three went to the compost


def test_unweighed_harvests_are_counted_in_heads() -> None:
    """And told as unweighed; grams that cannot be compared with heads say nothing."""
    entries: tuple[tuple[int, Event], ...] = (
        (0, sown("a", 4)),
        (20, transplanted("a", 4)),
        (45, picked("a", 4)),
        (46, Eaten(batch="a", heads=3)),
    )
    record = book(diary(*entries))["a"]
    assert record.became == Became(eaten=0.75, shared=0.0, composted=0.0)
    assert (record.unweighed, record.grams_per_head) == (1, None)
    assert book(diary(*entries, (47, Eaten(batch="a", grams=90.0))))["a"].became is None


def test_leaves_are_weight_without_heads() -> None:
    """They free no place, and what they weighed is not a head's weight."""
    leaves = Picked(batch="a", heads=4, grams=120.0, way="leaves")
    record = book(diary((0, sown("a", 4)), (20, transplanted("a", 4)), (35, leaves)))["a"]
    assert (record.batch.picked, record.batch.heads, record.batch.grams) == (0, 4, 120.0)
    assert (record.days_to_harvest, record.grams_per_head, record.until, record.wasted) == (35, None, None, None)
    assert record.became is None


def test_before_any_harvest_nothing_is_known_of_it() -> None:
    """None, not 0."""
    record = book(diary((0, sown("a", 4))))["a"]
    assert (record.days_to_harvest, record.became, record.wasted, record.until) == (None, None, None, None)


def test_an_entry_that_was_undone_does_not_count() -> None:
    """The second picking was of another batch."""
    record = book(diary(*GROWN, (53, Undone(entry=6, why="it was spring-2"))))["spring-1"]
    assert (record.batch.picked, record.until, record.last_picked) == (4, None, day(45))


# where heads stood


def test_heads_stand_from_setting_out_to_the_day_they_are_cut() -> None:
    """Both days count; seedlings that were lost before are no heads."""
    standing = heads_standing(diary(*GROWN), day(60))
    stood = [(after, standing.get(("bed1", day(after)))) for after in (19, 20, 40, 41, 45, 46, 52, 53)]
    assert stood == [
        (19, None),
        (20, {"spring-1": 10}),
        (40, {"spring-1": 10}),
        (41, {"spring-1": 9}),
        (45, {"spring-1": 9}),
        (46, {"spring-1": 5}),
        (52, {"spring-1": 5}),
        (53, None),
    ]


def test_what_still_stands_stands_until_the_end() -> None:
    """And not with that day."""
    standing = heads_standing(diary((0, sown("a", 4)), (20, transplanted("a", 4))), day(23))
    assert sorted(standing) == [("bed1", day(20)), ("bed1", day(21)), ("bed1", day(22))]


def test_seedlings_that_were_lost_are_no_heads() -> None:
    """On the day of setting out neither; and leaves that were picked leave their heads standing."""
    lines = diary(
        (0, sown("a", 8)),
        (20, Lost(batch="a", heads=3, cause="weak")),
        (20, transplanted("a", 4)),
        (25, Picked(batch="a", heads=4, grams=90.0, way="leaves")),
        (30, picked("a", 1)),
    )
    standing = heads_standing(lines, day(35))
    assert (standing["bed1", day(20)], standing["bed1", day(34)]) == ({"a": 4}, {"a": 3})


def test_a_batch_in_two_reservoirs_is_parted() -> None:
    """6 in one and 2 in the other; of four cut nobody knows from where, so both give by their share."""
    entries = (
        (0, sown("a", 8)),
        (20, transplanted("a", 6)),
        (22, transplanted("a", 2, "bed2")),
        (45, picked("a", 4)),
    )
    standing = heads_standing(diary(*entries), day(50))
    assert standing["bed1", day(21)] == {"a": 6}
    assert ("bed2", day(21)) not in standing
    assert (standing["bed1", day(46)], standing["bed2", day(46)]) == ({"a": 3}, {"a": 1})


@given(
    st.lists(st.tuples(st.integers(21, 70), st.integers(1, 5)), max_size=8),
    st.integers(1, 20),
    st.integers(0, 20),
)
def test_never_more_heads_than_were_set_out(cuts: list[tuple[int, int]], first: int, second: int) -> None:
    """On no day, nor fewer than 0, however many are said to be cut."""
    plants = [(20, transplanted("a", first)), *([(30, transplanted("a", second, "bed2"))] if second else [])]
    lines = diary((0, sown("a", 60)), *plants, *((after, picked("a", heads)) for after, heads in cuts))
    total: dict[date, float] = {}
    for (_, when), heads in heads_standing(lines, day(80)).items():
        total[when] = total.get(when, 0.0) + heads["a"]
        assert heads["a"] > 0.0
    assert all(amount <= first + second + 1e-9 for amount in total.values())
    gone_early = sum(heads for after, heads in cuts if after < 31)
    assert total.get(day(31), 0.0) == pytest.approx(max(0, first + second - gone_early))


# all of them


def test_the_season_is_the_sum() -> None:
    """Losses by cause over all batches; waste by heads that are gone."""
    other: tuple[tuple[int, Event], ...] = (
        (7, sown("spring-2", 6)),
        (27, transplanted("spring-2", 5)),
        (50, Lost(batch="spring-2", heads=5, cause="bolted")),
    )
    found = season(diary(*GROWN, *other))
    assert (found.batches, found.plugs, found.planted, found.picked, found.grams) == (2, 18, 15, 9, 1500.0)
    assert found.lost == {"damping off": 2, "bolted": 6}
    assert found.wasted == pytest.approx((1 + 5) / 15)
    assert (season(()).wasted, season(()).became) == (None, None)


def test_what_was_eaten_of_no_named_batch_counts_for_the_season() -> None:
    """1500 g picked; of whom the salad was nobody wrote down."""
    lines = diary(*GROWN, (53, Eaten(grams=600.0)), (54, Eaten(batch="spring-1", grams=150.0)))
    found = season(lines).became
    assert found is not None
    assert found.eaten == pytest.approx(0.5)
