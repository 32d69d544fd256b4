"""The daily light integral against published examples; daily_light.csv names each source."""

from __future__ import annotations

import re

import pytest

from daemon.measure.daily_light import QUARTER_S, QUARTERS, LightDay, integral_mol, lit
from tests.reference.published import rows

EXAMPLES = [
    (*map(float, re.findall(r"[0-9.]+", row["condition"].replace("m2", ""))), float(row["value"]))
    for row in rows("daily_light.csv", quantity="daily light integral")
]


@pytest.mark.parametrize(("umol", "hours", "mol"), EXAMPLES)
def test_a_lamp_for_so_many_hours(umol: float, hours: float, mol: float) -> None:
    """A look every minute of a day with the lamp on for so long: to 0.001 mol/m²."""
    day = LightDay()
    for minute in range(24 * 60):
        day = lit(day, umol if minute < hours * 60 else 0.0, minute * 60.0)
    assert integral_mol(day, QUARTERS * QUARTER_S) == pytest.approx(mol, abs=1e-3)


def test_there_is_something_to_compare() -> None:
    """No row went missing."""
    assert len(EXAMPLES) == 6
