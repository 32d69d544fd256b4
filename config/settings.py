"""What a settings file may hold: units in every key, bounds on every number, nothing unknown.

`config.load` reads a file into `Settings` and turns each complaint into one line a grower can act on.
"""

from __future__ import annotations

import re
from typing import Annotated, Any, Literal, Self

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

# Limits that no setting can raise. The reasons are physical.
HARD_MAX_RUN_S = 30.0  # a stuck run of a small pump stays within a bottle's safe share
HARD_MAX_PER_DAY_ML = 500.0  # more correction than this in a day means the water or the probe is wrong
HARD_MAX_SHARE_PER_DOSE = 0.001  # 1 mL per litre: no single dose may shock the roots
HARD_MAX_SHARE_PER_DAY = 0.01  # 10 mL per litre a day
HARD_MIN_GAP_S = 60.0  # a dose cannot have mixed and shown sooner

DEVICE_ID = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")


def _homie_id(text: str) -> str:
    if not DEVICE_ID.fullmatch(text):
        raise ValueError("may hold a-z, 0-9 and single hyphens between them")
    return text


HomieId = Annotated[str, Field(min_length=1, max_length=40), AfterValidator(_homie_id)]


class Table(BaseModel):
    """A table of the file: frozen, nothing unknown, numbers finite, no silent conversions."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, strict=True)


class Site(Table):
    name: str = Field(min_length=1, max_length=80)
    device_id: HomieId
    state_folder: str = "var"
    pass_every_s: float = Field(default=10.0, ge=1.0, le=60.0)


class RigTable(BaseModel):
    """`open` is ours; every other key belongs to the rig that it names, which checks them itself."""

    model_config = ConfigDict(extra="allow", frozen=True)
    open: str = Field(pattern=r"^[A-Za-z_][\w.]*:[A-Za-z_]\w*$")


class Mqtt(Table):
    enabled: bool = True
    host: str = "127.0.0.1"
    port: int = Field(default=1883, ge=1, le=65535)
    domain: HomieId = "homie"
    username: str | None = None
    password_credential: str | None = None  # a file name below $CREDENTIALS_DIRECTORY
    tls_ca_file: str | None = None
    heartbeat_s: float = Field(default=30.0, ge=5.0, le=300.0)


class Bands(Table):
    """What the crop bears. Alarms follow these; dosing aims inside them."""

    ph_low: float = Field(default=5.5, ge=3.0, le=9.0)
    ph_high: float = Field(default=6.5, ge=3.0, le=9.0)
    ec_low_ms_per_cm: float = Field(default=0.8, ge=0.0, le=10.0)
    ec_high_ms_per_cm: float = Field(default=1.6, ge=0.0, le=10.0)
    temperature_low_c: float = Field(default=16.0, ge=0.0, le=40.0)
    temperature_high_c: float = Field(default=24.0, ge=0.0, le=40.0)

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        for low, high in (
            ("ph_low", "ph_high"),
            ("ec_low_ms_per_cm", "ec_high_ms_per_cm"),
            ("temperature_low_c", "temperature_high_c"),
        ):
            if not getattr(self, low) < getattr(self, high):
                raise ValueError(f"{low} must be below {high}")
        return self


class PhControl(Table):
    """How pH is corrected: a PID whose output is mL, asked for only outside a dead band."""

    target: float = Field(default=6.0, ge=4.5, le=7.5)
    dead_band: float = Field(default=0.15, gt=0.0, le=1.0)  # no request while within target ± this
    ml_per_ph: float = Field(default=20.0, gt=0.0, le=500.0)  # prior: mL of reagent that move this tank by 1 pH
    share_of_need: float = Field(
        default=1 / 3, gt=0.0, le=0.5
    )  # ask for this part of the reckoned need at a time
    integral_per_h: float = Field(default=0.0, ge=0.0, le=10.0)
    derivative_h: float = Field(default=0.0, ge=0.0, le=10.0)


class Probe(BaseModel):
    """`driver` names a row of drivers.registry; that driver's own wiring model checks the other keys."""

    model_config = ConfigDict(extra="allow", frozen=True)
    driver: str


class Pump(Table):
    """A peristaltic pump: its GPIO line, its measured rate, its bottle, its caps. A cap left out is zero."""

    line: int = Field(ge=0, le=27)  # BCM number
    ml_per_s: float = Field(gt=0.0, le=20.0)
    bottle_ml: float = Field(gt=0.0, le=20000.0)
    max_per_dose_ml: float | None = Field(default=None, ge=0.0, le=HARD_MAX_PER_DAY_ML)
    max_per_hour_ml: float | None = Field(default=None, ge=0.0, le=HARD_MAX_PER_DAY_ML)
    max_per_day_ml: float | None = Field(default=None, ge=0.0, le=HARD_MAX_PER_DAY_ML)
    min_gap_s: float = Field(default=900.0, ge=HARD_MIN_GAP_S, le=86400.0)
    smallest_dose_ml: float = Field(default=0.2, gt=0.0, le=10.0)


RoleName = Literal["ph_down", "ph_up", "stock_a", "stock_b", "top_up"]
QuantityName = Literal["ph", "ec", "temperature", "level"]


class Reservoir(Table):
    title: str = Field(min_length=1, max_length=80)
    system: Literal["ebb_and_flow", "deep_water", "film", "still"]
    volume_l: float = Field(ge=2.0, le=2000.0)
    mixing_time_s: float = Field(ge=30.0, le=7200.0)
    start: Literal["keeping", "watching"] = "watching"
    opposite_gap_h: float = Field(default=6.0, ge=1.0, le=72.0)
    assumed_temperature_c: float | None = None
    ec_compensation: Literal["iso7888", "linear"] = "iso7888"
    ec_linear_percent_per_k: float = Field(default=2.0, ge=1.0, le=3.0)
    calibration_warn_days: float = Field(default=30.0, gt=0.0, le=365.0)
    calibration_expire_days: float = Field(default=60.0, gt=0.0, le=365.0)
    bands: Bands = Bands()
    ph: PhControl = PhControl()
    probe: dict[QuantityName, Probe] = {}
    pump: dict[RoleName, Pump] = {}


class Settings(Table):
    site: Site
    rig: RigTable
    mqtt: Mqtt = Mqtt()
    reservoir: dict[HomieId, Reservoir] = Field(min_length=1, max_length=16)

    def rig_table(self) -> dict[str, Any]:
        """The `[rig]` table as its opener gets it."""
        return self.rig.model_dump()
