"""docs/bench.md says what the models say."""

from __future__ import annotations

import re
import tomllib

from sim_hw.describe import HEAD, PAGE, TABLES, page
from sim_hw.tables import check


def test_the_page_is_what_the_models_say() -> None:
    """A changed bound, default or description must be written out again: python -m sim_hw.describe."""
    assert PAGE.read_text(encoding="utf-8") == page()


def test_every_key_of_the_water_is_on_the_page() -> None:
    """As a row of its own, or as a table with a heading."""
    text = page()
    for _, model in TABLES:
        for key in model.model_fields:
            assert f"| `{key}` |" in text or f".{key}" in text or f"{key} = {{" in text, key


def test_the_example_is_accepted() -> None:
    """Its lines, taken as they stand, make a bench."""
    lines = re.findall(r"^    (.*)$", HEAD, re.MULTILINE)
    rig = tomllib.loads("\n".join(lines))["rig"]
    tank = check({"open": "sim_hw.bench:open_rig", **rig}).tank["bed1"]
    assert (tank.water, tank.system.kind, tank.spell[0].by_c) == ("hard", "ebb_and_flow", 8.0)
