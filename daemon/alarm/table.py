"""The alarm table: each kind, how grave, how long it must last, what it stops, what a person should do.

Priorities follow harm against time left (matrix idea of IEC 60601-1-8). An alarm without something
for a person to do does not belong here.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from daemon.values import Priority


class Kind(StrEnum):
    """One row of the table."""

    PROBE = "probe"
    CONVERTER = "converter"
    DISAGREE = "disagree"
    ONE_PROBE = "one-probe"
    CALIBRATION = "calibration"
    OUT_OF_BAND = "out-of-band"
    FAR_OUT = "far-out"
    DAY_CAP = "day-cap"
    CAPS_MISSING = "caps-missing"
    BOTTLE_LOW = "bottle-low"
    BOTTLE_EMPTY = "bottle-empty"
    PROBE_AGEING = "probe-ageing"
    RATE_OLD = "rate-old"
    RATE_EXPIRED = "rate-expired"
    TUBE_WORN = "tube-worn"
    LEVEL_LOW = "level-low"
    LEAK = "leak"
    AIR_ROOTS = "air-roots"
    ROOM_SENSOR = "room-sensor"
    CIRCULATION = "circulation"
    TOO_STRONG = "too-strong"
    WELL_BUFFERED = "well-buffered"
    MOVED = "moved"
    CHANGE_OUT = "change-out"
    LOCKED = "locked"
    HELD_LONG = "held-long"
    RESTARTS = "restarts"
    SETTINGS = "settings"
    LEDGER = "ledger"
    BROKER = "broker"
    BARRIER = "barrier"
    BACKUP = "backup"
    HISTORY = "history"


@dataclass(frozen=True, slots=True)
class Row:
    """How one kind behaves.

    on_delay_s / off_delay_s: how long the cause must last, or be gone, before the alarm follows.
    consequence: what happens if nobody comes; done: what the daemon did; act: what the person should do.
    """

    priority: Priority
    on_delay_s: float
    off_delay_s: float
    consequence: str
    done: str
    act: str


TABLE: dict[Kind, Row] = {
    Kind.PROBE: Row(
        Priority.MEDIUM,
        0.0,
        20.0,
        "The reservoir drifts uncorrected.",
        "Doses that rest on this probe are stopped.",
        "Check plug, cable and bulb; rinse the probe and put it back in the water.",
    ),
    Kind.DISAGREE: Row(
        Priority.MEDIUM,
        120.0,
        120.0,
        "The reservoir drifts uncorrected.",
        "Doses that rest on these probes are stopped until they agree.",
        "Put both into one buffer: calibrate the one that is off, or take its table out of the settings.",
    ),
    Kind.ONE_PROBE: Row(
        Priority.LOW,
        300.0,
        120.0,
        "If the other goes wrong too, nothing will show it.",
        "Dosing goes on by the other probe alone.",
        "Check plug, cable and bulb of the one that is out, and its calibration.",
    ),
    Kind.CONVERTER: Row(
        Priority.MEDIUM,
        0.0,
        20.0,
        "The reservoirs drift uncorrected.",
        "Nothing is dosed by any probe on it.",
        "If the known voltage is right: mend the converter's supply or swap the converter, then calibrate its "
        "probes, evenwater calibrate ph (and ec). If not: look at the reference and its wire.",
    ),
    Kind.ROOM_SENSOR: Row(
        Priority.LOW,
        600.0,
        60.0,
        "Nobody sees how the air and the light are.",
        "Dosing goes on: nothing rests on it.",
        "Check its plug, cable and supply; dry it if it was sprayed.",
    ),
    Kind.CALIBRATION: Row(
        Priority.LOW,
        600.0,
        0.0,
        "Readings drift away from the truth.",
        "Nothing is dosed on an uncalibrated or long-expired probe.",
        "Calibrate it: evenwater calibrate ph (or ec).",
    ),
    Kind.OUT_OF_BAND: Row(
        Priority.MEDIUM,
        3600.0,
        300.0,
        "The crop grows poorly.",
        "Correction goes on within its caps.",
        "Look at the last doses and refusals, then at bottle, tube and water.",
    ),
    Kind.FAR_OUT: Row(
        Priority.HIGH,
        300.0,
        300.0,
        "Roots are harmed within hours.",
        "No rescue dose is given beyond the caps.",
        "Check the reading with another meter; if it is true, dilute or change the solution: evenwater "
        "change-out.",
    ),
    Kind.DAY_CAP: Row(
        Priority.MEDIUM,
        0.0,
        600.0,
        "Correction pauses until the 24 h window has room.",
        "No more is dosed.",
        "Ask why so much was needed: water, probe, or a cap that is too small for this tank.",
    ),
    Kind.CAPS_MISSING: Row(
        Priority.LOW,
        0.0,
        600.0,
        "Nothing is corrected.",
        "A cap that is not set counts as zero.",
        "Set the pump's max_per_dose_ml, max_per_hour_ml and max_per_day_ml in the settings file, then restart.",
    ),
    Kind.BOTTLE_LOW: Row(
        Priority.LOW,
        0.0,
        0.0,
        "Correction ends when the bottle is empty.",
        "Dosing goes on.",
        "Refill it, then tell: evenwater bottle. Goggles and gloves; acid into water, never water into acid.",
    ),
    Kind.BOTTLE_EMPTY: Row(
        Priority.MEDIUM,
        0.0,
        0.0,
        "Nothing is corrected.",
        "This pump is stopped so that it does not draw air.",
        "Refill it, then tell: evenwater bottle. Goggles and gloves; acid into water, never water into acid.",
    ),
    Kind.PROBE_AGEING: Row(
        Priority.LOW,
        3600.0,
        0.0,
        "The probe wears out: soon it cannot be calibrated any more.",
        "Dosing goes on for as long as it passes its calibrations.",
        "Clean and soak it, have a new one ready. Its past: evenwater calibrate ph history.",
    ),
    Kind.RATE_OLD: Row(
        Priority.LOW,
        3600.0,
        0.0,
        "Tubes age: each dose comes out a little more or less than the ledger says.",
        "Dosing goes on.",
        "Measure it with a cylinder, goggles and gloves on: evenwater hold, then evenwater calibrate pump.",
    ),
    Kind.RATE_EXPIRED: Row(
        Priority.MEDIUM,
        0.0,
        0.0,
        "Nothing is corrected with this pump.",
        "It does not dose by a rate that may no longer be true.",
        "Measure it with a cylinder, goggles and gloves on: evenwater hold, then evenwater calibrate pump.",
    ),
    Kind.TUBE_WORN: Row(
        Priority.LOW,
        3600.0,
        0.0,
        "A worn tube splits, and what is in it sprays from the pump's head.",
        "Dosing goes on.",
        "Put in a new tube, goggles and gloves on; tell: evenwater tube; then measure: evenwater calibrate pump.",
    ),
    Kind.LEVEL_LOW: Row(
        Priority.MEDIUM,
        60.0,
        60.0,
        "Roots and the circulation pump run dry.",
        "Dosing is cut down or stopped: the same mL would be too much for less water.",
        "Look for a leak, then top up.",
    ),
    Kind.LEAK: Row(
        Priority.HIGH,
        0.0,
        300.0,
        "Water runs out: roots and circulation pump run dry, and there is water near the mains.",
        "All pumps are off, the water pump too.",
        "Look for the leak, mains first: switch off what stands in water. Then top up, and: evenwater clear.",
    ),
    Kind.AIR_ROOTS: Row(
        Priority.MEDIUM,
        600.0,
        600.0,
        "Roots that live by the air above the water drown within days.",
        "Nothing is pumped out.",
        "Take water out again. Wholly new water with young plants: evenwater change-out.",
    ),
    Kind.CIRCULATION: Row(
        Priority.MEDIUM,
        3600.0,
        0.0,
        "Roots get no fresh water and no air; nothing is corrected.",
        "Nothing is dosed into still water.",
        "Look at the circulation pump, its plug and filter, then at the contact and its wire.",
    ),
    Kind.TOO_STRONG: Row(
        Priority.MEDIUM,
        0.0,
        0.0,
        "pH overshoots.",
        "Its doses are halved.",
        "Measure the pump's mL per second again, look at tube and bottle: is it the same strength as before?",
    ),
    Kind.WELL_BUFFERED: Row(
        Priority.LOW,
        0.0,
        0.0,
        "pH comes nearer in many small doses.",
        "It learns from each dose and goes on within the caps.",
        "Correct `alkalinity_mmol_per_l` or `ml_per_ph` in the settings; if the water is as they say, look at "
        "pump, tube and bottle.",
    ),
    Kind.MOVED: Row(
        Priority.LOW,
        0.0,
        0.0,
        "A dose by hand and one by the daemon add up.",
        "Dosing waits until it is mixed.",
        "If nobody added anything: look for a leaking pump or bottle. While you work there: evenwater hold.",
    ),
    Kind.CHANGE_OUT: Row(
        Priority.LOW,
        3600.0,
        0.0,
        "Salts that the crop does not take pile up, and the feed goes out of balance.",
        "Goes on as before.",
        "Give it new water when it suits: evenwater change-out.",
    ),
    Kind.LOCKED: Row(
        Priority.HIGH,
        0.0,
        0.0,
        "Nothing is corrected until a person clears it.",
        "All pumps of this reservoir are off.",
        "Find the cause at the tank, then: evenwater clear.",
    ),
    Kind.HELD_LONG: Row(
        Priority.LOW,
        12 * 3600.0,
        0.0,
        "Nothing is corrected while held.",
        "Dosing stays paused.",
        "When the work at the tank is done: evenwater release.",
    ),
    Kind.RESTARTS: Row(
        Priority.MEDIUM,
        0.0,
        0.0,
        "Nothing is corrected until a person has looked.",
        "All reservoirs are only watched.",
        "If you know why, go on with: evenwater clear.",
    ),
    Kind.SETTINGS: Row(
        Priority.MEDIUM,
        0.0,
        0.0,
        "Nothing is corrected until a person has looked.",
        "All reservoirs are only watched.",
        "Compare with the settings file: was it meant, in this unit?",
    ),
    Kind.LEDGER: Row(
        Priority.HIGH,
        0.0,
        0.0,
        "Nothing is corrected.",
        "No dose runs without a durable record.",
        "Check free space and the card. A file that stays unreadable: stop the daemon, then evenwater repair.",
    ),
    Kind.BROKER: Row(
        Priority.LOW,
        300.0,
        30.0,
        "Alerts do not reach a phone.",
        "Dosing goes on by its own rules.",
        "Check the broker's address, power and network.",
    ),
    Kind.HISTORY: Row(
        Priority.LOW,
        1800.0,
        60.0,
        "Nobody can look back at these days.",
        "Dosing goes on; the readings of a day wait in memory.",
        "Free some space, look at the card and at the file's owner. A damaged file was put aside as "
        "history.db.damaged, and a new one begun.",
    ),
    Kind.BACKUP: Row(
        Priority.LOW,
        0.0,
        0.0,
        "After a card failure there is no recent copy of the ledger to go back to.",
        "Dosing goes on; the copy is tried again the next night.",
        "Check the free space and the permissions of the state folder.",
    ),
    Kind.BARRIER: Row(
        Priority.MEDIUM,
        0.0,
        0.0,
        "Nothing is corrected.",
        "It measures, and doses nothing.",
        "See to it, then restart the service. All of it at once: evenwater check.",
    ),
}
