"""The last day in a few lines."""

from __future__ import annotations

from daemon.crop.risk import Spread
from daemon.summary import summary
from tests.link.states import alarm, state


def test_how_it_is_and_was_and_what_calls() -> None:
    """Values with their range, doses, bottles, alarms; a quantity without a past shows its value alone."""
    said = summary(state(1, alarms=(alarm(),)), {("bed1", "ph"): Spread(5.81, 6.0, 6.2)})
    assert "Bed1 is keeping: pH 6.02 (5.81 to 6.20); EC 1.20 mS/cm; " in said
    assert "pH down 3.5 mL, bottle 996 mL left" in said or "pH down 3.5 mL, bottle 997 mL left" in said
    assert said.endswith("Alarms: bed1-ph-probe.")
    assert summary(state(1), {}).endswith("Alarms: none.")


def test_what_threatens_the_crop_is_told_by_the_day() -> None:
    """Water of 24.6 °C in the mean; a mild day says nothing."""
    warm = summary(state(1), {("bed1", "temperature"): Spread(22.0, 24.6, 26.0)})
    assert "risk of root rot raised: water 24.6 °C in the mean (limit 23); " in warm
    assert "risk" not in summary(state(1), {("bed1", "temperature"): Spread(19.0, 20.0, 21.0)})
