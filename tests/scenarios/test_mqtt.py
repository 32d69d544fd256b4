"""The daemon and a real mosquitto: what a phone sees, what it may ask, and what happens without a broker."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import Self

import pytest

from tests.brokers import MOSQUITTO, Broker, Watcher
from tests.scenarios.site import Site, end, soon

pytestmark = pytest.mark.skipif(MOSQUITTO is None, reason="mosquitto is not installed")

ROOT = "homie/5/quince-lane"
HOLD = f"{ROOT}/bed1-dosing/hold"
PH_ALERT = f"{ROOT}/$alert/med-bed1-ph-probe"
FAST = 60.0  # bench seconds per real second
MOST_RSS_KB = 55 * 1024


class Phone:
    """`mosquitto_sub` on everything below the device, and what it has printed."""

    def __init__(self, port: int, folder: Path) -> None:
        self._printed = folder / "phone"
        words = ["mosquitto_sub", "-p", str(port), "-t", f"{ROOT}/#", "-q", "2", "-F", "%t %p"]
        with self._printed.open("wb") as printed:
            self._process = subprocess.Popen(words, stdout=printed)

    def seen(self, topic: str) -> list[str]:
        """Every payload of one topic so far."""
        lines = self._printed.read_text(errors="replace").split("\n")
        return [line.removeprefix(f"{topic} ") for line in lines[:-1] if line.startswith(f"{topic} ")]

    def last(self, topic: str) -> str | None:
        """The newest payload of one topic; "" where it was cleared."""
        return next(reversed(self.seen(topic)), None)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        end(self._process)


def publish(port: int, topic: str, payload: str, *options: str) -> None:
    """As `mosquitto_pub` does it."""
    words = ["mosquitto_pub", "-p", str(port), "-t", topic, "-m", payload, *options]
    subprocess.run(words, check=True, timeout=10.0)


@pytest.fixture
def broker(folder: Path) -> Iterator[Broker]:
    """A mosquitto of one's own."""
    started = Broker("mosquitto", folder)
    yield started
    started.stop()


@pytest.fixture
def site(folder: Path, broker: Broker) -> Site:
    """The demo rig sixty times as fast, with that broker in its settings."""
    made = Site(folder, time_factor=FAST)
    made.set("mqtt", enabled=True, port=broker.port)
    return made


def test_what_a_phone_sees_and_may_ask(site: Site, broker: Broker, folder: Path) -> None:
    """Ready, values, a dose, an alert that comes and goes; a live hold pauses, a retained one does nothing."""
    with site.running() as daemon, Phone(broker.port, folder) as phone:
        soon(lambda: phone.last(f"{ROOT}/$state") == "ready")
        soon(lambda: json.loads(phone.last(f"{ROOT}/bed1-dosing/last-dose") or "{}"))
        dose = json.loads(phone.last(f"{ROOT}/bed1-dosing/last-dose") or "")
        assert (dose["number"], dose["pump"], dose["ml"]) == (1, "ph_down", 4.0)
        assert float(phone.last(f"{ROOT}/bed1-probe/ph") or "nan") == pytest.approx(7.2, abs=0.15)
        assert float(phone.last(f"{ROOT}/bed1-probe/temperature") or "nan") == pytest.approx(20.0, abs=2.0)

        site.bench("unplug", "ph")
        soon(lambda: phone.last(PH_ALERT))
        assert "Doses that rest on this probe are stopped" in (phone.last(PH_ALERT) or "")
        soon(lambda: phone.last(f"{ROOT}/bed1-probe/ph-verdict") == "bad")
        site.bench("plug", "ph")
        soon(lambda: phone.last(PH_ALERT) == "")

        publish(broker.port, f"{HOLD}/set", "true", "-r")
        soon(lambda: "Ignored a command over MQTT: retained" in site.log)
        site.until_passes(2)
        assert site.bed()["condition"] == "keeping"
        publish(broker.port, f"{HOLD}/set", "true")
        soon(lambda: site.bed()["condition"] == "held")
        assert site.bed()["condition_reason"] == "asked over MQTT"
        soon(lambda: phone.last(HOLD) == "true")
        publish(broker.port, f"{HOLD}/set", "false")
        publish(broker.port, f"{ROOT}/bed1-dosing/condition/set", "keeping")
        site.until_passes(2)
        assert site.bed()["condition"] == "held"
        assert site.evenwater("release").returncode == 0
        soon(lambda: phone.last(HOLD) == "false")

        daemon.kill()
        soon(lambda: phone.last(f"{ROOT}/$state") == "lost")
        # The retained hold is still at the broker when the next daemon comes.
        with site.running() as next_daemon:
            soon(lambda: phone.last(f"{ROOT}/$state") == "ready")
            site.until_passes(2)
            assert site.bed()["condition"] == "keeping"
            next_daemon.send_signal(signal.SIGTERM)
            assert next_daemon.wait(20.0) == 0
        soon(lambda: phone.last(f"{ROOT}/$state") == "disconnected")


def test_a_hold_over_mqtt_pauses_dosing(site: Site, broker: Broker, folder: Path) -> None:
    """Nothing is dosed for as long as it takes to want to again, until a person at the tank releases."""
    site.set("reservoir.bed1", mixing_time_s=30.0)
    site.set("reservoir.bed1.pump.ph_down", min_gap_s=90.0)
    with site.running(), Phone(broker.port, folder) as phone:
        soon(lambda: phone.last(f"{ROOT}/$state") == "ready")
        publish(broker.port, f"{HOLD}/set", "true")
        soon(lambda: site.bed()["condition"] == "held")
        doses = site.ask("ledger")
        site.until_passes(20)  # twice the mixing of the last dose
        assert site.ask("ledger") == doses
        decided = site.bed()["last_decision"]
        assert decided is None or decided["cap"] == "condition"
        site.evenwater("release")
        soon(lambda: site.ask("ledger") != doses)


def test_no_broker_for_the_whole_run(site: Site, broker: Broker) -> None:
    """Dosing goes on and an alarm says so; when the broker comes, so do the values, and the alarm goes."""
    broker.stop()
    with site.running():
        soon(lambda: site.ask("ledger"))
        soon(lambda: "mqtt-broker" in site.alarms())
        assert f"No MQTT broker at 127.0.0.1:{broker.port}" in site.alarms()["mqtt-broker"]
        assert site.bed()["condition"] == "keeping"
        broker.start()
        with Watcher(broker.port, f"{ROOT}/#") as watcher:
            soon(lambda: watcher.kept.get(f"{ROOT}/$state") == b"ready")
            assert float(watcher.kept[f"{ROOT}/bed1-probe/ph"]) == pytest.approx(7.1, abs=0.3)
            assert json.loads(watcher.kept[f"{ROOT}/bed1-dosing/last-dose"])["number"] >= 1
        soon(lambda: "mqtt-broker" not in site.alarms())


def test_memory(site: Site) -> None:
    """Rig, ledger, links and sixty passes in one process fit beside the rest of a small Pi."""
    site.set("site", pass_every_s=1.0)
    with site.running() as daemon:
        site.until_passes(60)
        lines = Path(f"/proc/{daemon.pid}/status").read_text().splitlines()
        [rss_kb] = [int(line.split()[1]) for line in lines if line.startswith("VmRSS:")]
        assert "mqtt-broker" not in site.alarms()
    assert 10_000 < rss_kb <= MOST_RSS_KB


GARBAGE = (b"", b"true ", b"\xff\xfe", b'{"do": "dose", "ml": 50}', b'{"id": "x", "nonce": "0", "do": "release"}')
FLOOD_S = float(os.environ.get("EVENWATER_FLOOD_S", "4"))  # the whole minute: EVENWATER_FLOOD_S=60
PER_S = 1000


def test_a_flood_at_the_set_topics_moves_no_pump_and_costs_no_pass(folder: Path, broker: Broker) -> None:
    """A thousand messages of garbage a second; a right command afterwards is answered."""
    site = Site(folder)
    site.set("mqtt", enabled=True, port=broker.port)
    with site.running(), Watcher(broker.port, f"{ROOT}/box/#") as watcher:
        soon(lambda: f"{ROOT}/box/nonce" in watcher.kept)
        site.ask("hold", reason="nothing of its own is dosed meanwhile")
        site.until_passes(2)
        runs, passes, began_s, sent = site.runs(), site.passes(), time.monotonic(), 0
        while (gone_s := time.monotonic() - began_s) < FLOOD_S:
            if sent < gone_s * PER_S:
                watcher.throw((f"{HOLD}/set", f"{ROOT}/box/request/set")[sent % 2], GARBAGE[sent % len(GARBAGE)])
                sent += 1
            else:
                time.sleep(0.0005)
        made = site.passes() - passes
        assert site.runs() == runs
        assert made >= FLOOD_S - 1.0 - 0.1 * FLOOD_S
        soon(lambda: "mqtt-commands" in site.alarms())
        right = {"id": "after", "do": "ack", "nonce": ""}

        def is_answered() -> bool:
            watcher.publish(
                f"{ROOT}/box/request/set",
                json.dumps({**right, "nonce": watcher.kept[f"{ROOT}/box/nonce"].decode()}),
            )
            return any(b'"accepted": true' in answer for answer in watcher.payloads(f"{ROOT}/box/result"))

        soon(is_answered)
        print(f"{sent} messages in {FLOOD_S:g} s, {made} passes of 1 s")
