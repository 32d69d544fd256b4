"""The device at real brokers: Debian's mosquitto, and the small one of the demo."""

from __future__ import annotations

import itertools
import json
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from daemon.desk.requests import Origin, RequestRefused
from daemon.link import homie, mqtt, session
from daemon.link.gate import Ignored, signature
from daemon.values import AlarmState, Condition, Priority, State
from tests.brokers import HOUSE, MOSQUITTO, Broker, Watcher, free_port, until
from tests.link.devices import HEARTBEAT_S, Device, Make, only_mosquitto
from tests.link.homie_rules import ID, STATES, faults, fits, properties
from tests.link.states import alarm, reservoir, state, with_ph, with_unknown_ph

real_mosquitto = pytest.param(
    "mosquitto", marks=pytest.mark.skipif(MOSQUITTO is None, reason="mosquitto is not installed")
)


@pytest.fixture(scope="module", params=[real_mosquitto, "embedded"])
def broker(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Broker]:
    """One broker of each kind, shared by the tests that leave it alone."""
    started = Broker(request.param, tmp_path_factory.mktemp("broker"))
    yield started
    started.stop()


@pytest.fixture(params=[real_mosquitto, "embedded"])
def fragile(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Broker]:
    """A broker of one's own, to stop and freeze."""
    started = Broker(request.param, tmp_path)
    yield started
    started.thaw()
    started.stop()


def ignored(device: Device) -> int:
    """How many commands were not acted on."""
    return sum(device.link.status().ignored.values())


def test_the_device_conforms_at_ready(broker: Broker, device: Make) -> None:
    """IDs, description, a legal retained value for every declared property, and no other retained topic."""
    here = device(broker.port)
    with Watcher(broker.port, f"{here.root}/#") as watcher:
        here.ready(state(1, reservoir("bed1"), reservoir("bed-2"), alarms=(alarm(),)))
        until(lambda: watcher.kept.get(f"{here.root}/$state") == b"ready")
        kept = {topic.removeprefix(f"{here.root}/"): text for topic, text in watcher.kept.items()}
    description = json.loads(kept.pop("$description"))
    assert faults(description) == []
    assert kept.pop("$state").decode() in STATES
    assert kept.pop("$alert/hi-bed1-ph-probe") == b"pH probe gone"
    allowed = {path: of for path, of in properties(description).items() if of.get("retained", True)}
    assert kept.keys() == allowed.keys()
    assert [path for path, payload in kept.items() if not fits(allowed[path], payload)] == []
    assert all(ID.fullmatch(level) for path in kept for level in path.split("/"))


def test_init_comes_before_the_description_and_ready_after_every_value(broker: Broker, device: Make) -> None:
    """The order of the convention's life cycle, as a controller sees it."""
    here = device(broker.port)
    with Watcher(broker.port, f"{here.root}/#") as watcher:
        here.ready(state(1, alarms=(alarm(),)))
        until(lambda: (f"{here.root}/$state", b"ready") in watcher.seen)
        order = [topic.removeprefix(f"{here.root}/") for topic, _ in watcher.seen]
    assert watcher.seen[0] == (f"{here.root}/$state", b"init")
    assert order[1] == "$description"
    first_ready = watcher.seen.index((f"{here.root}/$state", b"ready"))
    assert {path for path in order if "/" in path} <= set(order[:first_ready])


@pytest.mark.skipif(MOSQUITTO is None, reason="mosquitto_sub is not installed")
def test_the_ordinary_command_line_client_reads_it(broker: Broker, device: Make) -> None:
    """What a grower types is what the daemon says."""
    here = device(broker.port)
    here.ready()
    command = ["mosquitto_sub", "-V", "311", "-p", str(broker.port), "-t", f"{here.root}/+/+", "-v"]
    expected = homie.values(state()) | {homie.NONCE: ""}
    command += ["-C", str(len(expected)), "-W", "3"]
    out = subprocess.run(command, capture_output=True, text=True, timeout=5, check=True).stdout
    assert f"{here.root}/bed1-probe/ph 6.02" in out.splitlines()
    assert len(out.splitlines()) == len(expected)


def test_only_what_changed_is_sent(broker: Broker, device: Make) -> None:
    """A quiet reservoir makes a quiet network."""
    here = device(broker.port, heartbeat_s=60.0)
    here.ready(with_ph(1, 6.0))
    with Watcher(broker.port, f"{here.root}/#") as watcher:
        watcher.seen.clear()
        here.link.publish(with_ph(2, 6.1))
        until(lambda: watcher.seen)
        until(lambda: watcher.payloads(f"{here.root}/bed1-probe/ph"))
        assert watcher.seen == [(f"{here.root}/bed1-probe/ph", b"6.10")]


def test_a_burst_of_states_ends_with_the_newest(broker: Broker, device: Make) -> None:
    """A bench that runs thousands of passes a second neither drowns the broker nor leaves an old value."""
    here = device(broker.port)
    here.ready()
    with Watcher(broker.port, f"{here.root}/bed1-probe/ph") as watcher:
        for passes in range(2, 2002):
            here.link.publish(with_ph(passes, 5.0 + passes / 1000))
        until(lambda: watcher.kept[f"{here.root}/bed1-probe/ph"] == b"7.00")
        assert len(watcher.seen) < 40


def test_the_description_does_not_change_while_ready(broker: Broker, device: Make) -> None:
    """Values come and go, the shape stays: sent once."""
    here = device(broker.port)
    with Watcher(broker.port, f"{here.root}/#") as watcher:
        here.ready(with_ph(1, 6.0))
        here.link.publish(with_unknown_ph(2))
        until(lambda: watcher.kept.get(f"{here.root}/bed1-probe/ph-verdict") == b"bad")
        here.link.publish(with_ph(3, 6.4))
        until(lambda: watcher.kept[f"{here.root}/bed1-probe/ph"] == b"6.40")
        assert len(watcher.payloads(f"{here.root}/$description")) == 1
        assert b"" not in watcher.payloads(f"{here.root}/bed1-probe/ph")


def test_a_value_known_for_the_first_time_is_declared_by_way_of_init(broker: Broker, device: Make) -> None:
    """A probe that was unplugged at the start appears once it answers, with a higher version."""
    here = device(broker.port)
    with Watcher(broker.port, f"{here.root}/#") as watcher:
        here.ready(with_unknown_ph(1))
        assert f"{here.root}/bed1-probe/ph" not in watcher.kept
        here.link.publish(with_ph(2, 6.0))
        until(lambda: watcher.payloads(f"{here.root}/$state") == [b"init", b"ready"] * 2)
        assert watcher.kept[f"{here.root}/bed1-probe/ph"] == b"6.00"
        before, after = map(json.loads, watcher.payloads(f"{here.root}/$description"))
    assert after["version"] > before["version"]
    assert properties(after).keys() - properties(before).keys() == {"bed1-probe/ph"}


def test_leftovers_of_an_older_shape_are_cleared(broker: Broker, device: Make) -> None:
    """Old properties, old alerts and a retained command do not stay for ever."""
    here = device(broker.port)
    old = [f"{here.root}/{path}" for path in ("bed9-probe/ph", "$alert/hi-old", "bed1-dosing/hold/set", "x")]
    with Watcher(broker.port, f"{here.root}/#") as watcher:
        for topic in old:
            watcher.publish(topic, "true", retain=True)
        here.ready()
        until(lambda: watcher.kept.get(f"{here.root}/$state") == b"ready")
        assert watcher.kept.keys() & set(old) == set()
    assert here.requests == []


def test_the_version_stays_with_the_shape_and_rises_with_a_new_one(broker: Broker, device: Make) -> None:
    """The broker keeps it across restarts of the daemon."""
    versions = []
    for of in (state(), state(9), state(1, reservoir("bed1"), reservoir("bed2"))):
        here = device(broker.port, "versioned")
        here.ready(of)
        here.link.close()
        with Watcher(broker.port, "homie/5/versioned/$description") as watcher:
            versions.append(json.loads(watcher.kept["homie/5/versioned/$description"])["version"])
    assert versions[0] == versions[1] < versions[2]


def test_an_alert_comes_and_goes_without_a_trace(broker: Broker, device: Make) -> None:
    """A phone that connects later sees only what is wrong now."""
    here = device(broker.port)
    topic = f"{here.root}/$alert/hi-bed1-ph-probe"
    with Watcher(broker.port, f"{here.root}/$alert/#") as watcher:
        here.ready()
        here.link.publish(state(2, alarms=(alarm(),)))
        until(lambda: watcher.kept.get(topic) == b"pH probe gone")
        here.link.publish(state(3))
        until(lambda: watcher.payloads(topic)[-1] == b"")
    with Watcher(broker.port, f"{here.root}/$alert/#") as later:
        assert later.kept == {}


def test_a_clean_stop_says_disconnected_and_not_lost(broker: Broker, device: Make) -> None:
    """The last will is for accidents."""
    here = device(broker.port)
    here.ready()
    with Watcher(broker.port, f"{here.root}/$state") as watcher:
        here.link.close()
        here.link.close()
        until(lambda: watcher.kept[f"{here.root}/$state"] == b"disconnected")
        # a second of our own life cycle on the same broker would overtake a late `lost`
        device(broker.port, here.name).ready()
        until(lambda: watcher.kept[f"{here.root}/$state"] == b"ready")
        assert b"lost" not in watcher.payloads(f"{here.root}/$state")


KILLED = """
import threading, sys
from config.settings import Mqtt
from daemon.link.gate import Gate
from daemon.link.mqtt import MqttLink
from pathlib import Path
from tests.link.states import state
link = MqttLink(
    Mqtt(port=int(sys.argv[1])),
    device_id="doomed",
    site_name="Garden",
    password=None,
    trust=None,
    submit=print,
    gate=Gate(Path("/nowhere/commands.json"), {}),
)
link.publish(state())
link.start()
threading.Event().wait()
"""


def test_a_killed_process_is_lost(broker: Broker) -> None:
    """kill -9: the broker publishes the last will."""
    with Watcher(broker.port, "homie/5/doomed/$state") as watcher:
        process = subprocess.Popen([sys.executable, "-c", KILLED, str(broker.port)], cwd=HOUSE)
        try:
            until(lambda: watcher.kept.get("homie/5/doomed/$state") == b"ready", 10.0)
        finally:
            process.send_signal(signal.SIGKILL)
            process.wait()
        until(lambda: watcher.kept["homie/5/doomed/$state"] == b"lost")


def test_lost_by_mistake_is_put_right(broker: Broker, device: Make) -> None:
    """A lingering older connection may still publish its will after we are ready."""
    here = device(broker.port)
    here.ready()
    topic = f"{here.root}/$state"
    with Watcher(broker.port, topic) as watcher:
        until(lambda: watcher.kept.get(topic) == b"ready")
        watcher.publish(topic, "lost", retain=True)
        until(lambda: watcher.payloads(topic)[-2:] == [b"lost", b"ready"])


def test_hold_true_becomes_a_remote_request(broker: Broker, device: Make) -> None:
    """Anyone the broker lets in may make it dose less."""
    here = device(broker.port)
    here.ready()
    with Watcher(broker.port, "none") as watcher:
        watcher.publish(f"{here.root}/bed1-dosing/hold/set", "true")
        until(lambda: here.requests)
    asked = here.requests[0]
    assert (asked.method, asked.origin) == ("hold", Origin.REMOTE)
    assert asked.params == {"reservoir": "bed1", "reason": "asked over MQTT"}
    asked.answer(RequestRefused("bed1 is locked"))


def test_a_hold_is_acknowledged_by_the_value_itself(broker: Broker, device: Make) -> None:
    """There is no $target: `hold` turns true once the loop has paused dosing."""
    here = device(broker.port)
    with Watcher(broker.port, f"{here.root}/#") as watcher:
        here.ready()
        here.link.publish(state(2, reservoir(condition=Condition.HELD)))
        until(lambda: watcher.kept.get(f"{here.root}/bed1-dosing/hold") == b"true")
        assert not any(topic.endswith(("/$target", "/set")) for topic, _ in watcher.seen)


REFUSED = [
    b"false",
    b"",
    b"TRUE",
    b"true ",
    b"1",
    b"null",
    b"1e309",
    b"\xff\xfe",
    b'{"hold":true}',
    b"true" * 9000,
]


def test_anything_but_true_changes_nothing_and_is_counted(broker: Broker, device: Make) -> None:
    """Release is for a person at the tank; the last, legal message shows that the others were read."""
    here = device(broker.port)
    here.ready()
    topic = f"{here.root}/bed1-dosing/hold/set"
    with Watcher(broker.port, "none") as watcher:
        for payload in REFUSED:
            watcher.publish(topic, payload)
        watcher.publish(topic, b"true")
        until(lambda: here.requests)
    assert len(here.requests) == 1
    assert ignored(here) == len(REFUSED)


def test_a_retained_hold_is_ignored_live_and_after_a_restart(broker: Broker, device: Make) -> None:
    """A command that the broker keeps would come back at every connection."""
    here = device(broker.port)
    here.ready()
    topic = f"{here.root}/bed1-dosing/hold/set"
    with Watcher(broker.port, "none") as watcher:
        watcher.publish(topic, "true", retain=True)
        until(lambda: ignored(here) == 1)
        here.link.close()
        again = device(broker.port, here.name)
        again.ready()
        watcher.publish(topic, "false")
        until(lambda: ignored(again) == 1)
    assert here.requests == again.requests == []


def test_a_hold_sent_while_the_device_was_away_does_not_arrive_later(broker: Broker, device: Make) -> None:
    """No session is kept, so nothing queues for it."""
    here = device(broker.port)
    here.ready()
    here.link.close()
    topic = f"{here.root}/bed1-dosing/hold/set"
    with Watcher(broker.port, "none") as watcher:
        watcher.publish(topic, "true")
        again = device(broker.port, here.name)
        again.ready()
        watcher.publish(topic, "false")
        until(lambda: ignored(again) == 1)
    assert again.requests == []


def test_a_flood_of_holds_is_one_request(broker: Broker, device: Make) -> None:
    """A thousand messages do not fill the loop's queue."""
    here = device(broker.port)
    here.ready()
    topic = f"{here.root}/bed1-dosing/hold/set"
    with Watcher(broker.port, "none") as watcher:
        began_s = time.monotonic()
        for _ in range(300):
            watcher.publish(topic, "true")
        watcher.publish(topic, "false")
        until(lambda: ignored(here) == 1)
        took_s = time.monotonic() - began_s
    assert 1 <= len(here.requests) <= 1 + took_s


def test_the_heartbeat_counts_passes_at_its_interval_and_stops_with_the_loop(
    broker: Broker, device: Make
) -> None:
    """A watcher elsewhere can tell a hung loop from a quiet reservoir."""
    here = device(broker.port)
    topic = f"{here.root}/box/heartbeat"
    with Watcher(broker.port, topic) as watcher:
        began_s = time.monotonic()
        here.ready(state(1))
        for passes in range(2, 14):
            here.link.publish(state(passes))
            time.sleep(0.05)
        passed_s = time.monotonic() - began_s
        time.sleep(2 * HEARTBEAT_S)  # the loop hangs from here on
        beats = [int(payload) for payload in watcher.payloads(topic)]
        before_s = here.link.status().heartbeat_age_s
        time.sleep(HEARTBEAT_S)
        assert [int(payload) for payload in watcher.payloads(topic)] == beats == sorted(set(beats))
    assert beats[0] == 1
    assert 2 <= len(beats) <= 2 + passed_s / HEARTBEAT_S  # 0.6 s of passes or more
    after_s = here.link.status().heartbeat_age_s
    assert before_s is not None
    assert after_s is not None
    assert after_s >= before_s + HEARTBEAT_S


WAITED_S = 0.5  # a publish or a goodbye that waits for a broker takes more; a busy machine delays by less


def longest_publish_s(here: Device, passes: int = 200) -> float:
    """The longest that one publish took."""
    longest_s = 0.0
    for number in range(passes):
        of = with_ph(number, 5.0 + number / 100)
        began_s = time.perf_counter()
        here.link.publish(of)
        longest_s = max(longest_s, time.perf_counter() - began_s)
    return longest_s


def test_publishing_does_not_wait_for_an_absent_broker(device: Make) -> None:
    """Days without a broker cost the loop nothing, and closing is quick."""
    here = device(free_port())
    assert longest_publish_s(here) < WAITED_S
    until(lambda: here.link.status().problem)
    assert "refused" in here.link.status().problem
    assert not here.link.status().connected
    began_s = time.monotonic()
    here.link.close()
    assert time.monotonic() - began_s < mqtt.CLOSE_S + WAITED_S


def test_publishing_does_not_wait_for_a_frozen_broker(fragile: Broker, device: Make) -> None:
    """It is given up after three heartbeats, and taken up again when it is back, with fresh values."""
    here = device(fragile.port)
    here.ready()
    fragile.freeze()
    assert longest_publish_s(here) < WAITED_S
    until(lambda: not here.link.status().connected)
    assert "acknowledged nothing" in here.link.status().problem
    fragile.thaw()
    here.link.publish(with_ph(500, 6.66))
    until(lambda: here.link.status().connected, 15.0)
    with Watcher(fragile.port, f"{here.root}/#") as watcher:
        assert watcher.kept[f"{here.root}/bed1-probe/ph"] == b"6.66"


def test_closing_does_not_wait_for_a_frozen_broker(fragile: Broker, device: Make) -> None:
    """A second at most; then the last will speaks."""
    here = device(fragile.port, heartbeat_s=60.0)
    here.ready()
    with Watcher(fragile.port, f"{here.root}/$state") as watcher:
        fragile.freeze()
        began_s = time.monotonic()
        here.link.close()
        assert time.monotonic() - began_s < mqtt.CLOSE_S + WAITED_S
        fragile.thaw()
        until(lambda: watcher.kept[f"{here.root}/$state"] in (b"lost", b"disconnected"))


def test_a_broker_that_comes_back_gets_fresh_values_only(fragile: Broker, device: Make) -> None:
    """Nothing that was said meanwhile overtakes the newest."""
    here = device(fragile.port)
    here.ready(with_ph(1, 6.0))
    fragile.stop()
    until(lambda: not here.link.status().connected)
    for passes in range(2, 100):
        here.link.publish(with_ph(passes, 5.0 + passes / 100))
    fragile.start()
    with Watcher(fragile.port, f"{here.root}/#") as watcher:
        until(lambda: watcher.kept.get(f"{here.root}/$state") == b"ready", 10.0)
        assert watcher.payloads(f"{here.root}/bed1-probe/ph") == [b"5.99"]


@only_mosquitto
def test_an_alert_that_the_broker_does_not_allow_is_told(device: Make, tmp_path: Path) -> None:
    """Otherwise everybody would believe the phone knows."""
    rules = tmp_path / "acl"
    rules.write_text(
        "topic read #\ntopic write homie/5/+/$state\ntopic write homie/5/+/+/+\ntopic deny homie/5/+/$alert/+\n"
    )
    strict = Broker("mosquitto", tmp_path, f"acl_file {rules}")
    try:
        here = device(strict.port)
        here.link.publish(state(1, alarms=(alarm(),)))
        until(lambda: "$alert/hi-bed1-ph-probe" in here.link.status().problem)
        assert here.link.status().refused == 1
    finally:
        here.link.close()
        strict.stop()


@only_mosquitto
def test_a_broker_that_shows_us_nothing_delays_ready_only_a_little(
    device: Make, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Access rules may let the device write and not read."""
    monkeypatch.setattr(session, "DISCOVERY_S", 0.1)
    rules = tmp_path / "acl"
    rules.write_text("topic write #\n")
    strict = Broker("mosquitto", tmp_path, f"acl_file {rules}")
    try:
        here = device(strict.port)
        here.ready()
        here.link.close()
    finally:
        strict.stop()


@only_mosquitto
@pytest.mark.parametrize(("password", "outcome"), [("quince", "ready"), ("plum", "refused: Not authorized")])
def test_name_and_password_open_the_broker(device: Make, tmp_path: Path, password: str, outcome: str) -> None:
    """The wrong one is said, and tried again later."""
    known = tmp_path / "passwords"
    subprocess.run(["mosquitto_passwd", "-b", "-c", str(known), "box", "quince"], check=True, capture_output=True)
    closed = Broker("mosquitto", tmp_path, "allow_anonymous false", f"password_file {known}")
    try:
        here = device(closed.port, username="box", password=password)
        here.link.publish(state())
        until(lambda: here.link.status().connected or here.link.status().problem)
        assert outcome in ("ready" if here.link.status().connected else here.link.status().problem)
    finally:
        here.link.close()
        closed.stop()


def test_nothing_is_said_before_the_first_pass(broker: Broker, device: Make) -> None:
    """A device without values would not conform."""
    here = device(broker.port)
    with Watcher(broker.port, f"{here.root}/#") as watcher:
        time.sleep(0.1)
        assert watcher.seen == []
        here.ready()


def test_a_server_that_never_answers_is_given_up(device: Make, monkeypatch: pytest.MonkeyPatch) -> None:
    """Something listens on the port, but it is no broker."""
    monkeypatch.setattr(mqtt, "CONNECT_TIMEOUT_S", 0.1)
    with socket.create_server(("127.0.0.1", 0)) as silent:
        here = device(silent.getsockname()[1])
        here.link.publish(state())
        until(lambda: "no answer to CONNECT" in here.link.status().problem)
        here.link.close()


def test_the_pause_between_attempts_grows(device: Make, monkeypatch: pytest.MonkeyPatch) -> None:
    """0.05, 0.1, 0.2, 0.4 s: a broker that hangs up at once is not stormed."""
    monkeypatch.setattr(mqtt, "RETRY_FIRST_S", 0.05)
    came_s = []
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(5.0)
        here = device(server.getsockname()[1])
        here.link.publish(state())
        for _ in range(5):
            caller, _ = server.accept()
            came_s.append(time.monotonic())
            caller.close()
        here.link.close()
    pauses_s = [later - before for before, later in itertools.pairwise(came_s)]
    assert all(pause_s >= 0.04 * 2**number for number, pause_s in enumerate(pauses_s))


@only_mosquitto
def test_a_description_too_large_for_the_broker_ends_the_attempt(device: Make, tmp_path: Path) -> None:
    """It is not sent at all: the broker would hang up, for ever."""
    narrow = Broker("mosquitto", tmp_path, "max_packet_size 2000")
    try:
        here = device(narrow.port)
        here.link.publish(state())
        until(lambda: "$description has" in here.link.status().problem)
        assert here.link.status().dropped == 1
        assert not here.link.status().connected
    finally:
        here.link.close()
        narrow.stop()


def test_an_error_of_our_own_does_not_end_the_link(broker: Broker, device: Make) -> None:
    """The worker drops the connection and begins again."""
    here = device(broker.port)
    whole = state()
    here.link.publish(State(**{**{name: getattr(whole, name) for name in whole.__slots__}, "reservoirs": None}))
    until(lambda: "AttributeError" in here.link.status().problem)
    here.ready(whole)


# commands with the nonce


def command(device: Device, **more: Any) -> bytes:
    """One that is right, but for what is given."""
    return json.dumps({"id": "one", "nonce": device.gate.nonce, "do": "ack", **more}).encode()


def test_a_command_with_the_nonce_is_asked_once_and_answered(broker: Broker, device: Make) -> None:
    """By the property that a controller reads; then it is another, and the same message means nothing."""
    here = device(broker.port)
    with Watcher(broker.port, f"{here.root}/#") as watcher:
        here.ready()
        until(lambda: watcher.kept.get(f"{here.root}/box/nonce") == here.gate.nonce.encode())
        sent = command(here, keys=["bed1-ph-probe"])
        watcher.publish(f"{here.root}/box/request/set", sent)
        until(lambda: here.requests)
        (asked,) = here.requests
        assert (asked.method, asked.params, asked.origin) == ("ack", {"keys": ["bed1-ph-probe"]}, Origin.VOUCHED)
        asked.answer({"said": "acknowledged: bed1-ph-probe"})
        until(lambda: watcher.payloads(f"{here.root}/box/result"))
        answer = json.loads(watcher.payloads(f"{here.root}/box/result")[0])
        assert answer == {"id": "one", "accepted": True, "said": "acknowledged: bed1-ph-probe"}
        until(
            lambda: (
                watcher.kept[f"{here.root}/box/nonce"] == here.gate.nonce.encode() != json.loads(sent)["nonce"]
            )
        )
        watcher.publish(f"{here.root}/box/request/set", sent)
        until(lambda: ignored(here) == 1)
    assert here.link.status().ignored == {Ignored.LATE: 1}
    assert len(here.requests) == 1


@pytest.mark.parametrize("payload", [*REFUSED, b"true", b"[]", b"{}", b'{"id": "x"}'])
def test_what_is_no_command_changes_nothing(broker: Broker, device: Make, payload: bytes) -> None:
    """Nor does one that the broker keeps."""
    here = device(broker.port)
    here.ready()
    with Watcher(broker.port, "none") as watcher:
        watcher.publish(f"{here.root}/box/request/set", payload)
        watcher.publish(f"{here.root}/box/request/set", command(here), retain=True)
        until(lambda: ignored(here) == 2)
        watcher.publish(f"{here.root}/box/request/set", b"", retain=True)
    assert here.requests == []


def test_release_needs_the_signature_of_a_named_controller(broker: Broker, device: Make) -> None:
    """Without the grower's key nobody on the network can let it dose."""
    key = b"k" * 32
    here = device(broker.port, keys={"panel": key})
    here.ready()
    with Watcher(broker.port, "none") as watcher:
        topic = f"{here.root}/box/request/set"
        watcher.publish(topic, command(here, do="release"))
        wrong = signature(b"x" * 32, "one", here.gate.nonce, "release", "bed1")
        watcher.publish(topic, command(here, do="release", reservoir="bed1", controller="panel", signature=wrong))
        until(lambda: ignored(here) == 2)
        assert here.requests == []
        right = signature(key, "one", here.gate.nonce, "release", "bed1")
        watcher.publish(topic, command(here, do="release", reservoir="bed1", controller="panel", signature=right))
        until(lambda: here.requests)
    assert (here.requests[0].method, here.requests[0].origin) == ("release", Origin.SIGNED)


def test_after_a_flood_a_valid_command_still_works(broker: Broker, device: Make) -> None:
    """What is ignored costs no memory and no turn."""
    here = device(broker.port)
    here.ready()
    topic = f"{here.root}/box/request/set"
    with Watcher(broker.port, "none") as watcher:
        for number in range(1000):
            watcher.publish(topic, b'{"do": "dose", "ml": %d}' % number)
        until(lambda: ignored(here) == 1000, within_s=20.0)
        assert here.link.status().many_ignored
        watcher.publish(topic, command(here))
        until(lambda: here.requests)
    assert [asked.method for asked in here.requests] == ["ack"]


# the way of alerts


def test_the_way_is_tested_by_an_alert_that_the_broker_takes(broker: Broker, device: Make) -> None:
    """It comes, is confirmed, and goes again without a trace."""
    here = device(broker.port)
    with Watcher(broker.port, f"{here.root}/#") as watcher:
        here.ready()
        here.link.test_the_way()
        topic = f"{here.root}/{homie.PATH_TEST}"
        until(lambda: [bool(payload) for payload in watcher.payloads(topic)] == [True, False])
        assert topic not in watcher.kept
        assert not here.link.status().test_missed


def test_a_way_that_does_not_lead_anywhere_is_told(device: Make, monkeypatch: pytest.MonkeyPatch) -> None:
    """Also where the broker is away altogether."""
    monkeypatch.setattr(mqtt, "TEST_WITHIN_S", 0.2)
    here = device(free_port())
    here.link.publish(state())
    here.link.test_the_way()
    assert not here.link.status().test_missed
    until(lambda: here.link.status().test_missed)


def test_a_grave_alert_that_nobody_heard_is_sent_again(
    broker: Broker, device: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each hour; one that was acknowledged, or is not grave, only once."""
    monkeypatch.setattr(session, "REMIND_EVERY_S", 0.3)
    seen = replace(alarm("bed1-seen"), state=AlarmState.ACKNOWLEDGED)
    here = device(broker.port)
    with Watcher(broker.port, f"{here.root}/#") as watcher:
        here.ready(state(1, alarms=(alarm("bed1-leak"), seen, alarm("bed1-mild", Priority.MEDIUM))))
        until(lambda: len(watcher.payloads(f"{here.root}/$alert/hi-bed1-leak")) >= 3)
        assert len(watcher.payloads(f"{here.root}/$alert/hi-bed1-seen")) == 1
        assert len(watcher.payloads(f"{here.root}/$alert/med-bed1-mild")) == 1


def test_an_alert_does_not_wait_for_the_workers_next_step(
    broker: Broker, device: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A new state wakes it, however long it would have slept."""
    here = device(broker.port)
    with Watcher(broker.port, f"{here.root}/#") as watcher:
        here.ready()
        until(lambda: watcher.kept.get(f"{here.root}/$state") == b"ready")
        monkeypatch.setattr(mqtt, "STEP_S", 30.0)
        time.sleep(0.2)  # until it sleeps for so long
        here.link.publish(state(2, alarms=(alarm(),)))
        until(lambda: f"{here.root}/$alert/hi-bed1-ph-probe" in watcher.kept, within_s=5.0)
