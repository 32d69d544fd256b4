"""The table printed on a bottle."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import pytest

from config.label import wrong_buffer, wrong_conductivity
from config.settings import SHIPPED_STANDARDS, Settings
from daemon.measure.standards import SHIPPED
from daemon.values import Quantity
from tests.at_the_tank import raw_settings

WARMTH = (15.0, 20.0, 25.0, 30.0)
PH = (7.04, 7.02, 7.0, 6.99)
MS = (1.147, 1.278, 1.413, 1.552)


@pytest.mark.parametrize("name", SHIPPED.names(Quantity.PH))
def test_the_tables_that_ship_would_pass_as_labels_of_buffers(name: str) -> None:
    """NIST's and IUPAC's primaries and the technical ones."""
    row = SHIPPED.standard(Quantity.PH, name)
    assert wrong_buffer(row.temperatures_c, row.values) == ""


@pytest.mark.parametrize("name", SHIPPED.names(Quantity.EC))
def test_the_tables_that_ship_would_pass_as_labels_of_standards(name: str) -> None:
    """From 5 °C on; nearer to freezing potassium chloride rises by more than 3 % of its value a kelvin."""
    row = SHIPPED.standard(Quantity.EC, name)
    assert wrong_conductivity(row.temperatures_c[1:], row.values[1:]) == ""


@pytest.mark.parametrize(
    ("warmth", "values", "says"),
    [
        (WARMTH, PH[:3], "ph has 3 values for 4 temperatures"),
        (WARMTH[::-1], PH, "must rise from one to the next"),
        ((15.0, 20.0, 20.0, 30.0), PH, "must rise from one to the next"),
        ((15.0, 20.0, 25.0, 50.1), PH, "within 0 to 50 °C"),
        ((math.nan, 20.0, 25.0, 30.0), PH, "within 0 to 50 °C"),
        (WARMTH, (7.04, 7.02, 70.0, 6.99), "each must be 1 to 13"),
        (WARMTH, (7.04, math.nan, 7.0, 6.99), "each must be 1 to 13"),
        (WARMTH, (7.04, 7.02, 7.3, 6.99), "ph goes from 7.02 to 7.3 between 20 and 25 °C: no buffer is so steep"),
    ],
)
def test_a_slip_in_a_buffers_table_is_named(warmth: Sequence[float], values: Sequence[float], says: str) -> None:
    """Counts, order, span and steepness."""
    assert says in wrong_buffer(warmth, values)
    assert wrong_buffer(WARMTH, PH) == ""


@pytest.mark.parametrize(
    ("values", "says"),
    [
        ((1413.0, 1413.0, 1413.0, 1413.0), "each must be 0.01 to 200"),
        ((1.413, 1.413, 1.413, 1.413), "not those brought to 25 °C"),
        ((1.147, 1.278, 1.413, 1.71), "between 25 and 30 °C"),
    ],
)
def test_a_slip_in_a_conductivity_table_is_named(values: Sequence[float], says: str) -> None:
    """µS for mS, values already brought to 25 °C, a wrong digit."""
    assert says in wrong_conductivity(WARMTH, values)
    assert wrong_conductivity(WARMTH, MS) == ""


def settings_with(name: str, **table: Any) -> Settings:
    return Settings.model_validate({**raw_settings(), "standard": {name: table}})


def test_a_bottle_of_ones_own_is_read() -> None:
    """As lists in the file."""
    own = settings_with("my-7", temperature_c=list(WARMTH), ph=list(PH)).standard["my-7"]
    assert (own.temperature_c, own.ph, own.ms_per_cm) == (WARMTH, PH, None)


@pytest.mark.parametrize(
    ("name", "table", "says"),
    [
        ("my-7", {"temperature_c": list(WARMTH)}, "either ph or ms_per_cm"),
        (
            "my-7",
            {"temperature_c": list(WARMTH), "ph": list(PH), "ms_per_cm": list(MS)},
            "either ph or ms_per_cm",
        ),
        ("my-7", {"temperature_c": list(WARMTH), "ms_per_cm": [1.4] * 4}, "not those brought to 25"),
        ("my-7", {"temperature_c": [25.0], "ph": [7.0]}, "at least 2 items"),
        ("borax", {"temperature_c": list(WARMTH), "ph": list(PH)}, "a standard that ships"),
        ("7", {"temperature_c": list(WARMTH), "ph": list(PH)}, "a standard that ships"),
        ("my-7", {"temperature_c": list(WARMTH), "ph": list(PH), "brand": "x"}, "brand"),
    ],
)
def test_a_bottle_that_cannot_be_is_refused(name: str, table: dict[str, Any], says: str) -> None:
    """At the start, with what is wrong."""
    with pytest.raises(ValueError, match=says):
        settings_with(name, **table)


def test_the_names_that_ship_are_known_here() -> None:
    """Those of config/standards.toml that a bottle's name could be."""
    names = SHIPPED.names(Quantity.PH) + SHIPPED.names(Quantity.EC)
    assert {name for name in names if name.isalnum() and name.islower()} == set(SHIPPED_STANDARDS)
