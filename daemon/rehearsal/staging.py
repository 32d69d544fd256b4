"""The program on a stepped bench with a grower beside it: what every rehearsal of it needs.

Nothing here is written to a state folder that a grower has, and nothing waits for a real clock.
"""

from __future__ import annotations

import tempfile
from collections import deque
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from math import ceil
from pathlib import Path
from typing import Any

from daemon.crop.growth import HOURS_OF_DAY, UMOL_PER_J, Hour, Lamp, g_per_head, over_and_over
from daemon.crop.still import Day, draw_down, drunk
from daemon.desk.requests import Origin, Request
from daemon.service import Service
from daemon.values import Quantity
from sim_hw import grower
from sim_hw.bench import Bench
from sim_hw.crop import CropTable
from sim_hw.pins import Edge
from sim_hw.systems import Still
from sim_hw.tables import TankTable

MEMORY_FOLDER = Path("/dev/shm")


@contextmanager
def folder_in_memory() -> Iterator[Path]:
    """A folder that costs no disk writes where there is memory for it, and is gone afterwards."""
    with tempfile.TemporaryDirectory(dir=MEMORY_FOLDER if MEMORY_FOLDER.is_dir() else None) as folder:
        yield Path(folder)


def ask(service: Service, method: str, **params: Any) -> Mapping[str, Any]:
    """What the loop answers a person at the tank, at once. A refusal is raised."""
    answers: list[Any] = []
    service.submit(Request(method, params, Origin.LOCAL, answers.append))
    service.loop.answer_requests()
    if isinstance(answers[0], Exception):
        raise answers[0]
    answer: Mapping[str, Any] = answers[0]
    return answer


def calibrate_all(service: Service, bench: Bench) -> None:
    """As the grower would before leaving: every probe that needs it, in its standards.

    Raises GrowerStoppedError.
    """

    def asking(method: str, **params: Any) -> Mapping[str, Any]:
        return ask(service, method, **params)

    def wait() -> None:
        service.rig.clock.sleep(service.settings.site.pass_every_s)
        service.loop.one_pass()

    for name, reservoir in service.settings.reservoir.items():
        for quantity in grower.STANDARDS:
            if quantity in reservoir.probe:
                grower.calibrate(quantity, name, ask=asking, play=bench.play, wait=wait)


def expected_levels(tanks: Mapping[str, TankTable], days: float) -> dict[str, tuple[Day, ...]]:
    """How the level of each still tank with a growing crop should fall, day by day, if nobody pours."""
    return {
        name: _expected(tank, tank.crop, ceil(days))
        for name, tank in tanks.items()
        if isinstance(tank.system, Still) and tank.crop is not None
    }


def _expected(tank: TankTable, crop: CropTable, days: int) -> tuple[Day, ...]:
    """Reckoned as `evenwater crop still` does, from what the heads weigh."""
    lamp = Lamp(crop.par_w_per_m2 * UMOL_PER_J, tank.light_on_h, tank.light_off_h - tank.light_on_h)
    ordinary = [Hour(tank.temperature_c, lamp.light_umol(hour)) for hour in range(HOURS_OF_DAY)]
    young = int(crop.age_days)
    hours = over_and_over(ordinary, (young + days) * HOURS_OF_DAY)
    curve = g_per_head(hours, crop.plants_per_m2, tank.air_co2_ppm)[young:]
    return draw_down(curve, drunk(tank.plants, curve[-1] - curve[0], crop.water_l_per_kg), tank.volume_l)


def taken(edges: deque[Edge]) -> Iterator[Edge]:
    """The edges recorded since the last time, oldest first."""
    while edges:
        yield edges.popleft()


def truths(bench: Bench) -> dict[str, dict[Quantity, float]]:
    """What the water at the probes truly is, by reservoir."""
    looks = {name: basin.tank.look() for name, basin in bench.world.basins.items()}
    return {
        name: {Quantity.PH: look.ph, Quantity.EC: look.ec25_ms_per_cm, Quantity.TEMPERATURE: look.temperature_c}
        for name, look in looks.items()
    }
