"""The frozen values that pass between rooms, from `Sample` to `State`.

    volts -> reading -> verdict -> dose request -> permit -> run -> entry -> published state

Reasons are enum members and numbers; `daemon.words` makes sentences of them at the edge.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

from drivers.probe import Quantity, Sample

__all__ = ["Quantity", "Sample"]  # made by the drivers, read by every room

Numbers = Mapping[str, float]


class Quality(StrEnum):
    """How far a reading may be trusted. Words of OPC UA."""

    GOOD = "good"
    UNCERTAIN = "uncertain"
    BAD = "bad"


class VerdictReason(StrEnum):
    """Why a reading is not simply good."""

    FINE = "fine"
    WARMING_UP = "warming_up"  # too few samples yet to know
    NO_ANSWER = "no_answer"  # the probe or its converter could not be read
    REFERENCE = "reference"  # its converter measures a known voltage wrongly
    CLIPPED = "clipped"  # voltage at the end of the converter's range
    OUT_OF_SPAN = "out_of_span"  # outside what the probe or its calibration can tell
    STUCK = "stuck"  # no movement at all for too long
    JUMPED = "jumped"  # faster than water can change
    UNUSUAL = "unusual"  # further, or longer, than this water ever did
    ONE_LEFT = "one_left"  # one of two probes is out; the other is believed alone
    DISAGREE = "disagree"  # two probes for one quantity: one of them is wrong
    STALE = "stale"  # the newest sample is too old
    NOISY = "noisy"  # the conversions of one sample disagree
    NO_TEMPERATURE = "no_temperature"  # cannot be compensated
    NOT_CALIBRATED = "not_calibrated"
    CALIBRATION_OLD = "calibration_old"
    OUT_OF_SERVICE = "out_of_service"  # taken out by a person
    CALIBRATING = "calibrating"  # a person has the probe in a buffer
    STOP_GAP = "stop_gap"  # calibrated in one buffer only: shown, but no dose rests on it
    PROBE_WORN = "probe_worn"  # calibrated, yet with too little slope for a dose to rest on


@dataclass(frozen=True, slots=True)
class Reading:
    """A quantity in its unit (pH; mS/cm at 25 °C; °C; share 0..1), with the raw volts kept beside it.

    temperature_c: what it was compensated for, None where none was needed or known.
    calibration: the day of the calibration used (ISO date), "" where none applies.
    slope_percent: slope of that calibration, % of theory; None for other quantities than pH.
    stop_gap: that calibration is an offset from one buffer, which shows no slope.
    """

    quantity: Quantity
    value: float
    at_s: float
    sample: Sample
    temperature_c: float | None = None
    calibration: str = ""
    slope_percent: float | None = None
    stop_gap: bool = False


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the judge says of the newest look at one probe. Always made, even with nothing to judge."""

    quantity: Quantity
    quality: Quality
    reason: VerdictReason
    reading: Reading | None = None
    since_s: float = 0.0  # monotonic time from which this quality and reason have held
    numbers: Numbers = field(default_factory=dict)
    note: str = ""  # the driver's own message when it could not read

    @property
    def usable(self) -> bool:
        """Whether a dose may rest on it: good, due for calibration, or of the one probe left of two."""
        if self.reading is None:
            return False
        return self.quality is Quality.GOOD or (
            self.quality is Quality.UNCERTAIN
            and self.reason in (VerdictReason.CALIBRATION_OLD, VerdictReason.ONE_LEFT)
        )

    @property
    def shows_water(self) -> bool:
        """Whether pumps can be watched by it: usable, or moved unusually far, as water does when one runs on."""
        return self.usable or (self.reading is not None and self.reason is VerdictReason.UNUSUAL)


class Condition(StrEnum):
    """What a reservoir is doing about its water."""

    KEEPING = "keeping"  # corrects by itself
    WATCHING = "watching"  # measures only
    HELD = "held"  # a person paused dosing
    LOCKED = "locked"  # a safety stop latched; a person at the tank clears it


class Role(StrEnum):
    """What is in a pump's bottle."""

    PH_DOWN = "ph_down"
    PH_UP = "ph_up"
    STOCK_A = "stock_a"
    STOCK_B = "stock_b"
    TOP_UP = "top_up"


class DoseReason(StrEnum):
    PH_HIGH = "ph_high"
    PH_LOW = "ph_low"
    EC_LOW = "ec_low"
    EC_HIGH = "ec_high"
    LEVEL_LOW = "level_low"
    PRIME = "prime"
    MEASURE = "measure"  # a timed run into a measuring cylinder
    BY_HAND = "by_hand"  # poured by a person, who told it
    REPAIR = "repair"  # no dose: a charge for what a damaged ledger no longer tells


INTO_A_CUP = (DoseReason.PRIME, DoseReason.MEASURE)
"""Runs that a person at the tank asks for, the tube's end in a cup or cylinder. Charged as doses."""

BY_A_PERSON = (*INTO_A_CUP, DoseReason.BY_HAND)
"""Lines of the ledger that a person made; their note tells who or what."""

NOT_OF_ITS_OWN = (*BY_A_PERSON, DoseReason.REPAIR)
"""Lines of the ledger that are charged as doses, and say nothing of what the daemon itself thought right."""


@dataclass(frozen=True, slots=True)
class DoseRequest:
    """What the controller would like: mL from one pump, with the numbers it reckoned from."""

    reservoir: str
    pump: Role
    ml: float
    reason: DoseReason
    numbers: Numbers = field(default_factory=dict)


class Cap(StrEnum):
    """What may bind or refuse a dose."""

    CONDITION = "condition"
    VERDICT = "verdict"
    RATE = "rate"  # what the pump delivers in a second was measured too long ago, or with another tube
    REQUEST = "request"  # not a finite amount above zero
    NOT_SET = "not_set"  # a cap the settings leave out counts as zero
    LEDGER = "ledger"  # the ledger cannot be read or written: caps count as spent
    PER_DOSE = "per_dose"
    PER_HOUR = "per_hour"
    PER_DAY = "per_day"
    GAP = "gap"  # minimum time since this pump's last dose
    MIXING = "mixing"  # minimum time since any dose into this reservoir
    OPPOSITE = "opposite"  # acid and base never within the set hours
    BOTTLE = "bottle"
    LEVEL = "level"
    CIRCULATION = "circulation"  # nothing stirs the water, or it is not known to be stirred
    REFILL = "refill"  # minimum time since water was added
    HANDS_OFF = "hands_off"  # minimum time since pH moved by itself: somebody may be at work
    SHARE = "share"  # share of the reservoir's volume
    RUN_TIME = "run_time"  # longest single run of a pump
    USUAL = "usual"  # pH comes back further than it usually does
    TOO_SMALL = "too_small"  # below what the pump can deliver truly


@dataclass(frozen=True, slots=True)
class Permit:
    """May run: this much, this long. `bound_by` names the cap that made it less than asked, if one did."""

    request: DoseRequest
    ml: float
    run_s: float
    bound_by: Cap | None = None
    numbers: Numbers = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Refusal:
    """May not run; the cap that said no, with the numbers a person can check it by."""

    request: DoseRequest
    cap: Cap
    numbers: Numbers = field(default_factory=dict)


class Outcome(StrEnum):
    """How a run ended. OPEN counts as delivered in full."""

    OPEN = "open"
    DONE = "done"
    CUT_SHORT = "cut_short"  # the keeper stopped early; still charged in full
    FAILED = "failed"  # the keeper says the pump never turned; still charged in full


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the ledger: the intent, and the outcome once known. `ml` is what it is charged at."""

    number: int
    reservoir: str
    pump: Role
    ml: float
    run_s: float
    reason: DoseReason
    numbers: Numbers
    utc: datetime
    utc_trusted: bool
    boot_id: str
    at_s: float  # monotonic, within boot_id
    outcome: Outcome
    note: str = ""


@dataclass(frozen=True, slots=True)
class CapUse:
    """What the caps of one pump have left, for people to see. mL."""

    last_hour_ml: float
    max_per_hour_ml: float
    last_day_ml: float
    max_per_day_ml: float
    bottle_left_ml: float


@dataclass(frozen=True, slots=True)
class WaterUse:
    """How long the water has been in, in days, and how many fillings' worth of stock was fed into it."""

    days: float
    fills: float


class RateStanding(StrEnum):
    """How far a pump's mL per second may be believed."""

    DATED = "dated"
    UNDATED = "undated"  # the settings' guess, and nobody says when it was measured
    OLD = "old"  # due to be measured again
    EXPIRED = "expired"  # too old to dose by
    OTHER_TUBE = "other_tube"  # of the tube that was in before
    UNLIKE = "unlike"  # what was measured is no longer near what the settings say


@dataclass(frozen=True, slots=True)
class PumpState:
    """One pump's rate and tube, for people to see.

    measured_on: ISO date, "" where none is known; tube_h: run with the tube that is in, None while the ledger
    cannot tell; tube_lasts_h: its maker's figure, None where the settings name none.
    """

    ml_per_s: float
    standing: RateStanding
    measured_on: str = ""
    age_days: int | None = None
    tube_h: float | None = None
    tube_lasts_h: float | None = None


class Priority(StrEnum):
    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"


class AlarmState(StrEnum):
    """Life of an alarm, in the words of ISA-18.2."""

    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned_unacknowledged"
    LATCHED = "latched"  # acknowledged, and only a person at the tank ends it
    SHELVED = "shelved"  # silent until a set time
    SUPPRESSED = "suppressed_by_design"  # another alarm explains it


@dataclass(frozen=True, slots=True)
class Alarm:
    """One alarm that is not normal. `key` is unique, e.g. `bed1-ph-probe`; `kind` names its row in the table.

    within: how long a person has; until_utc: the end of its being shelved; because_of: the key of the alarm that
    explains it, "" for none.
    """

    key: str
    kind: str
    reservoir: str  # "" for the box itself
    priority: Priority
    state: AlarmState
    text: str
    raised_utc: datetime
    raised_s: float  # proven
    within: str = ""
    until_utc: datetime | None = None
    because_of: str = ""

    @property
    def unheard(self) -> bool:
        """Whether it calls and nobody has acknowledged it, be its cause still there or not."""
        return self.state in (AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED)


@dataclass(frozen=True, slots=True)
class ReservoirState:
    """One reservoir at the end of a pass.

    noise_v: standard deviation of one look at each analog probe, in volts; not there until it is learned.
    deficit_kpa: how much vapour the air could still take up; None where that is not known.
    daily_light_mol: light of the last 24 h in mol/m²; None until so long was seen.
    water: None where nothing tells since when it has been in.
    """

    name: str
    title: str
    condition: Condition
    condition_reason: str
    condition_until: datetime | None
    verdicts: Mapping[Quantity, Verdict]
    bands: Mapping[Quantity, tuple[float, float]]
    waiting_for: str
    last_doses: tuple[Entry, ...]
    last_decision: Permit | Refusal | None
    caps: Mapping[Role, CapUse]
    pumps: Mapping[Role, PumpState] = field(default_factory=dict)
    noise_v: Mapping[Quantity, float] = field(default_factory=dict)
    deficit_kpa: float | None = None
    daily_light_mol: float | None = None
    water: WaterUse | None = None


@dataclass(frozen=True, slots=True)
class State:
    """One snapshot of everything, made at the end of a pass. Readers never see half a pass."""

    passes: int
    at_s: float
    utc: datetime
    started_utc: datetime
    rig: str  # what the settings name as the rig: makes a simulated one visible
    reservoirs: Mapping[str, ReservoirState]
    alarms: tuple[Alarm, ...]
    version: str
    notes: tuple[str, ...] = ()
    utc_trusted: bool = False  # whether `utc` is known to be right
    summary: str = ""  # of the last day, "" before the first
    next_task: str = ""  # in the garden, "" where nothing is to do
