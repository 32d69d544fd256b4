"""The room around a tank: warm and cool hours, warm and cold spells, light and dark."""

from __future__ import annotations

from collections.abc import Iterable
from math import pi, sin
from typing import Self

from pydantic import Field, model_validator

from sim_hw.strict import Table

S_PER_DAY = 86400.0
S_PER_H = 3600.0

_WARMEST_AT_H = 15.0  # a room is warmest in mid-afternoon (own choice)


class Spell(Table):
    """Days on which the water is warmer or colder than usual: a heat wave, a broken chiller. Spells add up."""

    from_day: float = Field(ge=0.0, le=3650.0, description="after the start: when it comes on")
    until_day: float = Field(gt=0.0, le=3650.0, description="after the start: when it goes off again")
    by_c: float = Field(ge=-25.0, le=25.0, description="how much warmer; negative is colder")
    ramp_h: float = Field(default=12.0, ge=0.0, le=240.0, description="that it takes to come on, and to go off")

    @model_validator(mode="after")
    def _ends_after_start(self) -> Self:
        if not self.from_day < self.until_day:
            raise ValueError(f"until_day = {self.until_day:g}: must be after from_day = {self.from_day:g}")
        return self

    def now_c(self, since_start_s: float) -> float:
        """What it adds to the usual temperature at this moment, in °C."""
        ramp_days = max(1e-9, self.ramp_h / 24.0)
        day = since_start_s / S_PER_DAY
        come = (day - self.from_day) / ramp_days
        gone = (day - self.until_day) / ramp_days
        return self.by_c * (min(1.0, max(0.0, come)) - min(1.0, max(0.0, gone)))


def temperature_c(mean_c: float, swing_c: float, day_s: float) -> float:
    """Of an ordinary day: warmest in mid-afternoon, by the swing above the mean. day_s: seconds into the day."""
    turn = 2.0 * pi * (day_s - _WARMEST_AT_H * S_PER_H) / S_PER_DAY
    return mean_c + swing_c * sin(turn + pi / 2.0)


def spells_c(spells: Iterable[Spell], since_start_s: float) -> float:
    """What all spells together add, in °C."""
    return sum(spell.now_c(since_start_s) for spell in spells)


def daylight(on_h: float, off_h: float, day_s: float) -> float:
    """Light now over its mean of the whole day: half a sine from on_h to off_h, 0 in the dark."""
    lit_h = off_h - on_h
    through = (day_s / S_PER_H - on_h) / lit_h
    if not (0.0 < through < 1.0):
        return 0.0
    return sin(pi * through) * (pi / 2.0) * 24.0 / lit_h
