"""Oxygen at saturation against its published equation; dissolved_oxygen.csv names each source.

Its rows are the equation of Benson & Krause 1984, Limnol. Oceanogr. 29:620, computed elsewhere, gsw 3.6.23
(another fit to the same measurements, for sea water) and the table of Standard Methods 4500-O as it is printed.
"""

from __future__ import annotations

import pytest

from daemon.crop.climate import BENSON_KRAUSE, oxygen_mg_per_l
from tests.reference.published import by_temperature, rows

TABLE = "dissolved_oxygen.csv"
OF = "dissolved oxygen at saturation, {}"


def test_the_coefficients_are_those_of_the_table() -> None:
    """All five, to the last digit."""
    printed = [float(row["value"]) for row in rows(TABLE) if row["quantity"].startswith("coefficient")]
    assert list(BENSON_KRAUSE) == printed


@pytest.mark.parametrize(
    ("which", "within", "count"),
    [("fresh water, 1 atm moist air", 0.0006, 36), ("independent", 0.002, 8), ("printed table", 0.005, 7)],
)
def test_full_water_holds_what_is_published(which: str, within: float, count: int) -> None:
    """From 0 to 35 °C: to the last digit, within 0.002 of another fit, and as printed to 0.01 mg/L."""
    published = by_temperature(TABLE, quantity=OF.format(which))
    assert len(published) == count
    for celsius, mg_per_l in published.items():
        assert oxygen_mg_per_l(celsius) == pytest.approx(mg_per_l, abs=within), celsius
