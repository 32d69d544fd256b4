"""A pump's table, and the limits that no setting can raise."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal, NamedTuple

from pydantic import AfterValidator, Field

from config.table import Table

# Limits that no setting can raise. The reasons are physical.
HARD_MAX_RUN_S = 30.0  # a stuck run of a small pump stays within a bottle's safe share
HARD_MAX_PER_DAY_ML = 500.0  # more correction than this in a day means the water or the probe is wrong
HARD_MAX_SHARE_PER_DOSE = 0.001  # 1 mL per litre: no single dose may shock the roots
HARD_MAX_SHARE_PER_DAY = 0.01  # 10 mL per litre a day
HARD_MAX_WATER_PER_DAY_ML = 20_000.0  # a pump that tops up more than this in a day feeds a leak
HARD_MAX_WATER_SHARE_PER_DOSE = 0.02  # in one run the level can still be believed
HARD_MAX_WATER_SHARE_PER_DAY = 0.25  # plants of a full bed drink 5 to 15 % a day (common practice)
HARD_MIN_GAP_S = 60.0  # a dose cannot have mixed and shown sooner
MIXING_TIMES = 3.0  # each takes 95 % of what is left; were the setting only a time constant, 95 % in all

RoleName = Literal["ph_down", "ph_up", "stock_a", "stock_b", "top_up"]

# Header lines where a pump, or the cut-out, must not sit: until the program claims them, they are not held low.
PULLED_UP = "is pulled up from power-on until the program runs, which would turn the pump on"
UNSAFE_PUMP_LINES = {
    0: PULLED_UP + " (and is kept for the board's identity memory)",
    1: PULLED_UP + " (and is kept for the board's identity memory)",
    2: PULLED_UP + " (and is the I2C bus, with a fixed resistor)",
    3: PULLED_UP + " (and is the I2C bus, with a fixed resistor)",
    **dict.fromkeys(range(4, 9), PULLED_UP),
    14: "is the serial console's output, high while the board starts",
    15: "is the serial console's input, pulled up while the console is on",
}


def _pump_line(line: int) -> int:
    reason = UNSAFE_PUMP_LINES.get(line)
    if reason is not None:
        raise ValueError(f"GPIO {line} {reason}; move it to one of GPIO 9-13 or 16-27")
    return line


PumpLine = Annotated[int, AfterValidator(_pump_line)]


class Pump(Table):
    """A peristaltic pump: its GPIO line, its measured rate, its bottle, its caps. A cap left out is zero."""

    line: PumpLine = Field(ge=0, le=27, description="the GPIO (BCM) number of the pump's driver")
    ml_per_s: float = Field(gt=0.0, le=20.0, description="what the pump delivers, measured with a cylinder")
    measured_on: date | None = Field(
        default=None,
        description="the day ml_per_s was measured, as 2026-03-02 without quotes; `evenwater calibrate pump` "
        "keeps its own",
    )
    tube_hours: float | None = Field(
        default=None,
        gt=0.0,
        le=10000.0,
        description="how long a tube lasts, running, as its maker says; left out, nothing reminds of it",
    )
    bottle_ml: float = Field(gt=0.0, le=20000.0, description="what a full bottle holds")
    max_per_dose_ml: float | None = Field(
        default=None,
        ge=0.0,
        le=HARD_MAX_WATER_PER_DAY_ML,
        description="the most one dose may be; left out, this pump does not dose",
    )
    max_per_hour_ml: float | None = Field(
        default=None,
        ge=0.0,
        le=HARD_MAX_WATER_PER_DAY_ML,
        description="the most in any hour; left out, this pump does not dose",
    )
    max_per_day_ml: float | None = Field(
        default=None,
        ge=0.0,
        le=HARD_MAX_WATER_PER_DAY_ML,
        description="the most in any 24 hours; left out, this pump does not dose",
    )
    min_gap_s: float = Field(
        default=900.0,
        ge=HARD_MIN_GAP_S,
        le=86400.0,
        description="the shortest wait between two doses of this pump",
    )
    smallest_dose_ml: float = Field(
        default=0.2, gt=0.0, le=10.0, description="the least the pump can deliver truly"
    )
    reagent_mol_per_l: float | None = Field(
        default=None,
        ge=0.001,
        le=20.0,
        description="of pH down or pH up: acid or base in the bottle as it counts near pH 6: phosphoric acid "
        "once, sulfuric acid twice",
    )


class HardLimits(NamedTuple):
    """What no setting can raise, for one kind of pump."""

    per_day_ml: float
    share_per_dose: float
    share_per_day: float


REAGENT_LIMITS = HardLimits(HARD_MAX_PER_DAY_ML, HARD_MAX_SHARE_PER_DOSE, HARD_MAX_SHARE_PER_DAY)
WATER_LIMITS = HardLimits(HARD_MAX_WATER_PER_DAY_ML, HARD_MAX_WATER_SHARE_PER_DOSE, HARD_MAX_WATER_SHARE_PER_DAY)


def hard_limits(role: str) -> HardLimits:
    """Those of a pump with this role: plain water may be more than what is mixed into it."""
    return WATER_LIMITS if role == "top_up" else REAGENT_LIMITS
