"""Tests of config/settings.py, pump.py, table.py: limits no setting can raise, lines no pump may sit on."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from config import pump as pump_table
from config.pump import Pump
from config.settings import Bands, CutOut, PhControl, Reservoir

SAFE_LINES = (*range(9, 14), *range(16, 28))


def pump(line: int) -> Pump:
    """A pump on a line."""
    return Pump(line=line, ml_per_s=1.0, bottle_ml=1000.0)


@pytest.mark.parametrize("line", SAFE_LINES)
def test_a_pump_may_sit_where_the_board_holds_it_low(line: int) -> None:
    """GPIO 9-13 and 16-27 are pulled down from power-on (Raspberry Pi HAT design guide)."""
    assert pump(line).line == line


@pytest.mark.parametrize("line", sorted(set(range(28)) - set(SAFE_LINES)))
def test_a_pump_may_not_sit_where_it_would_turn_at_power_on(line: int) -> None:
    """GPIO 0-8 are pulled up, 14 and 15 are the console; the message says so and where to go."""
    with pytest.raises(ValidationError, match=f"GPIO {line} is .*move it to one of GPIO 9-13 or 16-27"):
        pump(line)


@pytest.mark.parametrize("line", [-1, 28, *sorted(set(range(28)) - set(SAFE_LINES))])
def test_a_cut_out_needs_a_line_as_a_pump_does(line: int) -> None:
    """A relay that the board energises at power-on cuts nothing out."""
    assert [CutOut(line=safe).line for safe in SAFE_LINES] == list(SAFE_LINES)
    with pytest.raises(ValidationError):
        CutOut(line=line)


@pytest.mark.parametrize("line", [-1, 28])
def test_a_pump_needs_a_line_of_the_header(line: int) -> None:
    """There are 28."""
    with pytest.raises(ValidationError):
        pump(line)


def test_the_limits_of_the_code_are_these() -> None:
    """Whoever raises one has to say so here as well."""
    limits = {name: value for name, value in vars(pump_table).items() if name.startswith("HARD_")}
    assert limits == {
        "HARD_MAX_RUN_S": 30.0,
        "HARD_MAX_PER_DAY_ML": 500.0,
        "HARD_MAX_SHARE_PER_DOSE": 0.001,
        "HARD_MAX_SHARE_PER_DAY": 0.01,
        "HARD_MAX_WATER_PER_DAY_ML": 20000.0,
        "HARD_MAX_WATER_SHARE_PER_DOSE": 0.02,
        "HARD_MAX_WATER_SHARE_PER_DAY": 0.25,
        "HARD_MIN_GAP_S": 60.0,
    }


@pytest.mark.parametrize(
    ("key", "beyond"),
    [
        ("max_per_dose_ml", 20000.1),
        ("max_per_hour_ml", 20000.1),
        ("max_per_day_ml", 20000.1),
        ("min_gap_s", 59.9),
    ],
)
def test_no_key_of_a_pump_goes_beyond_the_code(key: str, beyond: float) -> None:
    """A hair further than the built-in limit is refused where it is read."""
    with pytest.raises(ValidationError, match=key):
        Pump.model_validate({**pump(17).model_dump(), key: beyond})


@pytest.mark.parametrize("share_of_need", [0.51, 1.0, 0.0])
def test_never_more_than_half_the_need_is_asked_for_at_a_time(share_of_need: float) -> None:
    """Two that kept the same water would then still not overshoot."""
    with pytest.raises(ValidationError, match="share_of_need"):
        PhControl(share_of_need=share_of_need)


@pytest.mark.parametrize("hours", [0.0, 0.9])
def test_acid_and_base_are_an_hour_apart_at_least(hours: float) -> None:
    """Sooner they would only fight."""
    with pytest.raises(ValidationError, match="opposite_gap_h"):
        Reservoir(title="Bed", system="still", volume_l=20.0, mixing_time_s=600.0, opposite_gap_h=hours)


def test_caps_are_absent_until_set() -> None:
    """What is left out is None here and zero to the permit."""
    bare = pump(17)
    assert (bare.max_per_dose_ml, bare.max_per_hour_ml, bare.max_per_day_ml) == (None, None, None)


def test_a_reservoir_watches_until_told_to_keep() -> None:
    """Nothing doses by default."""
    assert Reservoir(title="Bed", system="still", volume_l=20.0, mixing_time_s=600.0).start == "watching"


@pytest.mark.parametrize("low", [6.5, 6.6])
def test_a_band_has_its_low_end_below_its_high_end(low: float) -> None:
    """Equal ends leave no room."""
    with pytest.raises(ValidationError, match=rf"ph_low = {low} must be below ph_high = 6\.5"):
        Bands(ph_low=low, ph_high=6.5)
