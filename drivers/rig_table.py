"""A `[rig]` table as one line of text, so that another process can open the same rig."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping
from typing import Any, Final

TOML_VALUE: Final = "toml value"


def table_to_text(table: Mapping[str, Any]) -> str:
    """A TOML table as JSON. A date or a time, which JSON has not, becomes `{TOML_VALUE: text}`."""
    return json.dumps(dict(table), default=lambda value: {TOML_VALUE: value.isoformat()})


def table_from_text(text: str) -> dict[str, Any]:
    """The table that table_to_text wrote."""

    def restored(found: dict[str, Any]) -> Any:
        return tomllib.loads(f"value = {found[TOML_VALUE]}")["value"] if TOML_VALUE in found else found

    table: dict[str, Any] = json.loads(text, object_hook=restored)
    return table
