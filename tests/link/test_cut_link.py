"""A link that is really cut: no packet passes, nobody says goodbye. Needs root; else skipped with the reason."""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from config.settings import Mqtt
from daemon.alarm.kinds import Kind
from daemon.alarm.table import TABLE
from daemon.link.mqtt import LinkStatus
from daemon.link.plain import utc_text
from daemon.link.wire import KEEPALIVE_S
from daemon.service import Service
from daemon.values import State
from sim_hw.bench import Bench, open_rig
from sim_hw.from_settings import bench_table
from tests.at_the_tank import CALIBRATIONS, PASS_S, one_bed
from tests.brokers import Broker, Watcher, until
from tests.link.devices import HEARTBEAT_S, only_mosquitto
from tests.namespaces import BROKER, Cable, NamespaceError, cable

DOSING = 60  # passes in which this water is dosed at least once
SAMPLED, STATE = "homie/5/quince-lane/box/sampled-at", "homie/5/quince-lane/$state"


@pytest.fixture
def wire() -> Iterator[Cable]:
    """Two networks with a cable between them."""
    try:
        with cable() as laid:
            yield laid
    except NamespaceError as reason:
        pytest.skip(f"no networks of our own can be made here: {reason}")


@dataclass
class Box:
    """The whole daemon on a stepped bench, where the box is."""

    service: Service
    bench: Bench

    def one_pass(self) -> State:
        """A pass, and the time until the next."""
        self.service.loop.one_pass()
        self.bench.clock.sleep(PASS_S)
        assert self.service.loop.state is not None
        return self.service.loop.state

    def passes_until(self, *, connected: bool, within_s: float) -> float:
        """Pass after pass until the link is, or is not, at its broker; how long that took."""
        began_s = time.monotonic()
        while self.link().connected is not connected:
            assert time.monotonic() - began_s < within_s, self.link().problem
            self.one_pass()
            time.sleep(0.02)
        return time.monotonic() - began_s

    def link(self) -> LinkStatus:
        """How the link is doing."""
        assert self.service._link is not None
        return self.service._link.status()


def box_in(folder: Path, port: int) -> Box:
    """The daemon, whose broker is at the other end of the cable."""
    folder.mkdir()
    (folder / "calibrations.toml").write_text(CALIBRATIONS.format(name="bed1"), encoding="utf-8")
    table = Mqtt.model_construct(**Mqtt(host=BROKER, port=port).model_dump() | {"heartbeat_s": HEARTBEAT_S})
    settings = one_bed().model_copy(update={"mqtt": table})
    bench = open_rig(bench_table(settings, seed=4))
    return Box(Service(settings, rig=bench, state_folder=folder, control=False), bench)


@pytest.fixture
def broker(wire: Cable, tmp_path: Path) -> Iterator[Broker]:
    """A mosquitto at the far end."""
    started = wire.at_broker(lambda: Broker("mosquitto", tmp_path, listen="0.0.0.0"))
    yield started
    started.stop()


@only_mosquitto
def test_a_cut_link_is_noticed_told_and_outlived(wire: Cable, broker: Broker, tmp_path: Path) -> None:
    """Noticed within the keep-alive; dosing goes on; back by itself, and what it shows first is of just now."""

    def story() -> None:
        with wire.at_broker(lambda: Watcher(broker.port, "homie/5/quince-lane/#")) as watcher:
            box = box_in(tmp_path / "state", broker.port)
            with box.service:
                box.passes_until(connected=True, within_s=10.0)
                last = cut_off(wire, box)
                back(wire, box, watcher, last)

    wire.at_box(story)


def cut_off(wire: Cable, box: Box) -> State:
    """Cut, noticed, told, and dosing goes on; the last state of that time."""
    wire.cut()
    noticed_s = box.passes_until(connected=False, within_s=float(KEEPALIVE_S))
    assert noticed_s < 3 * HEARTBEAT_S + 5.0  # three heartbeats without an answer
    assert "acknowledged nothing" in box.link().problem
    edges = len(box.bench.edges)
    for _ in range(round(TABLE[Kind.BROKER].on_delay_s / PASS_S) + DOSING):
        last = box.one_pass()
    assert len(box.bench.edges) > edges
    assert Kind.BROKER.value in {alarm.kind for alarm in last.alarms}
    return last


def back(wire: Cable, box: Box, watcher: Watcher, before: State) -> None:
    """Mended, there again, nothing of before is shown, and the alarm goes."""
    seen = len(watcher.seen)
    wire.mend()
    box.passes_until(connected=True, within_s=30.0)
    until(lambda: (STATE, b"ready") in watcher.seen[seen:])  # on its way to the watcher when the box has said it
    moments = [payload for topic, payload in watcher.seen[seen:] if topic == SAMPLED]
    assert moments
    assert min(moments) >= utc_text(before.utc).encode()
    for _ in range(round(TABLE[Kind.BROKER].off_delay_s / PASS_S) + 1):
        last = box.one_pass()
    assert Kind.BROKER.value not in {alarm.kind for alarm in last.alarms}
