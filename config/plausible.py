"""What no single key can show: tables that contradict each other, wires used twice, doses too big for a tank."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from itertools import pairwise
from pathlib import Path

from config.complaint import Complaint, nearest
from config.garden import Garden
from config.pump import HARD_MAX_RUN_S, MIXING_TIMES, Pump, hard_limits
from config.settings import Mqtt, Reservoir, Settings, Stage
from drivers.probe import Quantity
from drivers.wiring import AdcInput

ML_PER_L = 1000.0
SLACK = 1e-9  # decimals such as 5.65 - 0.15 are not exact in binary
MOST_OF_A_PASS = 0.5
CAPS = ("max_per_dose_ml", "max_per_hour_ml", "max_per_day_ml")
SENSED_BY = {"ph_down": "ph", "ph_up": "ph", "stock_a": "ec", "stock_b": "ec", "top_up": "level"}
LOOPBACK = frozenset({"localhost", "127.0.0.1", "::1"})
I2C1_LINES = {"gpio2": "data", "gpio3": "clock"}


def in_reservoir(name: str, reservoir: Reservoir) -> Iterator[Complaint]:
    """What contradicts itself within one reservoir."""
    table = f"reservoir.{name}"
    yield from _second_alone(f"{table}.probe", reservoir)
    yield from _target(f"{table}.ph", reservoir)
    yield from _pair_of_stocks(f"{table}.pump", reservoir)
    yield from _calibration_ages(table, reservoir)
    yield from _strength(table, reservoir)
    yield from _stages(table, reservoir)
    yield from _still(f"{table}.pump", reservoir)
    for role, pump in reservoir.pump.items():
        where = f"{table}.pump.{role}"
        yield from _order_of_caps(where, pump)
        yield from _hard_limits(where, role, pump, reservoir.volume_l)
        yield from _run_time(where, pump)


def _second_alone(table: str, reservoir: Reservoir) -> Iterator[Complaint]:
    for name in reservoir.probe:
        kind = Quantity(name).kind
        if kind != name and kind not in reservoir.probe:
            yield Complaint(f"{table}.{name}", f"a second probe without a first: call it [{table}.{kind}]")


def _target(table: str, reservoir: Reservoir) -> Iterator[Complaint]:
    control, bands = reservoir.ph, reservoir.bands
    low, high = bands.ph_low + control.dead_band, bands.ph_high - control.dead_band
    if low > high + SLACK:
        widest = (bands.ph_high - bands.ph_low) / 2
        yield Complaint(
            table,
            f"dead_band = {control.dead_band:g}: must be at most {widest:g} pH, half the band "
            f"{bands.ph_low:g} to {bands.ph_high:g}; make it smaller or widen the band",
        )
    elif not low - SLACK <= control.target <= high + SLACK:
        yield Complaint(
            table,
            f"target = {control.target:g}: must be from {low:g} to {high:g} pH, so that target plus or minus "
            f"dead_band = {control.dead_band:g} stays in the band {bands.ph_low:g} to {bands.ph_high:g}; "
            "move the target or the band",
        )


def _pair_of_stocks(table: str, reservoir: Reservoir) -> Iterator[Complaint]:
    for has, lacks in (("stock_a", "stock_b"), ("stock_b", "stock_a")):
        if has in reservoir.pump and lacks not in reservoir.pump:
            yield Complaint(
                f"{table}.{lacks}",
                f"is missing while {has} is set: half a feed unbalances the solution; add it, or take {has} out",
            )


def _strength(table: str, reservoir: Reservoir) -> Iterator[Complaint]:
    ec, bands, water = reservoir.ec, reservoir.bands, reservoir.water
    low, high = bands.ec_low_ms_per_cm + ec.dead_band_ms_per_cm, bands.ec_high_ms_per_cm - ec.dead_band_ms_per_cm
    is_dosed = {"stock_a", "top_up"} & reservoir.pump.keys()
    if is_dosed and not low - SLACK <= ec.target_ms_per_cm <= high + SLACK:
        yield Complaint(
            f"{table}.ec",
            f"target_ms_per_cm = {ec.target_ms_per_cm:g}: must be from {low:g} to {high:g} mS/cm, so that target "
            f"plus or minus dead_band_ms_per_cm = {ec.dead_band_ms_per_cm:g} stays in the band "
            f"{bands.ec_low_ms_per_cm:g} to {bands.ec_high_ms_per_cm:g}; move the target or the band",
        )
    if not water.top_up_below_share < water.fill_to_share:
        yield Complaint(
            f"{table}.water",
            f"top_up_below_share = {water.top_up_below_share:g}: must be below fill_to_share = "
            f"{water.fill_to_share:g}; lower it",
        )


def _stages(table: str, reservoir: Reservoir) -> Iterator[Complaint]:
    stages = reservoir.stage
    if stages and reservoir.sown_on is None and reservoir.crop is None:
        yield Complaint(table, "sown_on is missing: the stages count from it; add it, as sown_on = 2026-03-01")
    for number, (before, after) in enumerate(pairwise(stages), start=2):
        soonest_day = before.from_day + reservoir.stage_ramp_days
        if not soonest_day <= after.from_day:
            yield Complaint(
                f"{table}.stage.{number}",
                f"from_day = {after.from_day:g}: must be at least {soonest_day:g}, "
                f"after {before.name!r} and its ramp of stage_ramp_days = {reservoir.stage_ramp_days:g} days",
            )
    for number, stage in enumerate(stages, start=1):
        yield from _stage(f"{table}.stage.{number}", reservoir, stage)


def _stage(table: str, reservoir: Reservoir, stage: Stage) -> Iterator[Complaint]:
    bands = stage.bands or reservoir.bands
    wanted = (
        ("ph_target", stage.ph_target, reservoir.ph.dead_band, bands.ph_low, bands.ph_high),
        (
            "ec_target_ms_per_cm",
            stage.ec_target_ms_per_cm,
            reservoir.ec.dead_band_ms_per_cm,
            bands.ec_low_ms_per_cm,
            bands.ec_high_ms_per_cm,
        ),
    )
    for key, target, dead_band, low, high in wanted:
        if target is not None and not low + dead_band - SLACK <= target <= high - dead_band + SLACK:
            yield Complaint(
                table,
                f"{key} = {target:g}: must be from {low + dead_band:g} to {high - dead_band:g}, so that it stays "
                f"in the band {low:g} to {high:g} by the dead band of {dead_band:g}; move it or the band",
            )


def _still(table: str, reservoir: Reservoir) -> Iterator[Complaint]:
    if reservoir.system == "still" and reservoir.pump:
        pumps = ", ".join(sorted(reservoir.pump))
        yield Complaint(
            table,
            f'{pumps}: must not be there where system = "still", in which nothing mixes what is dosed, and a '
            "refill would drown the air roots; take the pumps out, or name the system it is",
        )


def _calibration_ages(table: str, reservoir: Reservoir) -> Iterator[Complaint]:
    for what in ("calibration", "pump_rate"):
        warn_days, expire_days = (getattr(reservoir, f"{what}_{then}_days") for then in ("warn", "expire"))
        if not warn_days <= expire_days:
            yield Complaint(
                table,
                f"{what}_warn_days = {warn_days:g}: must be at most {what}_expire_days = {expire_days:g} days; "
                "warn earlier",
            )


def _order_of_caps(table: str, pump: Pump) -> Iterator[Complaint]:
    caps = [(key, value) for key in CAPS if (value := getattr(pump, key)) is not None]
    for (smaller, less), (larger, more) in pairwise(caps):
        if not less <= more:
            yield Complaint(
                table,
                f"{smaller} = {less:g}: must be at most {larger} = {more:g} mL; lower the one or raise the other",
            )
    if pump.max_per_dose_ml and not pump.smallest_dose_ml <= pump.max_per_dose_ml:
        yield Complaint(
            table,
            f"smallest_dose_ml = {pump.smallest_dose_ml:g}: must be at most max_per_dose_ml = "
            f"{pump.max_per_dose_ml:g} mL, or no dose is ever possible",
        )


def _hard_limits(table: str, role: str, pump: Pump, volume_l: float) -> Iterator[Complaint]:
    hard = hard_limits(role)
    for key in CAPS:
        cap_ml = getattr(pump, key)
        if cap_ml is not None and not cap_ml <= hard.per_day_ml:
            yield Complaint(
                table, f"{key} = {cap_ml:g}: must be at most {hard.per_day_ml:g} mL, a built-in limit; lower it"
            )
    for key, share in (("max_per_dose_ml", hard.share_per_dose), ("max_per_day_ml", hard.share_per_day)):
        cap_ml, most_ml = getattr(pump, key), volume_l * ML_PER_L * share
        if cap_ml is not None and not cap_ml <= most_ml + SLACK:
            yield Complaint(
                table,
                f"{key} = {cap_ml:g}: must be at most {most_ml:g} mL, the built-in limit of {share * 100:g} % of "
                f"volume_l = {volume_l:g} L; lower it, or correct volume_l",
            )


def _run_time(table: str, pump: Pump) -> Iterator[Complaint]:
    most_ml = pump.ml_per_s * HARD_MAX_RUN_S
    if pump.max_per_dose_ml is not None and not pump.max_per_dose_ml <= most_ml + SLACK:
        yield Complaint(
            table,
            f"max_per_dose_ml = {pump.max_per_dose_ml:g}: must be at most {most_ml:g} mL, what the longest run "
            f"of {HARD_MAX_RUN_S:g} s gives at ml_per_s = {pump.ml_per_s:g} mL/s; lower it, or measure again",
        )


# --- wires ----------------------------------------------------------------------------------------------

WIRES = (
    (re.compile(r"gpio(\d+)"), "GPIO {0}"),
    (re.compile(r"i2c(\d+):(0x\w+):a(\d)"), "input {2} of the converter at {1} on I2C bus {0}"),
    (re.compile(r"i2c(\d+):(0x\w+)"), "the converter at {1} on I2C bus {0}"),
    (re.compile(r"sht3x(\d+):(0x\w+):(\w+)"), "the {2} of the SHT3x at {1} on I2C bus {0}"),
    (re.compile(r"onewire:(.+)"), "the one-wire sensor {0}"),
)


def appliances_nowhere(settings: Settings) -> Iterator[Complaint]:
    """Appliances that serve a reservoir there is none of."""
    for name, appliance in settings.appliance.items():
        for reservoir in appliance.reservoir:
            if reservoir not in settings.reservoir:
                yield Complaint(
                    f"appliance.{name}",
                    f"reservoir: there is no [reservoir.{reservoir}], only {', '.join(settings.reservoir)}"
                    f"{nearest(reservoir, settings.reservoir)}; name one, or leave it out for all",
                )


def wires_used_twice(claims: Mapping[str, frozenset[str]]) -> Iterator[Complaint]:
    """Each table that claims a wire which a table before it has.

    claims: dotted name of the table -> the wires it uses, as "gpio17" or "i2c1:0x48:a0".
    """
    taken: dict[str, str] = {}
    for table, wires in claims.items():
        for wire in sorted(wires):
            if wire in taken:
                yield Complaint(
                    table, f"{wire_words(wire)} is already used by [{taken[wire]}]; give each its own"
                )
            else:
                taken[wire] = table
    yield from _on_the_bus(taken)


def references_alone(claims: Mapping[str, frozenset[str]]) -> Iterator[Complaint]:
    """Each reference on a converter that no probe is on: it says nothing of any other. claims: as above."""
    references = {table: wires for table, wires in claims.items() if table.startswith("reference.")}
    probed = {_chip(wire) for table, wires in claims.items() if table not in references for wire in wires}
    for table, wires in references.items():
        for chip in sorted({_chip(wire) for wire in wires} - probed):
            yield Complaint(
                table,
                f"no probe is on {wire_words(chip)}: a reference vouches for no other converter than its own; "
                "wire it to the one with the probes",
            )


def _chip(wire: str) -> str:
    """The converter that an input belongs to, as `i2c1:0x48`; "" for a wire of another kind."""
    return wire.rpartition(":")[0]


def _on_the_bus(taken: Mapping[str, str]) -> Iterator[Complaint]:
    on_bus = next((table for wire, table in taken.items() if wire.startswith(("i2c1:", "sht3x1:"))), None)
    for wire, does in I2C1_LINES.items():
        if on_bus and wire in taken:
            yield Complaint(
                taken[wire],
                f"{wire_words(wire)} is the {does} line of I2C bus 1, which [{on_bus}] uses; use another line",
            )


def wire_words(wire: str) -> str:
    """A wire as a person reads it: "GPIO 17", "input 0 of the converter at 0x48 on I2C bus 1"."""
    for shape, words in WIRES:
        if found := shape.fullmatch(wire):
            return words.format(*found.groups())
    return wire


# --- allowed, but worth saying --------------------------------------------------------------------------


def warnings(settings: Settings) -> tuple[str, ...]:
    """What the settings allow but a person should know, one line each."""
    found = [
        *_of_pace(settings),
        *_of_mqtt(settings.mqtt),
        *_of_references(settings),
        *_of_mixing(settings.garden),
    ]
    for name, reservoir in settings.reservoir.items():
        found += _of_reservoir(f"reservoir.{name}", reservoir)
        for role, pump in reservoir.pump.items():
            found += _of_pump(f"reservoir.{name}.pump.{role}", role, pump, reservoir)
    return tuple(f"[{one.table}] {one.text}" for one in found)


def _of_pace(settings: Settings) -> Iterator[Complaint]:
    """Looks at analog probes that take most of a pass: then it takes longer than it should."""
    probes = [probe for reservoir in settings.reservoir.values() for probe in reservoir.probe.values()]
    wirings = [probe.wired() for probe in probes]
    looks_s = sum(one.look_s() for one in [*wirings, *settings.reference.values()] if isinstance(one, AdcInput))
    if looks_s > MOST_OF_A_PASS * settings.site.pass_every_s:
        yield Complaint(
            "site",
            f"pass_every_s = {settings.site.pass_every_s:g}: looking at all analog probes alone takes "
            f"{looks_s:.2g} s; make it longer, or conversions and excitation_settle_s less",
        )


def _of_mixing(garden: Garden) -> Iterator[Complaint]:
    if garden.mix_file is not None and not Path(garden.mix_file).is_file():
        yield Complaint(
            "garden",
            f'mix_file = "{garden.mix_file}": is no file, so the page cannot mix by it; start from: '
            f"cp config/mixes/quince-lane.toml {garden.mix_file}",
        )


def _of_mqtt(mqtt: Mqtt) -> Iterator[Complaint]:
    if not mqtt.enabled:
        yield Complaint("mqtt", "enabled = false: no alert leaves this box")
        return
    if mqtt.host not in LOOPBACK and mqtt.tls_ca_file is None:
        yield Complaint("mqtt", f'host = "{mqtt.host}": without tls_ca_file anyone on the network can read along')
    if (mqtt.username is None) != (mqtt.password_credential is None):
        yield Complaint("mqtt", "username and password_credential belong together; only one is set")


def _of_references(settings: Settings) -> Iterator[Complaint]:
    """Converters that nothing vouches for, where somebody has thought of it at all."""
    vouched = {_chip(wire) for one in settings.reference.values() for wire in one.claims()}
    for name, reservoir in settings.reservoir.items():
        for quantity, probe in reservoir.probe.items() if vouched else ():
            wires = probe.wired().claims()
            for chip in sorted({_chip(wire) for wire in wires if wire.startswith("i2c")} - vouched):
                vouched.add(chip)
                yield Complaint(
                    f"reservoir.{name}.probe.{quantity}",
                    f"{wire_words(chip)} has no reference: should it drift, nothing shows it; wire one to a "
                    "spare input",
                )


def _of_reservoir(table: str, reservoir: Reservoir) -> Iterator[Complaint]:
    probes = reservoir.probe
    if "temperature" not in probes and reservoir.assumed_temperature_c is None:
        yield Complaint(
            table,
            "neither a temperature probe nor assumed_temperature_c: pH and EC cannot be told, nothing will dose",
        )
    if "level" not in probes and reservoir.pump:
        yield Complaint(
            table,
            f"no level probe: doses reckon with {reservoir.volume_l:g} L even when less is left; "
            "fit a float switch",
        )
    if reservoir.start == "keeping" and not reservoir.pump:
        yield Complaint(table, 'start = "keeping" without a pump: it can only watch')


def _of_pump(table: str, role: str, pump: Pump, reservoir: Reservoir) -> Iterator[Complaint]:
    off = [key for key in CAPS if not getattr(pump, key)]
    if off:
        yield Complaint(table, f"{', '.join(off)} not set: a missing cap counts as zero, this pump will not dose")
    if SENSED_BY[role] not in reservoir.probe:
        yield Complaint(table, f"no {SENSED_BY[role]} probe to go by: this pump will not dose")
    elif role == "top_up" and reservoir.probe["level"].driver == "float_switch":
        yield Complaint(table, "a float switch cannot say when to stop: fit a level sender, or nothing is added")
    enough_s = MIXING_TIMES * reservoir.mixing_time_s
    if not pump.min_gap_s >= enough_s:
        yield Complaint(
            table,
            f"min_gap_s = {pump.min_gap_s:g}: shorter than {MIXING_TIMES:g} mixing times "
            f"({enough_s:g} s), so a dose may come before the last one shows",
        )
