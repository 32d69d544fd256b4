"""`python -m sim_hw.describe`: docs/bench.md from the models, so that the page cannot say what is not so."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

from pydantic import BaseModel

from config.describe import section
from config.source_water import Analysis
from sim_hw.crop import CropTable
from sim_hw.reagents import Reagent
from sim_hw.room import Spell
from sim_hw.source_water import WATERS
from sim_hw.systems import DeepWater, EbbAndFlow, Film, Still
from sim_hw.tank_settings import Pour, TankSettings

PAGE = Path(__file__).parent.parent / "docs" / "bench.md"
TABLES: tuple[tuple[str, type[BaseModel]], ...] = (
    ("[rig.tank.NAME]", TankSettings),
    ("[rig.tank.NAME.analysis]", Analysis),
    ('[rig.tank.NAME.system] with kind = "deep_water"', DeepWater),
    ('[rig.tank.NAME.system] with kind = "film"', Film),
    ('[rig.tank.NAME.system] with kind = "ebb_and_flow"', EbbAndFlow),
    ('[rig.tank.NAME.system] with kind = "still"', Still),
    ("[rig.tank.NAME.crop]", CropTable),
    ("[[rig.tank.NAME.spell]]", Spell),
    ("[[rig.tank.NAME.pour]]", Pour),
    ("[rig.tank.NAME.reagent.ROLE]", Reagent),
)
HEAD = """\
# The water on the simulated bench

What a tank of the simulated bench holds and what goes on in it, all told in the settings below `[rig.tank.NAME]`.
Every key of these may be left out; each only changes the bench's water, never what the daemon does. The source
water is told by one of `water`, `[.analysis]` and `alkalinity_mmol_per_l`; what plants take, by `[.crop]` or by
`nitrate_uptake_mmol_per_plant_day` and `transpiration_l_per_day`. ROLE is ph_down, ph_up, stock_a or stock_b.

    [rig.tank.bed1]
    water = "hard"
    recipe = "hoagland_2"
    system = { kind = "ebb_and_flow", bed_l = 15.0, flood_at_h = [8.0, 13.0, 18.0] }
    crop = { age_days = 14.0 }
    reagent.ph_down = { substance = "nitric_acid", percent = 10.0, density_g_per_ml = 1.055 }

    [[rig.tank.bed1.spell]]     # a heat wave from the third day to the sixth
    from_day = 3.0
    until_day = 6.0
    by_c = 8.0

A known voltage on a spare input (`[reference.NAME]` of the settings) is a probe like the others, and a converter
whose own reference drifts is a fault: its codes are `size` times what they should be, from `start_s` on.

    [[rig.tank.bed1.probe]]
    kind = "steady_voltage"
    address = 0x48
    input = 3
    volts = 2.503

    [[rig.fault]]               # or while it runs: python -m sim_hw fault chip_reference_drifted reference
    name = "chip_reference_drifted"
    target = "bed1/reference"
    start_s = 3600.0
    size = 1.02

Mains hum at a probe's input is a fault as well: `probe_hum`, its size the amplitude in mV, at the `mains_hz` of
the probe's table (50 where nothing is said). An EC cell with `disturbs_ph_mv` shifts the pH electrode in its tank
while its current flows: always, or while its `excitation_line` is high.

    [[rig.fault]]
    name = "probe_hum"
    target = "bed1/ph"
    start_s = 600.0
    size = 5.0

Strong acids and bases burn: a real bottle needs goggles, gloves, and the rules of your place.

This page is made from the program's own models: `python -m sim_hw.describe`.
"""


def page() -> str:
    """The whole page."""
    return "\n".join([HEAD, *_waters(), *_sections()])


def _sections() -> Iterator[str]:
    for heading, model in TABLES:
        yield from section(heading, model)


def _waters() -> Iterator[str]:
    """The named waters with their analyses."""
    yield "## The named waters\n\nInvented analyses, in mg/L; alkalinity in mmol/L. Error: cations less anions.\n"
    ions = list(next(iter(WATERS.values())).mg_per_l)
    yield f"| water | {' | '.join(ions)} | alkalinity | charge error |\n|{'---|' * (len(ions) + 3)}"
    for name, water in WATERS.items():
        amounts = " | ".join(f"{water.mg_per_l[ion]:g}" for ion in ions)
        yield f"| {name} | {amounts} | {water.alkalinity_mmol_per_l:g} | {water.charge_error_percent():+.1f} % |"
    yield ""


def main() -> int:
    """Write the page."""
    PAGE.write_text(page(), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
