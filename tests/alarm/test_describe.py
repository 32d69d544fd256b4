"""The table of alarms for people."""

from __future__ import annotations

from daemon.alarm.describe import PAGE, explained, page
from daemon.alarm.kinds import Kind
from daemon.alarm.table import TABLE


def test_the_page_is_what_the_table_says() -> None:
    """docs/alarms.md is renewed with it: python -m daemon.alarm.describe."""
    assert PAGE.read_text(encoding="utf-8") == page()


def test_every_kind_has_a_row_with_something_to_do() -> None:
    """And says how long a person has, and what stands still."""
    assert set(TABLE) == set(Kind)
    for kind in Kind:
        assert all(text for text in explained(kind).values()), kind


def test_delays_and_dead_bands_are_said() -> None:
    """In units that a person thinks in."""
    band = explained(Kind.OUT_OF_BAND)
    assert (band["raised_after"], band["over_after"]) == ("1 h", "5 min")
    assert "0.1 pH" in band["dead_band"]
    assert explained(Kind.LOCKED)["latches"] == "until it is cleared at the tank"
