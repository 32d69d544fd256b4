"""The plan in words. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date, timedelta
from itertools import groupby

from daemon.crop.plan import WEEK, Kind, Plan, Steady, Week, Why

WHY = {
    Why.TOO_LATE: "too late to sow for it",
    Why.FEW_PLACES: "the places hold less than one head a week",
    Why.PLACES_TAKEN: "its places are taken by what stands there",
    Why.NURSERY_FULL: "no plugs are free in the nursery",
    Why.PAST_BEST: "between two batches: heads would stand beyond their best",
    Why.LOST: "of what was sown for it, some was lost",
    Why.LATE: "what was sown for it comes later",
    Why.SELDOM: "less than one head a week is wanted",
}


def of_kind(kind: Kind, way: Steady) -> Iterator[str]:
    """What is wanted, and what the places and the nursery hold of it: some lines."""
    wanted = float(kind.heads_per_week)
    yield f"{kind.name}: {kind.title} {kind.crop}, {wanted:g} a week, {kind.places} places in {kind.reservoir}"
    every = "every week" if way.every_weeks == 1 else f"every {way.every_weeks} weeks"
    yield f"  sown {every}, {way.standing} batches in the water at once: {float(way.per_week):.1f} a week"
    if way.every_weeks > 1:
        yield f"  the nursery holds no batch each week; one is eaten over {way.eaten_weeks} week(s)"
    if way.bound is Why.FEW_PLACES:
        yield f"  {kind.places} places hold no more; {wanted:g} a week would take {way.places_wanted} places"
    elif way.bound is Why.NURSERY_FULL:
        yield "  the nursery's plugs hold no more; it takes more plugs, or a kind with fewer spare ones"


def gaps(plan: Plan) -> Iterator[str]:
    """Weeks that get nothing, or less than their share, and why: one line for each run of them."""
    for (want, why, empty), run in groupby(plan.weeks, key=lambda week: (week.want, week.why, week.heads == 0)):
        weeks = list(run)
        if why is not None:
            yield f"{want}: {_span(weeks)}: {'nothing' if empty else _fewer(weeks)}: {WHY[why]}"


def _span(weeks: list[Week]) -> str:
    first, last = weeks[0].monday, _sunday(weeks[-1].monday)
    return f"{first} to {last}"


def _sunday(monday: date) -> date:
    return monday + WEEK - timedelta(days=1)


def _fewer(weeks: Iterable[Week]) -> str:
    heads, share = (sum(column) for column in zip(*((week.heads, week.share) for week in weeks), strict=True))
    return f"{heads} of {share}"
