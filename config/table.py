"""What every table of a settings file has in common."""

from __future__ import annotations

import re
from typing import Annotated

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

DEVICE_ID = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")


def _homie_id(text: str) -> str:
    if not DEVICE_ID.fullmatch(text):
        raise ValueError("may hold a-z, 0-9 and single hyphens between them")
    return text


HomieId = Annotated[str, Field(min_length=1, max_length=40), AfterValidator(_homie_id)]


class Table(BaseModel):
    """A table of the file: frozen, nothing unknown, numbers finite, no silent conversions."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, strict=True)
