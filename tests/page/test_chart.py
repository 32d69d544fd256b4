"""Pictures of values."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon import words
from daemon.page.chart import TOP, Line, bar, line, ruler, summary
from daemon.store.trend import Band, Bucket
from daemon.values import Quantity

BEGIN = datetime(2026, 3, 1, tzinfo=UTC)
HOUR = timedelta(hours=1)


def a_line(values: list[tuple[float, float]]) -> Line:
    """A value each hour, lowest and highest."""
    buckets = [Bucket(BEGIN + n * HOUR, low, high, (low + high) / 2, 0.0) for n, (low, high) in enumerate(values)]
    end = BEGIN + len(values) * HOUR
    return Line(Quantity.PH, buckets, BEGIN, end, HOUR, (5.5, 6.5), [BEGIN + HOUR], [BEGIN + 2 * HOUR])


@given(st.floats(0.0, 14.0) | st.none())
def test_a_ruler_is_well_formed_whatever_the_value(value: float | None) -> None:
    """Also beyond its ends."""
    ElementTree.fromstring(ruler(value, (5.5, 6.5)))


@pytest.mark.parametrize(("used", "cap"), [(0.0, 10.0), (5.0, 10.0), (12.0, 10.0), (0.0, 0.0)])
def test_a_bar_is_never_longer_than_its_frame(used: float, cap: float) -> None:
    """A cap of nothing is full."""
    widths = [
        float(each.attrib["width"])
        for each in ElementTree.fromstring(bar(used, cap)).iter()
        if "rect" in each.tag
    ]
    assert widths[1] <= widths[0]


@given(st.lists(st.tuples(st.floats(4.0, 6.0), st.floats(6.0, 9.0)), min_size=1, max_size=30))
def test_a_line_is_well_formed_and_says_its_extremes(values: list[tuple[float, float]]) -> None:
    """The picture has its words for who cannot see it."""
    of = a_line(values)
    ElementTree.fromstring(line(of))
    assert f"{min(low for low, _ in values):.2f}" in summary(of)
    assert f"{max(high for _, high in values):.2f}" in summary(of)


@pytest.mark.parametrize("quantity", list(words.DECIMALS))
@pytest.mark.parametrize("value", [0.3, 1.0, 6.1, 60.0])
def test_a_line_that_stands_still_lies_in_the_middle_of_three_labels(quantity: Quantity, value: float) -> None:
    """A level that is the same all day: not 100 % at the bottom and 100 % at the top."""
    of = replace(a_line([(value, value)] * 10), quantity=quantity, band=None)
    texts = [each.text for each in ElementTree.fromstring(line(of)).iter() if "text" in each.tag]
    assert len({*texts[:3]}) == 3
    assert sum(of.ends) / 2.0 == pytest.approx(value)


def test_a_band_that_moved_is_drawn_where_it_was() -> None:
    """From its beginning to the next; today's alone where none was kept."""
    of = a_line([(5.9, 6.1)] * 10)
    moved = replace(of, bands=(Band(BEGIN, 5.5, 6.5), Band(BEGIN + 5 * HOUR, 5.8, 6.2)))
    (area,) = [each for each in ElementTree.fromstring(line(moved)).iter() if each.get("class") == "band"]
    assert len(area.attrib["d"].split("L")) == 8
    assert "its band 5.5 to 6.5 at first, 5.8 to 6.2 at the end" in summary(moved)
    assert "today's band 5.5 to 6.5" in summary(of)


def test_many_doses_of_one_place_are_one_mark() -> None:
    """A season with a thousand doses stays a small picture."""
    of = replace(a_line([(5.9, 6.1)] * 10), doses=[BEGIN + timedelta(seconds=36 * n) for n in range(1000)])
    assert len(line(of)) < 10_000


def test_what_is_doubted_takes_no_room() -> None:
    """A probe in the air at pH 16: drawn at the edge, so that the water's own line is seen; unless it is all."""
    sound = a_line([(5.9, 6.1)] * 10)
    air = Bucket(BEGIN + 10 * HOUR, 15.0, 17.0, 16.0, 1.0)
    of = replace(sound, buckets=[*sound.buckets, air], end=BEGIN + 11 * HOUR)
    assert of.ends == sound.ends
    ranges = [
        each.attrib["d"] for each in ElementTree.fromstring(line(of)).iter() if each.get("class") == "range"
    ]
    heights = [float(height) for d in ranges for height in re.findall(r" ([\d.]+)", d)]
    assert min(heights) == TOP
    assert replace(of, buckets=[air], band=None).ends[1] > 17.0
