"""The bench's level sender, contacts, known voltage and leaking pump."""

from __future__ import annotations

from contextlib import closing
from typing import Any

import pytest

from drivers.ads1115 import Chips, mux_of
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


def test_a_known_voltage_stays_whatever_the_water_does() -> None:
    """A reference at a spare input; its wire pulled off, the input floats; drifting, it goes by the hour."""
    steady = {"kind": "steady_voltage", "input": 0, "volts": 2.5}
    with closing(bench(probe=[*PROBES, steady])) as rig:
        chip = Chips(rig).at(1, 0x48)
        for act in (lambda: None, lambda: rig.play("drain", litres=30.0)):
            act()
            rig.clock.sleep(60.0)
            assert chip.volts(mux_of(0), 4.096).volts == pytest.approx(2.5, abs=0.001)
        rig.play("fault", name="probe_drifting", target="reference")
        rig.clock.sleep(7200.0)
        assert chip.volts(mux_of(0), 4.096).volts == pytest.approx(2.52, abs=0.001)
        rig.play("unplug", probe="reference")
        assert chip.volts(mux_of(0), 4.096).volts < 1.0


@pytest.mark.parametrize(("size", "volts"), [(None, 2.04), (0.9, 1.8)])
def test_a_converters_drift_is_a_fault_by_name(size: float | None, volts: float) -> None:
    """Begun at any probe on it, it befalls all of them, until it is mended."""
    steady = {"kind": "steady_voltage", "input": 0, "volts": 2.0}
    with closing(bench(probe=[*PROBES, steady])) as rig:
        chip = Chips(rig).at(1, 0x48)
        rig.play("fault", name="chip_reference_drifted", target="level", size=size)
        assert chip.volts(mux_of(0), 4.096).volts == pytest.approx(volts, abs=0.001)
        rig.play("mend", name="chip_reference_drifted", target="level")
        assert chip.volts(mux_of(0), 4.096).volts == pytest.approx(2.0, abs=0.001)


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
