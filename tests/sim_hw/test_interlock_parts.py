"""The bench's level sender, contacts and leaking pump."""

from __future__ import annotations

from contextlib import closing
from typing import Any

import pytest

from drivers.ads1115 import Chips
from drivers.contact import Contact
from drivers.probe import Quantity
from drivers.registry import open_probe
from sim_hw.bench import Bench, open_rig

SENDER = {"kind": "level_sender", "input": 3, "empty_v": 0.5, "full_v": 2.5}
PROBES = [SENDER, {"kind": "contact", "name": "circulation", "line": 5}]
PUMPS = [{"role": "ph_down", "line": 17}]


def bench(**tank: Any) -> Bench:
    """One tank of 60 L on a stepped clock."""
    table = {"volume_l": 60.0, "plants": 0, "evaporation_l_per_day": 0.0, "probe": PROBES, "pump": PUMPS, **tank}
    return open_rig({"open": "sim_hw.bench:open_rig", "tank": {"bed1": table}})


def test_a_level_sender_follows_the_water() -> None:
    """Through the driver that reads it, within 1 % of the volume; unplugged it reads below empty."""
    with closing(bench()) as rig:
        table = {"input": 3, "empty_v": 0.5, "full_v": 2.5}
        probe = open_probe(Quantity.LEVEL, "level_sender", table, rig, Chips(rig))
        for drained, share in ((0.0, 1.0), (15.0, 0.75), (30.0, 0.25)):
            if drained:
                rig.play("drain", litres=drained)
            rig.clock.sleep(60.0)
            assert probe.sample().signal == pytest.approx(share, abs=0.01)
        rig.play("unplug", probe="level")
        assert probe.sample().signal < -0.1


def test_a_contact_is_closed_until_its_wire_breaks() -> None:
    """As the driver at its line sees it."""
    with closing(bench()) as rig:
        contact = Contact(line=5, pin_factory=rig.pin_factory())
        assert contact.closed()
        rig.play("unplug", probe="circulation")
        assert not contact.closed()
        assert rig.play("look")["tanks"]["bed1"]["probes"]["circulation"]["closed"] is False
        rig.play("plug", probe="circulation")
        assert contact.closed()
        contact.close()


@pytest.mark.parametrize(("size", "ml"), [(None, 10.0), (2.5, 25.0)])
def test_a_leaking_pump_leaks_by_the_minute_while_it_stands(size: float | None, ml: float) -> None:
    """Until it is mended, or its bottle is empty."""
    with closing(bench()) as rig:
        rig.play("fault", name="pump_leaks", target="ph_down", size=size)
        rig.clock.sleep(600.0)
        rig.play("mend", name="pump_leaks", target="ph_down")
        rig.clock.sleep(600.0)
        assert rig.play("look")["tanks"]["bed1"]["pumps"]["ph_down"]["delivered_ml"] == pytest.approx(
            ml, rel=0.01
        )
