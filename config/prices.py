"""What the crop's costs are reckoned from: prices that the grower enters, and what draws current."""

from __future__ import annotations

from pydantic import Field

from config.table import HomieId, Table

DEAREST = 10_000.0  # of anything, in any currency: more is a slip


class Prices(Table):
    """What things cost you, for the harvest book and report. What is left out is told as not known, never as 0.

    Write 0 for what is free, as rain water. A litre of a stock is of what is in the bottle, as the pump gives it.
    """

    currency: str = Field(
        min_length=1, max_length=12, description="the label beside every amount, as EUR; all are in this one"
    )
    water_per_m3: float | None = Field(default=None, ge=0.0, le=DEAREST, description="1000 L of source water")
    stock_a_per_l: float | None = Field(default=None, ge=0.0, le=DEAREST, description="a litre of stock A")
    stock_b_per_l: float | None = Field(default=None, ge=0.0, le=DEAREST, description="a litre of stock B")
    ph_down_per_l: float | None = Field(default=None, ge=0.0, le=DEAREST, description="a litre of pH down")
    ph_up_per_l: float | None = Field(default=None, ge=0.0, le=DEAREST, description="a litre of pH up")
    electricity_per_kwh: float | None = Field(default=None, ge=0.0, le=DEAREST, description="a kWh")
    plug_each: float | None = Field(
        default=None, ge=0.0, le=DEAREST, description="one plug to sow in, with the seeds in it"
    )
    shop_per_head: float | None = Field(
        default=None, ge=0.0, le=DEAREST, description="what such a head costs in the shop"
    )


class Appliance(Table):
    """Something that draws current for the crop: a lamp, an air pump, a circulation pump.

    What it uses is its rated power times its hours, on each day on which heads stand in its reservoirs; it is not
    measured, and nothing is switched by it.
    """

    rated_w: float = Field(gt=0.0, le=20_000.0, description="the power on its label")
    hours_per_day: float = Field(ge=0.0, le=24.0, description="how long it is on, as its timer says")
    on_at_h: float = Field(
        default=6.0,
        ge=0.0,
        lt=24.0,
        description="a lamp: when it comes on, as 6.5 for half past six by the clock",
    )
    light_umol_per_m2_s: float = Field(
        default=0.0,
        ge=0.0,
        le=2000.0,
        description="a lamp: the light it gives at the leaves; growth reckons with it",
    )
    reservoir: tuple[HomieId, ...] = Field(
        default=(),
        max_length=16,
        strict=False,
        description="the reservoirs whose heads it serves; left out, all",
    )
