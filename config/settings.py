"""What a settings file may hold: units in every key, bounds on every number, nothing unknown.

`config.load` reads a file into `Settings` and turns each complaint into one line a grower can act on.
"""

from __future__ import annotations

import re
from datetime import date
from typing import Annotated, Any, Literal, Self

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

from config.garden import Garden
from config.label import wrong_buffer, wrong_conductivity
from config.notify import Notify
from config.prices import Appliance, Prices
from config.pump import Pump, PumpLine, RoleName
from config.table import HomieId, Table
from drivers.reference import ReferenceInput
from drivers.registry import check_probe
from drivers.wiring import Wiring

USUAL_STOCK_ML_PER_L = 5.0
"""mL of stock A per litre, with as much B, that raise strength by 1 mS/cm: 100-fold stocks (common practice)."""

USUAL_DRUNK_SHARE_PER_H = 0.004
"""Of the full reservoir, by a full bed in bright light: 5 % a day, most of it by day (common practice)."""

USUAL_ML_PER_PH_AND_L = 0.3
"""mL of pH down that move a litre by 1 pH: 0.5 mol/L into water of little alkalinity (our own choice, low)."""


class Site(Table):
    name: str = Field(min_length=1, max_length=80, description="the name people see")
    device_id: HomieId = Field(description="its name on MQTT, as quince-lane")
    state_folder: str = Field(
        default="var", min_length=1, description="the folder for ledger, calibrations and control socket"
    )
    summary_at_hour: int = Field(
        default=6, ge=0, le=23, description="the hour, in UTC, at which the day is summed up on MQTT"
    )
    history_days: float = Field(
        default=800.0, ge=1.0, le=4000.0, description="how long each minute's readings are kept; hours stay"
    )
    pass_every_s: float = Field(
        default=10.0, ge=1.0, le=60.0, description="the time from one look at the probes to the next"
    )


class RigTable(BaseModel):
    """`open` is ours; every other key belongs to the rig that it names, which checks them itself."""

    model_config = ConfigDict(extra="allow", frozen=True)
    open: str = Field(
        pattern=r"^[A-Za-z_][\w.]*:[A-Za-z_]\w*$",
        description='the function that opens the wiring, as "drivers.pi:open_rig"',
    )


class Mqtt(Table):
    enabled: bool = Field(default=True, description="whether to speak MQTT at all")
    host: str = Field(default="127.0.0.1", min_length=1, description="the broker's name or address")
    port: int = Field(default=1883, ge=1, le=65535, description="the broker's port")
    domain: HomieId = Field(default="homie", description="the first level of every topic")
    username: str | None = Field(default=None, description="who to be at the broker")
    password_credential: str | None = Field(
        default=None, description="the file below $CREDENTIALS_DIRECTORY that holds the password"
    )
    tls_ca_file: str | None = Field(
        default=None, description="the certificate that signed the broker's; set, TLS is used"
    )
    client_certificate_credential: str | None = Field(
        default=None,
        description="the file below $CREDENTIALS_DIRECTORY with the box's own certificate, where the broker asks "
        "for one",
    )
    client_key_credential: str | None = Field(
        default=None, description="likewise the key that belongs to it, without a passphrase"
    )
    release_controllers: tuple[HomieId, ...] = Field(
        default=(),
        max_length=8,
        strict=False,
        description="who may release over MQTT, each with a key in the credential key-NAME; nobody by default",
    )
    heartbeat_s: float = Field(
        default=30.0, ge=5.0, le=300.0, description="the time between signs of life on MQTT"
    )

    @model_validator(mode="after")
    def _whole(self) -> Self:
        ours = (self.client_certificate_credential, self.client_key_credential)
        if (ours[0] is None) != (ours[1] is None):
            raise ValueError("client_certificate_credential and client_key_credential belong together: set both")
        if ours[0] is not None and self.tls_ca_file is None:
            raise ValueError(
                "client_certificate_credential needs tls_ca_file: a certificate is shown only over TLS"
            )
        return self


class Bands(Table):
    """What the crop bears. Alarms follow these; dosing aims inside them."""

    ph_low: float = Field(default=5.5, ge=3.0, le=9.0, description="the lowest pH the crop bears")
    ph_high: float = Field(default=6.5, ge=3.0, le=9.0, description="the highest pH the crop bears")
    ec_low_ms_per_cm: float = Field(
        default=0.8, ge=0.0, le=10.0, description="the weakest solution the crop bears"
    )
    ec_high_ms_per_cm: float = Field(
        default=1.6, ge=0.0, le=10.0, description="the strongest solution the crop bears"
    )
    temperature_low_c: float = Field(
        default=16.0, ge=0.0, le=40.0, description="the coldest water the crop bears"
    )
    temperature_high_c: float = Field(
        default=24.0, ge=0.0, le=40.0, description="the warmest water the crop bears"
    )

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        for low, high in (
            ("ph_low", "ph_high"),
            ("ec_low_ms_per_cm", "ec_high_ms_per_cm"),
            ("temperature_low_c", "temperature_high_c"),
        ):
            at_low, at_high = getattr(self, low), getattr(self, high)
            if not at_low < at_high:
                raise ValueError(f"{low} = {at_low:g} must be below {high} = {at_high:g}; widen the band")
        return self


class Stage(Table):
    """A stage of the crop: what it asks for. What is left out is as the reservoir's own tables say."""

    name: str = Field(min_length=1, max_length=40, description="the name people see, as seedling or finishing")
    from_day: float = Field(ge=0.0, le=365.0, description="the days after sowing from which it holds")
    ph_target: float | None = Field(default=None, ge=4.5, le=7.5, description="the pH that dosing aims at")
    ec_target_ms_per_cm: float | None = Field(
        default=None, ge=0.2, le=5.0, description="the strength that dosing aims at, at 25 °C"
    )
    bands: Bands | None = None


class PhControl(Table):
    """How pH is corrected: by what this tank answers to a dose, which it shows from dose to dose."""

    target: float = Field(default=6.0, ge=4.5, le=7.5, description="the pH that dosing aims at")
    dead_band: float = Field(
        default=0.03,
        ge=0.02,
        le=1.0,
        description="the distance from the target within which nothing is dosed; wider by itself where the probe "
        "is noisy or the pump's smallest dose moves more",
    )
    ml_per_ph: float | None = Field(
        default=None,
        gt=0.0,
        le=500.0,
        description="a first guess of the reagent that moves this tank by 1 pH; left out, reckoned from "
        "alkalinity_mmol_per_l and reagent_mol_per_l where both are given, else "
        f"{USUAL_ML_PER_PH_AND_L:g} mL for each litre",
    )
    share_of_need: float = Field(
        default=1 / 3,
        gt=0.0,
        le=0.5,
        description="the part of the reckoned need that is asked for at a time, until three doses have shown "
        "what this tank answers",
    )


class EcControl(Table):
    """How strength is corrected: stock A and B as a pair up to the target, water down to it."""

    target_ms_per_cm: float = Field(
        default=1.2, ge=0.2, le=5.0, description="the strength that dosing aims at, at 25 °C"
    )
    dead_band_ms_per_cm: float = Field(
        default=0.08, ge=0.02, le=1.0, description="the distance from the target within which nothing is dosed"
    )
    stock_a_ml_per_ms_per_cm: float | None = Field(
        default=None,
        gt=0.0,
        le=20000.0,
        description="a first guess of the stock A, given with its B, that raises the full reservoir by 1 mS/cm; "
        f"left out, {USUAL_STOCK_ML_PER_L:g} mL for each litre",
    )
    stock_b_ml_per_a_ml: float = Field(
        default=1.0, ge=0.2, le=5.0, description="the stock B that belongs to each mL of stock A"
    )
    share_of_need: float = Field(
        default=0.5, gt=0.0, le=0.5, description="the part of the reckoned need that is asked for at a time"
    )


class Water(Table):
    """How the water pump (`pump.top_up`) keeps the level, and dilutes what is too strong."""

    top_up_below_share: float = Field(
        default=0.9, ge=0.4, le=0.99, description="the share of the full reservoir below which water is added"
    )
    fill_to_share: float = Field(
        default=0.95, ge=0.5, le=1.0, description="the share of the full reservoir to which water is added"
    )
    longest_flood_min: float = Field(
        default=45.0,
        ge=1.0,
        le=240.0,
        description="ebb and flow: the longest that the level is low because the bed is flooded",
    )
    most_drunk_l_per_h: float | None = Field(
        default=None,
        gt=0.0,
        le=100.0,
        description="the most that plants and air take in an hour; a level that falls twice as fast is a leak; "
        f"left out, {USUAL_DRUNK_SHARE_PER_H * 100:g} % of the reservoir",
    )
    change_out_days: float = Field(
        default=21.0, gt=0.0, le=365.0, description="the age of the water at which new water is advised"
    )
    change_out_fills: float = Field(
        default=2.0,
        gt=0.0,
        le=20.0,
        description="new water is also advised once so many fillings' worth of stock were fed into the old",
    )
    dilute: bool = Field(default=True, description="whether water is added to a solution that is too strong")


class Probe(BaseModel):
    """`driver` names a row of drivers.registry; that driver's own wiring model checks the other keys."""

    model_config = ConfigDict(extra="allow", frozen=True)
    driver: str = Field(description='the circuit it is behind, as "ph_amplifier"')

    def wired(self) -> Wiring:
        """How it is wired, by its driver's model. Raises as `check_probe`, which a loaded file has passed."""
        return check_probe(self.driver, self.model_dump())


class Circulation(Table):
    """A contact that proves the water is stirred: a flow switch, or a relay that turns with the pump.

    `closed_means = "running"` is the safe way round: a broken wire then reads as still water, and nothing
    is dosed.
    """

    line: int = Field(ge=0, le=27, description="the GPIO (BCM) number it is wired to, against ground")
    closed_means: Literal["running", "stopped"] = Field(
        default="running", description="what the closed contact says"
    )


class Tray(Table):
    """A water sensor in the tray below pumps and bottles: wet, it locks the reservoir.

    `closed_means = "dry"` is the safe way round: a broken wire then reads as wet.
    """

    line: int = Field(ge=0, le=27, description="the GPIO (BCM) number it is wired to, against ground")
    closed_means: Literal["dry", "wet"] = Field(default="dry", description="what the closed contact says")


QuantityName = Literal[
    "ph",
    "ec",
    "temperature",
    "level",
    "air_temperature",
    "humidity",
    "light",
    "ph_2",
    "ec_2",
    "temperature_2",
]


class Reservoir(Table):
    title: str = Field(min_length=1, max_length=80, description="the name people see")
    system: Literal["ebb_and_flow", "deep_water", "film", "still"] = Field(
        description="ebb_and_flow, deep_water, film or still"
    )
    volume_l: float = Field(ge=2.0, le=2000.0, description="the water in the full reservoir")
    mixing_time_s: float = Field(
        ge=30.0, le=7200.0, description="the time in which 95 % of a dose has spread through the whole reservoir"
    )
    start: Literal["keeping", "watching"] = Field(
        default="watching", description="watching measures only, keeping corrects by itself"
    )
    opposite_gap_h: float = Field(
        default=6.0, ge=1.0, le=72.0, description="the shortest wait between acid and base"
    )
    alkalinity_mmol_per_l: float | None = Field(
        default=None,
        ge=0.0,
        le=10.0,
        description="of the water it is filled with (50 mg/L CaCO3 are 1 mmol/L): what acid has to use up first",
    )
    assumed_temperature_c: float | None = Field(
        default=None, ge=0.0, le=50.0, description="the water temperature reckoned with when none is measured"
    )
    ec_compensation: Literal["iso7888", "linear"] = Field(
        default="iso7888", description="how EC is brought to 25 °C"
    )
    ec_linear_percent_per_k: float = Field(
        default=2.0, ge=1.0, le=3.0, description="the change of EC with temperature"
    )
    calibration_warn_days: float = Field(
        default=30.0, gt=0.0, le=365.0, description="the age at which a calibration should be renewed"
    )
    calibration_expire_days: float = Field(
        default=60.0, gt=0.0, le=365.0, description="the age from which dosing no longer rests on a calibration"
    )
    pump_rate_warn_days: float = Field(
        default=60.0,
        gt=0.0,
        le=365.0,
        description="the age at which a pump's mL per second should be measured again",
    )
    pump_rate_expire_days: float = Field(
        default=90.0,
        gt=0.0,
        le=365.0,
        description="the age beyond which a pump no longer doses by its mL per second",
    )
    sown_on: date | None = Field(
        default=None, description="the day the crop was sown, as 2026-03-01: what its stages count from"
    )
    stage_ramp_days: float = Field(
        default=3.0, ge=0.5, le=30.0, description="how long the change from one stage to the next takes"
    )
    crop: HomieId | None = Field(
        default=None,
        description="the crop whose file says what its stages ask for, within this reservoir's bands, by the "
        "youngest batch that the diary has in it; stages of your own win",
    )
    stage: tuple[Stage, ...] = Field(default=(), max_length=12, strict=False)
    bands: Bands = Bands()
    ph: PhControl = PhControl()
    ec: EcControl = EcControl()
    water: Water = Water()
    circulation: Circulation | None = None
    tray: Tray | None = None
    probe: dict[QuantityName, Probe] = Field(default_factory=dict)
    pump: dict[RoleName, Pump] = Field(default_factory=dict)


class CutOut(Table):
    """A relay in series with the supply of all pumps, energised for each run and at no other time.

    Its contact is a normally-open one: without power, or with a broken wire, no pump turns.
    """

    line: PumpLine = Field(
        ge=0,
        le=27,
        description="the GPIO (BCM) number of the driver of the relay, in series with the supply of all pumps",
    )


class Signal(Table):
    """A lamp or buzzer at the box, on while an alarm of high priority is unheard or nobody can be reached."""

    line: int = Field(ge=0, le=27, description="the GPIO (BCM) number of the lamp or buzzer, high is on")


class Standard(Table):
    """A bottle of your own, by the table printed on its label. Call it by its NAME when calibrating.

    Either `ph`, or `ms_per_cm` as it is at each temperature (not brought to 25 °C). In between one reckons in
    straight lines, and never beyond the ends.
    """

    temperature_c: tuple[float, ...] = Field(
        min_length=2,
        max_length=60,
        strict=False,
        description="the temperatures of the label's table, rising, 0 to 50",
    )
    ph: tuple[float, ...] | None = Field(
        default=None, max_length=60, strict=False, description="a buffer's pH at each of them, 1 to 13"
    )
    ms_per_cm: tuple[float, ...] | None = Field(
        default=None,
        max_length=60,
        strict=False,
        description="a conductivity standard's value at each of them, 0.01 to 200 (1413 µS/cm are 1.413)",
    )

    @model_validator(mode="after")
    def _sound(self) -> Self:
        if (self.ph is None) is (self.ms_per_cm is None):
            raise ValueError("give either ph or ms_per_cm, one value for each of temperature_c")
        wrong = (
            wrong_buffer(self.temperature_c, self.ph)
            if self.ph is not None
            else wrong_conductivity(self.temperature_c, self.ms_per_cm or ())
        )
        if wrong:
            raise ValueError(wrong)
        return self


SHIPPED_STANDARDS = ("phthalate", "phosphate", "borax", "carbonate")  # of config/standards.toml, that fit NAME


def _own_name(name: str) -> str:
    if name in SHIPPED_STANDARDS or not re.search("[a-z]", name):
        raise ValueError("is the name of a standard that ships; give your bottle one of its own, as my-7")
    return name


OwnName = Annotated[HomieId, AfterValidator(_own_name)]


class Settings(Table):
    site: Site
    rig: RigTable
    mqtt: Mqtt = Mqtt()
    notify: Notify = Field(default_factory=Notify)
    reference: dict[HomieId, ReferenceInput] = Field(default_factory=dict)
    cut_out: CutOut | None = None
    signal: Signal | None = None
    reservoir: dict[HomieId, Reservoir] = Field(min_length=1, max_length=16)
    standard: dict[OwnName, Standard] = Field(default_factory=dict)
    garden: Garden = Field(default_factory=Garden)
    prices: Prices | None = None
    appliance: dict[HomieId, Appliance] = Field(default_factory=dict)

    def rig_table(self) -> dict[str, Any]:
        """The `[rig]` table as its opener gets it."""
        return self.rig.model_dump()
