"""Two boxes under one name: noticed by both, and no storm of connections."""

from __future__ import annotations

import itertools
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from daemon.alarm.kinds import Kind
from daemon.link import homie, mqtt
from daemon.link.causes import STRANGERS
from daemon.service import Service, settings_with
from sim_hw.bench import open_rig
from sim_hw.from_settings import bench_table
from tests.at_the_tank import CALIBRATIONS, one_bed
from tests.brokers import Broker, Watcher, until
from tests.link.devices import Make, only_mosquitto
from tests.link.states import state

FIRST_S = 0.3  # of the pauses between attempts, in these tests
WATCHED_S, MOST_LATER = 2.0, 6  # s, and connections of both in it: pauses that double leave room for no more


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    """A mosquitto of one's own."""
    started = Broker("mosquitto", tmp_path)
    yield started
    started.stop()


@only_mosquitto
def test_two_that_take_turns_both_know_and_do_so_ever_more_rarely(
    broker: Broker, device: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each finds the other's nonce; the pauses double, however long each was let in."""
    monkeypatch.setattr(mqtt, "RETRY_FIRST_S", FIRST_S)
    monkeypatch.setattr(mqtt, "STEADY_S", FIRST_S)  # without care every turn would count as one that served
    with Watcher(broker.port, "homie/5/twin/$state") as watcher:
        one, two = device(broker.port, "twin"), device(broker.port, "twin")
        for each in (one, two):
            each.link.publish(state())
        until(lambda: all(each.link.status().strangers >= STRANGERS for each in (one, two)), 60.0)
        noticed = watcher.payloads("homie/5/twin/$state").count(b"init")
        time.sleep(WATCHED_S)
        later = watcher.payloads("homie/5/twin/$state").count(b"init") - noticed
    assert noticed <= 2 * (STRANGERS + 6)
    assert later <= MOST_LATER


@only_mosquitto
def test_after_the_other_has_gone_it_is_there_again(broker: Broker, device: Make) -> None:
    """The one that stays comes back by itself, and what it says is its own."""
    one, two = device(broker.port, "twin"), device(broker.port, "twin")
    one.ready()
    two.link.publish(state())
    until(lambda: one.link.status().strangers, 30.0)
    two.link.close()
    until(lambda: one.link.status().connected, 30.0)


def test_a_heartbeat_that_is_not_ours_is_a_stranger(broker: Broker, device: Make) -> None:
    """A copy under another client's name does not take over, and yet contradicts."""
    here = device(broker.port)
    with Watcher(broker.port, f"{here.root}/{homie.HEARTBEAT}") as watcher:
        here.ready()
        beats = f"{here.root}/{homie.HEARTBEAT}"
        passes = itertools.count(7)
        while len(watcher.payloads(beats)) < 2:
            here.link.publish(state(next(passes)))
            time.sleep(0.02)
        assert here.link.status().strangers == 0  # its own it does not count
        for beat in (b"10000000", b"10000001"):
            watcher.publish(beats, beat, retain=True)
        until(lambda: here.link.status().strangers == 2)
        assert sum(here.link.status().ignored.values()) == 0  # no command


def edges_of(folder: Path, seconds: float, **tables: Any) -> tuple[list[tuple[float, int, bool]], set[str]]:
    """What the pump lines did in that rig time, and the kinds of alarms at its end."""
    folder.mkdir()
    (folder / "calibrations.toml").write_text(CALIBRATIONS.format(name="bed1"), encoding="utf-8")
    settings = settings_with(one_bed(), **tables)
    bench = open_rig(bench_table(settings, seed=4))
    with Service(settings, rig=bench, state_folder=folder, control=False, mqtt=bool(tables)) as service:
        service.run(seconds)
        if tables:
            link = service._link
            assert link is not None
            until(lambda: link.status().strangers >= STRANGERS, 60.0)
            service.run(60.0)
        assert service.loop.state is not None
        kinds = {alarm.kind for alarm in service.loop.state.alarms}
        edges = [(edge.at_s - bench.clock.opened_s, edge.line, edge.on) for edge in bench.edges]
        return [edge for edge in edges if edge[0] < seconds], kinds


@only_mosquitto
def test_beside_a_twin_it_doses_as_it_would_alone(broker: Broker, device: Make, tmp_path: Path) -> None:
    """The same edges to the millisecond, and the alarm `same-id` with what to do."""
    alone, _ = edges_of(tmp_path / "alone", 4500.0)
    twin = device(broker.port, one_bed().site.device_id)
    twin.link.publish(state())
    beside, kinds = edges_of(tmp_path / "beside", 4500.0, mqtt={"port": broker.port})
    assert len(beside) == len(alone) > 2
    for seen, wanted in zip(beside, alone, strict=True):
        assert seen == pytest.approx(wanted, abs=0.001)
    assert Kind.SAME_ID.value in kinds
