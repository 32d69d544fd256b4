"""The level at rest, and falls that drinking cannot explain."""

from __future__ import annotations

from math import nan
from random import Random
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from config.settings import Reservoir
from daemon.dose.level import STILL_S, Levels, RestLevel, drowned, follow, leak, most_drunk_l_per_h, rest_s_of

REST_S = 1800.0
DRUNK_PER_H = 0.004  # 0.24 L of 60 L
FULL_L = 60.0


def seen(rest: RestLevel, share: float, begin_s: float, for_s: float) -> float | None:
    """The level at rest after it stood there for so long, looked at every 30 s."""
    for i in range(round(for_s / 30.0) + 1):
        rest.see(begin_s + 30.0 * i, share)
    return rest.share(begin_s + for_s)


def test_nothing_is_known_before_it_was_watched_for_as_long_as_a_flood() -> None:
    """At a start the bed may just be flooded."""
    rest = RestLevel(REST_S)
    assert seen(rest, 0.6, 0.0, REST_S - 30.0) is None
    assert seen(rest, 0.6, REST_S, 30.0) == 0.6


def test_a_flood_that_is_short_enough_does_not_show() -> None:
    """A longer one does."""
    rest = RestLevel(REST_S)
    seen(rest, 0.94, 0.0, REST_S)
    assert seen(rest, 0.6, REST_S + 30.0, REST_S - 60.0) == 0.94
    assert seen(rest, 0.6, 2.0 * REST_S, 60.0) == 0.6


def test_a_falling_level_is_known_at_any_pace() -> None:
    """Asked a moment after a look, when the oldest is just too old: the next one counts."""
    rest = RestLevel(300.0)
    for number in range(20):
        rest.see(60.0 * number, 0.9 - 0.001 * number)
        share = rest.share(60.0 * number + 0.2)
        assert share == (None if number < 5 else pytest.approx(0.9 - 0.001 * (number - 4)))


def test_what_is_no_number_is_not_remembered() -> None:
    """And a level that was not seen lately is not known."""
    rest = RestLevel(REST_S)
    seen(rest, 0.92, 0.0, REST_S)
    rest.see(REST_S + 30.0, nan)
    assert rest.share(REST_S + 30.0) == 0.92
    assert rest.share(3.0 * REST_S) is None


@given(st.lists(st.floats(0.0, 1.2), min_size=1, max_size=80))
def test_the_level_at_rest_is_the_highest_of_the_window(shares: list[float]) -> None:
    """Whatever order they come in, looked at every 30 s."""
    rest = RestLevel(600.0)
    for i, share in enumerate(shares):
        rest.see(30.0 * i, share)
    now_s = 30.0 * (len(shares) - 1)
    assert rest.share(now_s) == (max(shares[-21:]) if now_s >= 600.0 else None)


def until_leak_s(l_per_h: float, within_h: float = 2.0, noise: float = 0.0) -> float | None:
    """Seconds from the beginning of a fall until it is told, looked at every minute; None if it is not."""
    levels: Levels = ()
    chance = Random(3)
    for minute in range(-90, round(60.0 * within_h)):
        share = 0.9 - max(0.0, minute / 60.0) * l_per_h / FULL_L + chance.uniform(-noise, noise)
        levels = follow(levels, 60.0 * minute, share)
        if leak(levels, DRUNK_PER_H) is not None:
            return 60.0 * minute
    return None


@pytest.mark.parametrize(("l_per_h", "most_s"), [(0.5, 3600.0), (1.0, 3600.0), (5.0, 600.0), (60.0, 120.0)])
def test_a_leak_is_told_within_the_hour(l_per_h: float, most_s: float) -> None:
    """A large one much sooner."""
    told_s = until_leak_s(l_per_h)
    assert told_s is not None
    assert told_s <= most_s


@pytest.mark.parametrize("l_per_h", [0.0, 0.1, 0.24, 0.4])
def test_drinking_is_no_leak(l_per_h: float) -> None:
    """Up to twice what plants take at most, with a level that is read to a millimetre or two."""
    assert until_leak_s(l_per_h, within_h=12.0, noise=0.0005) is None


@pytest.mark.parametrize(
    ("lowest", "share", "most_share"),
    [
        (0.80, 0.90, None),
        (0.80, 0.91, 0.90),
        (0.92, 1.0, 0.96),
        (0.93, 1.0, None),
        (None, 1.0, None),
        (0.5, None, None),
        (nan, 1.0, None),
        (0.5, nan, None),
    ],
)
def test_filled_over_more_than_half_of_what_was_bare(
    lowest: float | None, share: float | None, most_share: float | None
) -> None:
    """Drowned, where at least 8 % had been bare; never refilling to the top is common practice."""
    found = drowned(lowest, share)
    assert (None if found is None else found.most_share) == pytest.approx(most_share)


def test_an_unknown_level_begins_anew() -> None:
    """What fell unseen says nothing."""
    levels = follow(follow((), 0.0, 0.9), 60.0, None)
    assert levels == ()
    assert leak(levels, DRUNK_PER_H) is None


def test_the_settings_say_how_long_a_flood_lasts_and_how_much_is_drunk() -> None:
    """Or what is usual."""
    table: dict[str, Any] = {"title": "Bed", "system": "film", "volume_l": 50.0, "mixing_time_s": 60.0}
    bare = Reservoir.model_validate(table)
    assert rest_s_of(bare) == STILL_S
    assert most_drunk_l_per_h(bare) == pytest.approx(0.2)
    table |= {"system": "ebb_and_flow", "water": {"longest_flood_min": 20.0, "most_drunk_l_per_h": 0.7}}
    set_so = Reservoir.model_validate(table)
    assert (rest_s_of(set_so), most_drunk_l_per_h(set_so)) == (1200.0, 0.7)
