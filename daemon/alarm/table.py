"""The alarm table: each kind, how grave, how long it must last, what it stops, what a person should do.

`evenwater alarms --explain`, docs/alarms.md and every alarm's text are made of it.

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
    FALLS_FAST = "falls-fast"
    HARDLY_FALLS = "hardly-falls"
    ROOM_SENSOR = "room-sensor"
    OUT_OF_SERVICE = "out-of-service"
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
    CERTIFICATE = "certificate"
    SAME_ID = "same-id"
    WAYS_OUT = "ways-out"
    COMMANDS = "commands"
    BARRIER = "barrier"
    BACKUP = "backup"
    HISTORY = "history"


@dataclass(frozen=True, slots=True)
class Row:
    """How one kind behaves.

    on_delay_s / off_delay_s: how long the cause must last, or be gone, before the alarm follows.
    consequence: what happens if nobody comes; done: what the daemon did; act: what the person should do;
    within: how long they have; stops: which pumps. latches: acknowledged it still stands until it is cleared at
    the tank.
    follows: kinds that explain it: beside one of them in the same place it is no alarm of its own.
    known_at_once: at the first pass after a start it is seen whether its cause is there.
    """

    priority: Priority
    on_delay_s: float
    off_delay_s: float
    consequence: str
    done: str
    act: str
    within: str
    stops: str
    latches: bool = False
    follows: frozenset[Kind] = frozenset()
    known_at_once: bool = False


TABLE: dict[Kind, Row] = {
    Kind.PROBE: Row(
        priority=Priority.MEDIUM,
        on_delay_s=0.0,
        off_delay_s=20.0,
        consequence="The reservoir drifts uncorrected.",
        done="Doses that rest on this probe are stopped.",
        act="Check plug, cable and bulb; rinse the probe and put it back in the water.",
        within="hours: the water drifts by itself",
        stops="those that rest on this probe",
    ),
    Kind.DISAGREE: Row(
        priority=Priority.MEDIUM,
        on_delay_s=120.0,
        off_delay_s=120.0,
        consequence="The reservoir drifts uncorrected.",
        done="Doses that rest on these probes are stopped until they agree.",
        act="Put both into one buffer: calibrate the one that is off, or take its table out of the settings.",
        within="hours: the water drifts by itself",
        stops="those that rest on these probes",
    ),
    Kind.ONE_PROBE: Row(
        priority=Priority.LOW,
        on_delay_s=300.0,
        off_delay_s=120.0,
        consequence="If the other goes wrong too, nothing will show it.",
        done="Dosing goes on by the other probe alone.",
        act="Check plug, cable and bulb of the one that is out, and its calibration.",
        within="days, as long as the other stays right",
        stops="none",
    ),
    Kind.CONVERTER: Row(
        priority=Priority.MEDIUM,
        on_delay_s=0.0,
        off_delay_s=20.0,
        consequence="The reservoirs drift uncorrected.",
        done="Nothing is dosed by any probe on it.",
        act=(
            "If the known voltage is right: mend the converter's supply or swap the converter, then calibrate "
            "its probes, evenwater calibrate ph (and ec). If not: look at the reference and its wire."
        ),
        within="hours: the water drifts by itself",
        stops="all that rest on its probes",
    ),
    Kind.OUT_OF_SERVICE: Row(
        priority=Priority.LOW,
        on_delay_s=0.0,
        off_delay_s=0.0,
        consequence="The reservoir drifts uncorrected.",
        done="Nothing is dosed by it, and it raises no alarm of its own.",
        act="Once it is mended: evenwater in-service.",
        within="as long as whoever took it out of service looks after the water",
        stops="those that rest on this probe",
        known_at_once=True,
    ),
    Kind.ROOM_SENSOR: Row(
        priority=Priority.LOW,
        on_delay_s=600.0,
        off_delay_s=60.0,
        consequence="Nobody sees how the air and the light are.",
        done="Dosing goes on: nothing rests on it.",
        act="Check its plug, cable and supply; dry it if it was sprayed.",
        within="weeks",
        stops="none",
    ),
    Kind.CALIBRATION: Row(
        priority=Priority.LOW,
        on_delay_s=600.0,
        off_delay_s=0.0,
        consequence="Readings drift away from the truth.",
        done="Nothing is dosed on an uncalibrated or long-expired probe.",
        act="Calibrate it: evenwater calibrate ph (or ec).",
        within="days while it warns; hours once dosing has stopped",
        stops="those that rest on this probe, once it is too old",
        known_at_once=True,
    ),
    Kind.OUT_OF_BAND: Row(
        priority=Priority.MEDIUM,
        on_delay_s=3600.0,
        off_delay_s=300.0,
        consequence="The crop grows poorly.",
        done="Correction goes on within its caps.",
        act="Look at the last doses and refusals, then at bottle, tube and water.",
        within="a day or two",
        stops="none",
        follows=frozenset(
            {
                Kind.FAR_OUT,
                Kind.LOCKED,
                Kind.HELD_LONG,
                Kind.BOTTLE_EMPTY,
                Kind.RATE_EXPIRED,
                Kind.LEVEL_LOW,
                Kind.CIRCULATION,
                Kind.RESTARTS,
                Kind.SETTINGS,
                Kind.BARRIER,
                Kind.LEDGER,
                Kind.DAY_CAP,
                Kind.CAPS_MISSING,
            }
        ),
    ),
    Kind.FAR_OUT: Row(
        priority=Priority.HIGH,
        on_delay_s=300.0,
        off_delay_s=300.0,
        consequence="Roots are harmed within hours.",
        done="No rescue dose is given beyond the caps.",
        act=(
            "Check the reading with another meter; if it is true, dilute or change the solution: evenwater "
            "change-out."
        ),
        within="hours",
        stops="all of the reservoir, after a day unheard",
    ),
    Kind.DAY_CAP: Row(
        priority=Priority.MEDIUM,
        on_delay_s=0.0,
        off_delay_s=600.0,
        consequence="Correction pauses until the 24 h window has room.",
        done="No more is dosed.",
        act="Ask why so much was needed: water, probe, or a cap that is too small for this tank.",
        within="a day: then the window has room",
        stops="the one that is named",
    ),
    Kind.CAPS_MISSING: Row(
        priority=Priority.LOW,
        on_delay_s=0.0,
        off_delay_s=600.0,
        consequence="Nothing is corrected.",
        done="A cap that is not set counts as zero.",
        act=(
            "Set the pump's max_per_dose_ml, max_per_hour_ml and max_per_day_ml in the settings file, then "
            "restart."
        ),
        within="days, while the water is right",
        stops="the one that is named",
        known_at_once=True,
    ),
    Kind.BOTTLE_LOW: Row(
        priority=Priority.LOW,
        on_delay_s=0.0,
        off_delay_s=0.0,
        consequence="Correction ends when the bottle is empty.",
        done="Dosing goes on.",
        act=(
            "Refill it, then tell: evenwater bottle. Goggles and gloves; acid into water, never water into acid."
        ),
        within="days: until it is empty",
        stops="none",
        known_at_once=True,
    ),
    Kind.BOTTLE_EMPTY: Row(
        priority=Priority.MEDIUM,
        on_delay_s=0.0,
        off_delay_s=0.0,
        consequence="Nothing is corrected.",
        done="This pump is stopped so that it does not draw air.",
        act=(
            "Refill it, then tell: evenwater bottle. Goggles and gloves; acid into water, never water into acid."
        ),
        within="hours",
        stops="the one that is named",
        known_at_once=True,
    ),
    Kind.PROBE_AGEING: Row(
        priority=Priority.LOW,
        on_delay_s=3600.0,
        off_delay_s=0.0,
        consequence="The probe wears out: soon it cannot be calibrated any more.",
        done="Dosing goes on for as long as it passes its calibrations.",
        act="Clean and soak it, have a new one ready. Its past: evenwater calibrate ph history.",
        within="weeks",
        stops="none",
        known_at_once=True,
    ),
    Kind.RATE_OLD: Row(
        priority=Priority.LOW,
        on_delay_s=3600.0,
        off_delay_s=0.0,
        consequence="Tubes age: each dose comes out a little more or less than the ledger says.",
        done="Dosing goes on.",
        act="Measure it with a cylinder, goggles and gloves on: evenwater hold, then evenwater calibrate pump.",
        within="weeks",
        stops="none",
        known_at_once=True,
    ),
    Kind.RATE_EXPIRED: Row(
        priority=Priority.MEDIUM,
        on_delay_s=0.0,
        off_delay_s=0.0,
        consequence="Nothing is corrected with this pump.",
        done="It does not dose by a rate that may no longer be true.",
        act="Measure it with a cylinder, goggles and gloves on: evenwater hold, then evenwater calibrate pump.",
        within="hours",
        stops="the one that is named",
        known_at_once=True,
    ),
    Kind.TUBE_WORN: Row(
        priority=Priority.LOW,
        on_delay_s=3600.0,
        off_delay_s=0.0,
        consequence="A worn tube splits, and what is in it sprays from the pump's head.",
        done="Dosing goes on.",
        act=(
            "Put in a new tube, goggles and gloves on; tell: evenwater tube; then measure: evenwater "
            "calibrate pump."
        ),
        within="days",
        stops="none",
        known_at_once=True,
    ),
    Kind.LEVEL_LOW: Row(
        priority=Priority.MEDIUM,
        on_delay_s=60.0,
        off_delay_s=60.0,
        consequence="Roots and the circulation pump run dry.",
        done="Dosing is cut down or stopped: the same mL would be too much for less water.",
        act="Look for a leak, then top up.",
        within="hours",
        stops="all of the reservoir, by and by",
        follows=frozenset({Kind.LEAK}),
    ),
    Kind.LEAK: Row(
        priority=Priority.HIGH,
        on_delay_s=0.0,
        off_delay_s=300.0,
        consequence="Water runs out: roots and circulation pump run dry, and there is water near the mains.",
        done="All pumps are off, the water pump too.",
        act=(
            "Look for the leak, mains first: switch off what stands in water. Then top up, and: evenwater clear."
        ),
        within="minutes",
        stops="all of the reservoir",
        latches=True,
    ),
    Kind.AIR_ROOTS: Row(
        priority=Priority.MEDIUM,
        on_delay_s=600.0,
        off_delay_s=600.0,
        consequence="Roots that live by the air above the water drown within days.",
        done="Nothing is pumped out.",
        act="Take water out again. Wholly new water with young plants: evenwater change-out.",
        within="a day or two",
        stops="none",
    ),
    Kind.FALLS_FAST: Row(
        priority=Priority.MEDIUM,
        on_delay_s=600.0,
        off_delay_s=600.0,
        consequence="It is empty before the crop is ready; a leak also brings water near the mains.",
        done="Nothing is pumped in.",
        act="Look for water below it, mains first. All dry: too many heads for it? evenwater crop still.",
        within="a day or two",
        stops="none",
        follows=frozenset({Kind.LEAK}),
    ),
    Kind.HARDLY_FALLS: Row(
        priority=Priority.LOW,
        on_delay_s=600.0,
        off_delay_s=600.0,
        consequence="Plants that do not drink do not grow; a sender that sticks would hide a leak.",
        done="Nothing is pumped in.",
        act="Measure the depth with a stick: does the sender agree? Do roots reach the water? No plants: shelve.",
        within="days",
        stops="none",
    ),
    Kind.CIRCULATION: Row(
        priority=Priority.MEDIUM,
        on_delay_s=3600.0,
        off_delay_s=0.0,
        consequence="Roots get no fresh water and no air; nothing is corrected.",
        done="Nothing is dosed into still water.",
        act="Look at the circulation pump, its plug and filter, then at the contact and its wire.",
        within="hours: roots need air",
        stops="all of the reservoir",
    ),
    Kind.TOO_STRONG: Row(
        priority=Priority.MEDIUM,
        on_delay_s=0.0,
        off_delay_s=0.0,
        consequence="pH overshoots.",
        done="Its doses are halved.",
        act=(
            "Measure the pump's mL per second again, look at tube and bottle: is it the same strength as before?"
        ),
        within="hours",
        stops="none: its doses are halved",
    ),
    Kind.WELL_BUFFERED: Row(
        priority=Priority.LOW,
        on_delay_s=0.0,
        off_delay_s=0.0,
        consequence="pH comes nearer in many small doses.",
        done="It learns from each dose and goes on within the caps.",
        act=(
            "Correct `alkalinity_mmol_per_l` or `ml_per_ph` in the settings; if the water is as they say, "
            "look at pump, tube and bottle."
        ),
        within="weeks",
        stops="none",
    ),
    Kind.MOVED: Row(
        priority=Priority.LOW,
        on_delay_s=0.0,
        off_delay_s=0.0,
        consequence="A dose by hand and one by the daemon add up.",
        done="Dosing waits until it is mixed.",
        act=(
            "If nobody added anything: look for a leaking pump or bottle. While you work there: evenwater hold."
        ),
        within="hours",
        stops="all of the reservoir until it is mixed",
    ),
    Kind.CHANGE_OUT: Row(
        priority=Priority.LOW,
        on_delay_s=3600.0,
        off_delay_s=0.0,
        consequence="Salts that the crop does not take pile up, and the feed goes out of balance.",
        done="Goes on as before.",
        act="Give it new water when it suits: evenwater change-out.",
        within="weeks",
        stops="none",
        known_at_once=True,
    ),
    Kind.LOCKED: Row(
        priority=Priority.HIGH,
        on_delay_s=0.0,
        off_delay_s=0.0,
        consequence="Nothing is corrected until a person clears it.",
        done="All pumps of this reservoir are off.",
        act="Find the cause at the tank, then: evenwater clear.",
        within="hours: nothing is corrected",
        stops="all of the reservoir",
        latches=True,
        known_at_once=True,
    ),
    Kind.HELD_LONG: Row(
        priority=Priority.LOW,
        on_delay_s=43200.0,
        off_delay_s=0.0,
        consequence="Nothing is corrected while held.",
        done="Dosing stays paused.",
        act="When the work at the tank is done: evenwater release.",
        within="a day or two",
        stops="all of the reservoir",
        known_at_once=True,
    ),
    Kind.RESTARTS: Row(
        priority=Priority.MEDIUM,
        on_delay_s=0.0,
        off_delay_s=0.0,
        consequence="Nothing is corrected until a person has looked.",
        done="All reservoirs are only watched.",
        act="If you know why, go on with: evenwater clear.",
        within="hours: nothing is corrected",
        stops="all",
        known_at_once=True,
    ),
    Kind.SETTINGS: Row(
        priority=Priority.MEDIUM,
        on_delay_s=0.0,
        off_delay_s=0.0,
        consequence="Nothing is corrected until a person has looked.",
        done="All reservoirs are only watched.",
        act="Compare with the settings file: was it meant, in this unit?",
        within="hours: nothing is corrected",
        stops="all",
        known_at_once=True,
    ),
    Kind.LEDGER: Row(
        priority=Priority.HIGH,
        on_delay_s=0.0,
        off_delay_s=0.0,
        consequence="Nothing is corrected.",
        done="No dose runs without a durable record.",
        act=(
            "Check free space and the card. A file that stays unreadable: stop the daemon, then evenwater repair."
        ),
        within="hours: nothing is corrected",
        stops="all",
        known_at_once=True,
    ),
    Kind.BROKER: Row(
        priority=Priority.LOW,
        on_delay_s=300.0,
        off_delay_s=30.0,
        consequence="Alerts do not reach a phone.",
        done="Dosing goes on by its own rules.",
        act="Check the broker's address, power and network.",
        within="days, while somebody looks in",
        stops="none",
    ),
    Kind.CERTIFICATE: Row(
        priority=Priority.LOW,
        on_delay_s=0.0,
        off_delay_s=0.0,
        consequence="Once it has ended nothing is sent to the broker any more.",
        done="It goes on until then, and connects to no broker whose certificate has ended.",
        act="Have the broker's certificate made anew: evenwater broker. Is the box's clock right?",
        within="weeks",
        stops="none",
    ),
    Kind.SAME_ID: Row(
        priority=Priority.MEDIUM,
        on_delay_s=0.0,
        off_delay_s=60.0,
        consequence="A phone sees now one, now the other, and an alert of one may be wiped out by the other.",
        done="Dosing goes on by its own rules; between attempts to connect it waits longer and longer.",
        act=(
            "Switch off the one that should not be there (an old box, a copied card), or give each its own "
            "device_id under [site] in the settings and restart it. If it is none of yours, change the broker's "
            "passwords."
        ),
        within="a day or two, while somebody looks in",
        stops="none",
    ),
    Kind.WAYS_OUT: Row(
        priority=Priority.LOW,
        on_delay_s=0.0,
        off_delay_s=0.0,
        consequence="Alerts do not reach those who count on that way.",
        done="It goes on trying, at most once an hour; where no way works the lamp at the box is on.",
        act=(
            "Try it: evenwater notify --test. Does the box reach the internet, does its unit let it "
            "(IPAddressAllow), is the address still right?"
        ),
        within="days, while somebody looks in",
        stops="none",
    ),
    Kind.COMMANDS: Row(
        priority=Priority.MEDIUM,
        on_delay_s=0.0,
        off_delay_s=600.0,
        consequence="Somebody or something on the network tries what it may not.",
        done="They change nothing: no message can make it dose.",
        act="Look who publishes to the /set topics at the broker; change its passwords if nobody knows.",
        within="days: it is kept out",
        stops="none",
    ),
    Kind.HISTORY: Row(
        priority=Priority.LOW,
        on_delay_s=1800.0,
        off_delay_s=60.0,
        consequence="Nobody can look back at these days.",
        done="Dosing goes on; the readings of a day wait in memory.",
        act=(
            "Free some space, look at the card and at the file's owner. A damaged file was put aside as "
            "history.db.damaged, and a new one begun."
        ),
        within="weeks",
        stops="none",
    ),
    Kind.BACKUP: Row(
        priority=Priority.LOW,
        on_delay_s=0.0,
        off_delay_s=0.0,
        consequence="After a card failure there is no recent copy of the ledger to go back to.",
        done="Dosing goes on; the copy is tried again the next night.",
        act="Check the free space and the permissions of the state folder.",
        within="weeks",
        stops="none",
    ),
    Kind.BARRIER: Row(
        priority=Priority.MEDIUM,
        on_delay_s=0.0,
        off_delay_s=0.0,
        consequence="Nothing is corrected.",
        done="It measures, and doses nothing.",
        act="See to it, then restart the service. All of it at once: evenwater check.",
        within="hours: nothing is corrected",
        stops="all",
        known_at_once=True,
    ),
}
