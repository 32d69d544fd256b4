"""Which stretch of time a trend shows."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.page.window import LONGEST, SHORTEST, SPANS, Window, WindowError, window

NOW = datetime(2026, 3, 1, 12, 30, tzinfo=UTC)


@pytest.mark.parametrize("span", SPANS)
def test_a_span_ends_now_and_is_asked_for_by_its_name(span: str) -> None:
    """So that it moves on with the clock."""
    found = window({"span": span}, NOW)
    assert (found.end, found.length, found.query) == (NOW, SPANS[span], {"span": span})


def test_the_last_day_is_usual() -> None:
    """Also where only its end, or only its beginning, is given."""
    assert window({}, NOW).span == "day"
    assert window({"to": "2026-02-01T06:00"}, NOW).begin == datetime(2026, 1, 31, 6, 0, tzinfo=UTC)
    assert window({"from": "2026-02-28"}, NOW).end == NOW


@pytest.mark.parametrize(
    "asked",
    [
        {"span": "fortnight"},
        {"from": "yesterday"},
        {"from": "0001-01-01"},
        {"from": "9999-12-31T23:59"},
        {"from": "2026-02-01", "to": "2026-02-01T00:10"},
        {"from": "2026-02-02", "to": "2026-02-01"},
        {"from": "2001-01-01", "to": "2026-02-01"},
        {"to": "x" * 1000},
    ],
)
def test_what_is_no_time_is_refused_with_what_to_give(asked: dict[str, str]) -> None:
    """Never an error of the program."""
    with pytest.raises(WindowError, match=r"is one of|as 2026-03-01T06:30|half an hour before"):
        window(asked, NOW)


@given(
    st.datetimes(datetime(2020, 1, 1), datetime(2026, 3, 1)).map(
        lambda at: at.replace(tzinfo=UTC, second=0, microsecond=0)
    ),
    st.timedeltas(SHORTEST, timedelta(days=900)).map(
        lambda length: timedelta(minutes=length // timedelta(minutes=1))
    ),
)
def test_every_way_leads_to_a_time_that_can_be_asked_for_again(begin: datetime, length: timedelta) -> None:
    """None beyond now, none too short or too long; by its query it is the same to the minute."""
    here = Window(begin, min(NOW, begin + length), NOW)
    if here.length < SHORTEST:
        return
    ways = here.ways()
    for way in ways.values():
        again = window(way.query, NOW)
        assert abs(again.begin - way.begin) < timedelta(minutes=1)
        assert again.end <= NOW
        assert SHORTEST - timedelta(minutes=1) <= way.length <= LONGEST
    assert ways["Earlier"].begin < here.begin
    assert ways["Wider"].length == 2 * here.length
    assert ("Later" in ways) == (here.end < NOW)
