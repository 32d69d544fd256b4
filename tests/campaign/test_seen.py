"""What is seen of a month from outside."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from sim_hw.bench import open_rig
from tests.campaign.draw import draw
from tests.campaign.seen import Seen


@pytest.fixture
def seen() -> Iterator[Seen]:
    """The month of a seed that begins at pH 7.1, base dosed into it just now."""
    plan = draw(5, 1.0)
    bench = open_rig(plan.bench)
    found = Seen(plan, bench)
    found.begin()
    line = next(line for line, role in found.roles.items() if role == "ph_up")
    for on in (True, False):
        bench.world.tell(line, on)
        bench.clock.sleep(2.0)
    found.see_doses(2.9)
    yield found
    bench.close()


def test_ph_beyond_the_band_after_a_dose_is_an_excursion(seen: Seen) -> None:
    """In the hour after it."""
    seen._see_windows()
    assert seen.excursion_ph > 0.3


def test_the_ph_of_new_water_is_not_what_doses_into_the_old_did(seen: Seen) -> None:
    """They went out with it."""
    seen.new_water(2.9)
    seen._see_windows()
    assert (seen.excursion_ph, seen.poured_ph) == (0.0, 0.0)
    assert seen.story[-1].endswith("new water, as the pH is 2.90")
