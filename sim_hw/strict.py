"""The kind of table that the bench's settings are made of."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class Table(BaseModel):
    """Frozen, nothing unknown, numbers finite, no silent conversions."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, strict=True)
