"""The rig's table on its way to another process."""

from __future__ import annotations

import tomllib

from drivers.rig_table import table_from_text, table_to_text


def test_a_table_arrives_in_the_keeper_as_it_left() -> None:
    """The child opens its rig from the same values, dates and times among them."""
    table = tomllib.loads("""
        open = "x:y"
        seed = 1.5
        at = 2026-04-01T06:00:00Z
        day = 2026-04-01
        hour = 06:00:00
        tank.bed1.lines = [1, 2]
    """)
    assert table_from_text(table_to_text(table)) == table
