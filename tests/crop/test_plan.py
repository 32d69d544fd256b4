"""The plan: never more than the places hold, no week left empty without a word, and real days count."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.crop.diary import Batch
from daemon.crop.plan import (
    WEEK,
    Course,
    Kind,
    Nursery,
    Plan,
    Why,
    batch_name,
    monday_of,
    occupied,
    plan,
    plugs_taken,
    steady,
)

TODAY = date(2027, 3, 1)  # a Monday
WINDOWSILL = Nursery(plugs=24, batches=2)
BUTTERHEAD = Kind(
    name="salad",
    crop="lettuce",
    variety="butterhead",
    title="butterhead",
    heads_per_week=Fraction(5),
    reservoir="bed1",
    places=24,
    look_on_day=4,
    thin_on_day=8,
    transplant_on_day=14,
    days_to_harvest=56,
    best_days=7,
)


def of(kind: Kind, known: dict[str, Batch] | None = None, today: date = TODAY) -> Plan:
    """The plan of one kind with two batches on the windowsill."""
    return plan([kind], WINDOWSILL, known or {}, today)


def fed(of_plan: Plan) -> list[int]:
    """Heads of each week from the first that gets any."""
    heads = [week.heads for week in of_plan.weeks]
    return heads[next(place for place, count in enumerate(heads) if count) :]


# --- the case of the school ----------------------------------------------------------------------------


def test_five_butterheads_a_week_take_35_places_and_24_hold_3_4() -> None:
    """Reckoned by hand: 42 days in the water and a week of eating are seven batches; 24 / 7 = 3.43."""
    way = steady(BUTTERHEAD, WINDOWSILL)
    assert (way.standing, way.places_wanted, way.bound) == (7, 35, Why.FEW_PLACES)
    assert float(way.per_week) == pytest.approx(3.43, abs=0.01)
    enough = steady(replace(BUTTERHEAD, places=35), WINDOWSILL)
    assert enough.per_week == 5
    assert enough.bound is None


def test_part_of_a_week_more_is_a_batch_more() -> None:
    """43 days in the water and 7 of eating: eight batches touch, three heads each, not three or four."""
    kind = replace(BUTTERHEAD, transplant_on_day=13)
    assert steady(kind, WINDOWSILL).standing == 8
    assert set(fed(of(kind))) == {3}


def test_what_places_hold_comes_evenly() -> None:
    """Three or four each week, 24 in any seven, two batches in the nursery at once."""
    heads = fed(of(BUTTERHEAD))
    assert set(heads) == {3, 4}
    assert {sum(heads[week : week + 7]) for week in range(len(heads) - 6)} == {24}


def test_days_go_backwards_from_the_week_it_is_eaten() -> None:
    """Harvest, transplanting, thinning, seedlings up, sowing, soaking."""
    first = of(BUTTERHEAD).courses[0]
    assert first.name == "salad-27w17"
    assert (first.ready_on, first.best_until) == (date(2027, 4, 26), date(2027, 5, 3))
    assert first.transplant_on == date(2027, 3, 15)
    assert first.thin_on == date(2027, 3, 9)
    assert first.look_on == date(2027, 3, 5)
    assert (first.sow_on, first.soak_on) == (TODAY, date(2027, 2, 28))
    assert first.plugs == BUTTERHEAD.plugs_for(first.heads) > first.heads


def test_weeks_that_it_is_too_late_for_say_so() -> None:
    """Eight of them, from this one on."""
    weeks = of(BUTTERHEAD).weeks
    assert [week.why for week in weeks[:9]] == [Why.TOO_LATE] * 8 + [None]


def test_tomorrows_plan_is_todays() -> None:
    """Nothing moves because a day has gone by."""
    names = [
        {course.name: course.heads for course in of(BUTTERHEAD, today=TODAY + k * timedelta(1)).courses}
        for k in (0, 1, 3)
    ]
    for before, after in pairwise(names):
        assert all(after[name] == before[name] for name in before.keys() & after.keys())
    assert len(names[0].keys() & names[2].keys()) >= 15


def test_a_sowing_a_few_days_late_is_still_for_its_week() -> None:
    """With the days that are left; after that the week is told as lost."""
    late = of(BUTTERHEAD, today=TODAY + timedelta(days=3)).courses[0]
    assert (late.name, late.sow_on, late.free_on) == ("salad-27w17", date(2027, 3, 4), date(2027, 5, 3))
    assert of(BUTTERHEAD, today=TODAY + timedelta(days=4)).courses[0].name == "salad-27w18"


# --- small kinds and small nurseries -------------------------------------------------------------------


def test_less_than_a_head_a_week_leaves_weeks_empty_and_says_why() -> None:
    """Three places hold three heads in seven weeks."""
    few = of(replace(BUTTERHEAD, places=3))
    assert sum(fed(few)[:7]) == 3
    assert {week.why for week in few.weeks[9:] if not week.heads} == {Why.FEW_PLACES}
    seldom = of(replace(BUTTERHEAD, heads_per_week=Fraction(1, 2)))
    assert {week.why for week in seldom.weeks[9:] if not week.heads} == {Why.SELDOM}


def test_one_batch_on_the_windowsill_means_a_sowing_each_fortnight() -> None:
    """A kind that stands two weeks at its best is eaten over both; one that does not leaves every other empty."""
    kind = replace(BUTTERHEAD, places=60, heads_per_week=Fraction(3))
    lasting = plan([replace(kind, best_days=14)], Nursery(24, 1), {}, TODAY)
    assert steady(replace(kind, best_days=14), Nursery(24, 1)).every_weeks == 2
    assert set(fed(lasting)) == {3}
    short = plan([kind], Nursery(24, 1), {}, TODAY)
    assert {week.why for week in short.weeks[10:] if not week.heads} == {Why.PAST_BEST}


def test_a_small_nursery_bounds_the_rate() -> None:
    """Eight plugs for two batches are four each, and four plugs are three heads."""
    way = steady(replace(BUTTERHEAD, places=100), Nursery(plugs=8, batches=2))
    assert way.bound is Why.NURSERY_FULL
    assert 3 <= way.per_week < 4


# --- what the diary knows ------------------------------------------------------------------------------


def sown(days_ago: int, plugs: int = 5, name: str = "", today: date = TODAY) -> Batch:
    """A batch that was sown so long ago."""
    day = today - timedelta(days=days_ago)
    meant = name or batch_name("salad", monday_of(day + timedelta(days=56)))
    return Batch(meant, "lettuce", "butterhead", day, plugs, 2)


def course_of(of_plan: Plan, name: str) -> Course:
    return next(course for course in of_plan.courses if course.name == name)


def test_what_is_sown_is_not_sown_again() -> None:
    """It takes its week's place in the plan."""
    planned = of(BUTTERHEAD)
    batch = sown(0, planned.courses[0].plugs)
    after = of(BUTTERHEAD, {batch.name: batch})
    assert [(c.name, c.heads) for c in after.courses] == [(c.name, c.heads) for c in planned.courses]
    assert after.weeks == planned.weeks


def test_a_late_transplanting_moves_the_harvest() -> None:
    """By as many days; the week it is for stays while that is near."""
    batch = replace(sown(21), transplanted_on=TODAY, planted=4, reservoirs=(("bed1", 4),))
    course = course_of(of(BUTTERHEAD, {batch.name: batch}), batch.name)
    assert course.ready_on == TODAY + timedelta(days=42)
    overdue = sown(21)
    waiting = course_of(of(BUTTERHEAD, {overdue.name: overdue}), overdue.name)
    assert (waiting.transplant_on, waiting.ready_on) == (TODAY, TODAY + timedelta(days=42))


def test_a_batch_of_which_some_was_lost_is_told() -> None:
    """It can no longer be sown anew for that week."""
    batch = replace(sown(0), lost_seedlings=(("mice", 3),))
    week = next(
        week
        for week in of(BUTTERHEAD, {batch.name: batch}).weeks
        if batch_name("salad", week.monday) == batch.name
    )
    assert (week.heads, week.why) == (2, Why.LOST)


def test_heads_past_their_week_are_for_this_one() -> None:
    """They stand, so they are there to be eaten, and hold their places until then."""
    old = replace(sown(80), transplanted_on=TODAY - timedelta(days=66), planted=4, reservoirs=(("bed1", 4),))
    after = of(BUTTERHEAD, {old.name: old})
    assert after.weeks[0].heads == 4
    assert occupied(after.courses, BUTTERHEAD, TODAY) == 4


def test_a_batch_belongs_to_the_want_in_its_name() -> None:
    """Where two wants share a variety; else to the one whose reservoir it stands in."""
    other = replace(BUTTERHEAD, name="shop", reservoir="bed2")
    named, unnamed = sown(0, name="shop-27w17"), replace(sown(0, name="x"), reservoirs=(("bed2", 2),))
    both = plan([BUTTERHEAD, other], Nursery(100, 4), {"shop-27w17": named, "x": unnamed}, TODAY)
    assert {course_of(both, name).kind.name for name in ("shop-27w17", "x")} == {"shop"}


# --- for any garden ------------------------------------------------------------------------------------


@st.composite
def kinds(draw: st.DrawFn, name: str = "salad") -> Kind:
    """Any kind that a crop's file and a want may describe."""
    transplant = draw(st.integers(3, 40))
    return replace(
        BUTTERHEAD,
        name=name,
        variety=name,
        heads_per_week=Fraction(draw(st.integers(1, 400)), 10),
        places=draw(st.integers(1, 120)),
        transplant_on_day=transplant,
        thin_on_day=None,
        days_to_harvest=transplant + draw(st.integers(1, 80)),
        best_days=draw(st.integers(1, 30)),
        spare_plugs_share=Fraction(draw(st.integers(0, 10)), 10),
    )


nurseries = st.builds(Nursery, plugs=st.integers(1, 200), batches=st.integers(1, 6))
days = st.dates(date(2026, 1, 1), date(2032, 1, 1))


def days_of(of_plan: Plan) -> list[date]:
    """Every day on which anything of the plan begins or is free again."""
    return sorted({day for c in of_plan.courses for day in (c.sow_on, c.transplant_on, c.free_on)})


@given(kinds(), kinds("other"), nurseries, days)
def test_a_plan_never_exceeds_places_or_plugs(one: Kind, two: Kind, nursery: Nursery, today: date) -> None:
    """On no day, for no kind."""
    both = plan([one, two], nursery, {}, today)
    for day in days_of(both):
        assert occupied(both.courses, one, day) <= one.places
        assert occupied(both.courses, two, day) <= two.places
        assert plugs_taken(both.courses, day) <= nursery.plugs


@given(kinds(), nurseries, days)
def test_no_week_is_empty_without_a_word(kind: Kind, nursery: Nursery, today: date) -> None:
    """Nor gets less than its share; the weeks follow each other without a hole."""
    weeks = plan([kind], nursery, {}, today).weeks
    assert all(after.monday - before.monday == WEEK for before, after in pairwise(weeks))
    for week in weeks:
        assert week.why is not None or 0 < week.heads >= week.share


@given(kinds(), nurseries, days)
def test_nothing_waits_past_its_best(kind: Kind, nursery: Nursery, today: date) -> None:
    """All of a batch is for weeks that begin while it is good, and no head is told twice or forgotten."""
    every = plan([kind], nursery, {}, today)
    way = every.steady["salad"]
    for course in every.courses:
        assert course.sow_on >= today
        assert course.week + (way.eaten_weeks - 1) * WEEK <= course.best_until
    in_weeks = sum(week.heads for week in every.weeks)
    last = every.weeks[-1].monday
    whole = sum(c.heads for c in every.courses if c.week + (way.eaten_weeks - 1) * WEEK <= last)
    assert whole <= in_weeks <= sum(course.heads for course in every.courses)


@given(kinds(), nurseries, days)
def test_as_planned_so_it_goes(kind: Kind, nursery: Nursery, today: date) -> None:
    """Once the first batch is sown as planned, all that comes after stays as it was."""
    before = plan([kind], nursery, {}, today)
    if not before.courses:
        return
    first = before.courses[0]
    then = max(today, first.sow_on)
    batch = Batch(first.name, kind.crop, kind.variety, then, first.plugs, 2)
    after = plan([kind], nursery, {batch.name: batch}, then)
    shared = {c.name: c.heads for c in before.courses if c.name in {each.name for each in after.courses}}
    assert {c.name: c.heads for c in after.courses if c.name in shared} == shared


@given(
    kinds(),
    nurseries,
    days,
    st.lists(st.tuples(st.integers(0, 90), st.integers(1, 30), st.booleans()), max_size=6),
)
def test_whatever_stands_already_nothing_is_promised_twice(
    kind: Kind, nursery: Nursery, today: date, stands: list[tuple[int, int, bool]]
) -> None:
    """Places and plugs that are taken stay taken: what is planned fits beside them."""
    known = {}
    for number, (ago, plugs, planted) in enumerate(stands):
        batch = Batch(f"x-{number}", kind.crop, kind.variety, today - timedelta(days=ago), plugs, 2)
        if planted:
            batch = replace(batch, transplanted_on=batch.sown_on, planted=plugs, reservoirs=(("bed1", plugs),))
        known[batch.name] = batch
    every = plan([kind], nursery, known, today)
    there = [course for course in every.courses if course.batch is not None]
    for day in days_of(every):
        assert occupied(every.courses, kind, day) <= max(kind.places, occupied(there, kind, day))
        assert plugs_taken(every.courses, day) <= max(nursery.plugs, plugs_taken(there, day))
    for week in every.weeks:
        assert week.why is not None or week.heads > 0
