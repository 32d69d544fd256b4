"""The judge against a technician, on series of real probes that are not shipped."""

from __future__ import annotations

import pytest

from tests.river.__main__ import PAGE
from tests.river.report import (
    LEAST_SUBTLE,
    MOST_ALARMS,
    MOST_REFUSED,
    Replay,
    Score,
    page,
    replay,
    scores,
    subtle_share,
)
from tests.river.series import Kind, folder, sites


@pytest.fixture(scope="module")
def replays() -> list[Replay]:
    where = folder()
    if where is None:
        pytest.skip("RIVER_DATA names no folder with the series of real probes, which are not shipped")
    found = [replay(site) for site in sites(where)]
    assert found, f"{where} (RIVER_DATA) holds no series (*.csv.gz)"
    return found


@pytest.fixture(scope="module")
def ours(replays: list[Replay]) -> list[Score]:
    return [score for one in replays for score in scores(one) if score.rules == "judge"]


def test_gross_faults_are_refused_within_one_sample(ours: list[Score]) -> None:
    """All of them, on every site and quantity."""
    for score in ours:
        gross = score.caught[Kind.GROSS]
        assert gross.caught == gross.events, score
        assert gross.longest_delay <= 1, score


def test_most_subtle_faults_are_caught(ours: list[Score]) -> None:
    """Over all sites together, since one site has few."""
    assert subtle_share(ours) >= LEAST_SUBTLE


def test_good_samples_are_seldom_refused(ours: list[Score]) -> None:
    """On every site and quantity."""
    for score in ours:
        assert score.alarms <= MOST_ALARMS, score
        assert score.refused <= MOST_REFUSED, score


def test_the_page_shows_what_is_measured_now(replays: list[Replay]) -> None:
    """Where the folder holds the sites that the page was made from, and no others."""
    written = PAGE.read_text(encoding="utf-8")
    rows = {line.split("|")[1].split()[0] for line in written.splitlines() if line.startswith("| ")} - {"site"}
    if rows != {one.site.name for one in replays}:
        pytest.skip("the folder holds other sites than docs/probes.md shows")
    assert page(replays) == written
