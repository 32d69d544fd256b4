"""Values as JSON can say them."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import TypeAdapter

from daemon.link.plain import plain, utc_text
from daemon.values import Quantity, Role, State
from tests.link.states import alarm, state


def test_a_state_comes_back_whole_from_its_json() -> None:
    """Nothing is lost on the way through the control socket."""
    before = state(3, alarms=(alarm(),))
    assert TypeAdapter(State).validate_python(json.loads(json.dumps(plain(before)))) == before


def test_enums_as_keys_and_values_become_their_value() -> None:
    """Readers outside know the words, not our names for them."""
    assert plain({Quantity.PH: Role.PH_DOWN}) == {"ph": "ph_down"}


@pytest.mark.parametrize("number", [float("nan"), float("inf"), float("-inf")])
def test_a_number_that_is_not_finite_is_none(number: float) -> None:
    """JSON has no word for it."""
    assert plain([number, None, True, 2]) == [None, None, True, 2]


@settings(max_examples=40)
@given(st.recursive(st.floats() | st.none() | st.booleans() | st.text(), st.lists))
def test_what_comes_out_is_always_strict_json(value: object) -> None:
    """No value of the house can make a line that other programs cannot read."""
    json.dumps(plain(value), allow_nan=False)


def test_moments_are_utc_and_end_in_z() -> None:
    """A moment in another zone is the same moment."""
    east = datetime(2026, 3, 1, 8, 0, tzinfo=timezone(timedelta(hours=2)))
    assert utc_text(east) == "2026-03-01T06:00:00.000Z" == utc_text(datetime(2026, 3, 1, 6, 0, tzinfo=UTC))


def test_a_moment_without_a_zone_is_refused() -> None:
    """It would be a guess which moment is meant."""
    with pytest.raises(ValueError, match="time zone"):
        plain(datetime(2026, 3, 1, 6, 0))


def test_a_thing_json_cannot_say_is_refused() -> None:
    """Better an error than its address as text."""
    with pytest.raises(TypeError, match="object"):
        plain(object())
