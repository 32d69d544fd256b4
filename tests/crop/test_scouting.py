"""What to do about what a walk found."""

from __future__ import annotations

from daemon.crop.diary import Finding, Walked
from daemon.crop.scouting import Remedy, advice
from tests.crop.test_diary import diary

REMEDIES = {
    "aphids": Remedy("rinse them off", "a soap by its label"),
    "brown roots": Remedy("take that plant out", "new water", "change-out"),
    "bad smell": Remedy("look for a dead plant", "new water", "hold"),
}


def said(*findings: Finding, before: Walked | None = None) -> tuple[str, ...]:
    return advice("bed1", findings, REMEDIES, diary(*([] if before is None else [before])))


def few(what: str) -> Finding:
    return Finding(what=what, how_much="few")


def many(what: str) -> Finding:
    return Finding(what=what, how_much="many")


def test_nothing_found_calls_for_nothing() -> None:
    """Nor does what the list does not know."""
    assert said(Finding(what="aphids", how_much="none"), few("a fox")) == ()


def test_few_call_for_the_first_step_alone() -> None:
    """Cultural before chemical; the tank is left in peace."""
    assert said(few("aphids"), few("brown roots")) == (
        "aphids: rinse them off.",
        "brown roots: take that plant out.",
    )


def test_many_call_for_the_second_too_and_tell_the_tank() -> None:
    """By the command that does it."""
    assert said(many("aphids")) == ("aphids: rinse them off.", "aphids, many: a soap by its label.")
    assert said(many("brown roots"))[-1].endswith("evenwater change-out begin --reservoir bed1")
    assert 'evenwater hold --reservoir bed1 "bad smell"' in said(many("bad smell"))[-1]


def test_what_was_there_the_time_before_calls_for_the_second_step() -> None:
    """At the same place, on the last walk."""
    again = said(few("aphids"), before=Walked(where="bed1", findings=(few("aphids"),)))
    assert again[-1] == "aphids, again: a soap by its label."
    for before in (
        Walked(where="bed2", findings=(few("aphids"),)),
        Walked(where="bed1", findings=(Finding(what="aphids", how_much="none"),)),
    ):
        assert len(said(few("aphids"), before=before)) == 1
