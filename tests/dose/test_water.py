"""When water is added, and how much."""

from __future__ import annotations

from math import nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.dose.water import RestLevel, WaterAim, ask_water
from daemon.values import (
    DoseReason,
    DoseRequest,
    Quality,
    Quantity,
    Reading,
    Role,
    Sample,
    Verdict,
    VerdictReason,
)

REST_S = 1800.0
AIM = WaterAim(below=0.9, fill_to=0.95, rest_s=REST_S, full_l=60.0, has_water=True)


def level(share: float, at_s: float, quality: Quality = Quality.GOOD) -> Verdict:
    """A look at the level."""
    reading = Reading(Quantity.LEVEL, share, at_s, Sample(Quantity.LEVEL, at_s, signal=0.0))
    return Verdict(Quantity.LEVEL, quality, VerdictReason.FINE, reading)


def seen(rest: RestLevel, share: float, begin_s: float, for_s: float, aim: WaterAim = AIM) -> DoseRequest | None:
    """What is asked after the level stood there for so long, looked at every 30 s."""
    request = None
    for i in range(round(for_s / 30.0) + 1):
        request = ask_water("bed1", aim, level(share, begin_s + 30.0 * i), rest)
    return request


def test_a_low_level_is_filled_up() -> None:
    """From 85 % to 95 % of 60 L are 6 L."""
    request = seen(RestLevel(), 0.85, 0.0, REST_S)
    assert request is not None
    assert (request.pump, request.reason) == (Role.TOP_UP, DoseReason.LEVEL_LOW)
    assert request.ml == pytest.approx(6000.0)


def test_nothing_before_it_was_watched_for_as_long_as_a_flood() -> None:
    """At a start the bed may just be flooded."""
    assert seen(RestLevel(), 0.6, 0.0, REST_S - 30.0) is None


def test_once_begun_it_goes_on_to_the_upper_mark() -> None:
    """And then waits for the lower one again."""
    rest = RestLevel()
    assert seen(rest, 0.92, 0.0, REST_S) is None
    assert seen(rest, 0.89, 2000.0, REST_S) is not None
    assert seen(rest, 0.92, 4000.0, 30.0) is not None
    assert seen(rest, 0.95, 4100.0, 30.0) is None
    assert seen(rest, 0.92, 4200.0, REST_S) is None


def test_a_flood_that_is_short_enough_is_no_missing_water() -> None:
    """A longer one is."""
    rest = RestLevel()
    seen(rest, 0.94, 0.0, REST_S)
    assert seen(rest, 0.6, REST_S + 30.0, REST_S - 60.0) is None
    assert seen(rest, 0.6, 2.0 * REST_S, 60.0) is not None


@pytest.mark.parametrize("odd", [level(0.99, 1830.0, Quality.BAD), level(nan, 1830.0)])
def test_a_level_that_cannot_be_used_asks_for_nothing(odd: Verdict) -> None:
    """And is not remembered."""
    rest = RestLevel()
    assert seen(rest, 0.92, 0.0, REST_S) is None
    assert ask_water("bed1", AIM, odd, rest) is None
    assert rest.share(1830.0, REST_S) == 0.92


def test_without_a_water_pump_nothing_is_asked() -> None:
    """However low the level."""
    bare = WaterAim(below=0.9, fill_to=0.95, rest_s=REST_S, full_l=60.0, has_water=False)
    assert seen(RestLevel(), 0.5, 0.0, REST_S, bare) is None


@given(st.lists(st.floats(0.0, 1.2), min_size=1, max_size=80))
def test_the_level_at_rest_is_the_highest_of_the_window(shares: list[float]) -> None:
    """Whatever order they come in, looked at every 30 s."""
    rest = RestLevel()
    for i, share in enumerate(shares):
        rest.see(30.0 * i, share, 600.0)
    now_s = 30.0 * (len(shares) - 1)
    expected = max(shares[-21:]) if now_s >= 600.0 else None
    assert rest.share(now_s, 600.0) == expected
