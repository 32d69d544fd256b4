"""What the water did, made ready to be drawn."""

from __future__ import annotations

from datetime import timedelta
from itertools import pairwise
from pathlib import Path

import pytest

from daemon.report.facts import Facts
from daemon.report.pictures import POINTS, Scene, plots
from daemon.store.trend import opened
from daemon.values import Quantity
from tests.report.gardens import AIR, DAYS, FED, HIGH
from tests.store.snapshots import MIDNIGHT


def test_the_share_in_band_leaves_out_what_was_not_to_be_relied_on(facts: Facts) -> None:
    """6 hours too high of 6 days, less the 12 hours of a probe in the air."""
    (plot,) = facts.batches[0].stays[0].plots
    assert plot.line.quantity is Quantity.PH
    assert plot.in_band == pytest.approx(1.0 - 6.0 / (24.0 * DAYS - 12.0))
    assert HIGH != AIR


def test_the_picture_has_bands_doses_and_alarms(facts: Facts) -> None:
    """As they were kept; the probe in the air makes no room for itself."""
    line = facts.batches[0].stays[0].plots[0].line
    assert [(band.low, band.high) for band in line.bands] == [(5.5, 6.5)]
    assert (len(line.doses), len(line.alarms)) == (5, 1)
    assert len(line.buckets) <= POINTS
    assert line.ends[1] < 8.0


def test_a_line_without_gaps_is_drawn_in_one(kept: Path) -> None:
    """Whatever the length of the stay: buckets are whole hours or minutes, and the step is theirs."""
    for days in (4.1, 5.0, 5.9):
        scene = Scene("bed1", None, MIDNIGHT, MIDNIGHT + timedelta(days=days), (), ())
        with opened(kept) as trends:
            (plot,) = plots(scene, trends)
        at = [bucket.begins for bucket in plot.line.buckets]
        assert max(later - earlier for earlier, later in pairwise(at)) <= 1.5 * plot.line.step


def test_without_bands_no_share(kept: Path) -> None:
    """Before anything was kept of them, today's stand in; without settings none."""
    long_ago = MIDNIGHT - timedelta(days=1)
    with opened(kept) as trends:
        none = list(plots(Scene("bed1", None, long_ago, MIDNIGHT, (), ()), trends))
        fed = list(plots(Scene("bed1", FED.reservoir["bed1"], MIDNIGHT, MIDNIGHT + timedelta(1), (), ()), trends))
    assert none == []
    assert fed[0].line.band == (5.5, 6.5)
