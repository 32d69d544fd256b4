"""The garden's own tables of the settings: what is to be on the table each week, and where it is raised."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from config.table import HomieId, Table

Weekday = Literal["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"]


class Want(Table):
    """What the household wants of one variety, and the places for it. NAME begins the names of its batches."""

    crop: HomieId = Field(description="the crop's file by its name, as lettuce")
    variety: HomieId = Field(description="one of the crop's varieties, as butterhead")
    heads_per_week: float = Field(
        ge=0.02, le=500.0, description="the heads wanted each week; 0.5 is one a fortnight"
    )
    reservoir: HomieId = Field(description="the reservoir whose places it grows in")
    places: int = Field(ge=1, le=2000, description="the places (net cups) there that are for it")
    days_to_harvest: float | None = Field(
        default=None,
        ge=10.0,
        le=365.0,
        description="from sowing to the first good head in your room; left out, as the crop's file says",
    )


class Garden(Table):
    """What is to be on the table, and where it is raised: what `evenwater crop plan` reckons from."""

    crops_folder: str | None = Field(
        default=None, min_length=1, description="a folder of crop files of your own, from this file's folder on"
    )
    mix_file: str | None = Field(
        default=None,
        min_length=1,
        description="your mix file (docs/mixing.md), from this file's folder on, for the page",
    )
    nursery_plugs: int = Field(
        default=24, ge=1, le=5000, description="the plugs that there is room and light for"
    )
    nursery_batches: int = Field(
        default=2, ge=1, le=20, description="how many batches of one kind may stand in the nursery at once"
    )
    nursery_c: float = Field(
        default=20.0, ge=5.0, le=40.0, description="how warm the plugs are, for when seedlings come up"
    )
    walk_on: Weekday = Field(default="saturday", description="the day of the weekly look at every plant")
    want: dict[HomieId, Want] = Field(default={}, max_length=12)
