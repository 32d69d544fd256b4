"""docs/settings.md says what the models say."""

from __future__ import annotations

from config.describe import PAGE, page
from config.pump import Pump
from config.settings import Reservoir


def test_the_page_is_what_the_models_say() -> None:
    """A changed bound, default or description must be written out again: python -m config.describe."""
    assert PAGE.read_text(encoding="utf-8") == page()


def test_every_key_is_on_the_page_with_its_bounds() -> None:
    """No setting is undocumented."""
    text = page()
    for key in (*Pump.model_fields, *Reservoir.model_fields):
        if key not in ("bands", "ph", "ec", "water", "stage", "circulation", "tray", "probe", "pump"):
            assert f"| `{key}` |" in text
    assert "| `max_per_day_ml` | none | from 0 mL to 20000 mL |" in text
