"""The life of the device on one connection, in the order that Homie 5 asks for.

    discovering   `init` goes out; what the broker still keeps of an earlier life comes in
    clearing      the broker takes all that was under way
    describing    `$description` goes out; the broker has taken it
    filling       every value and alert, leftovers cleared; all acknowledged
    listening     subscribed to `hold/set`, to our own `$state`, and to heartbeats of ours that we do not send
    ready         `ready` goes out; from now on only what changes

A changed shape (a value known for the first time) goes back to `clearing` with `init`.
Nothing here blocks, and nothing is kept for later but the newest text of each topic.
"""

from __future__ import annotations

import json
import logging
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from enum import Enum, auto
from functools import partial
from typing import Any

from daemon.desk.requests import Origin, Request
from daemon.link import homie
from daemon.link.gate import Command, Gate, Ignored
from daemon.link.wire import LARGEST_PACKET, Message, Wire
from daemon.values import State

LOG = logging.getLogger(__name__)
LARGEST_PAYLOAD = 8_192  # bytes of a value or an alert
LEAST_BETWEEN_S = 0.2  # states that come faster are not all shown: a fast bench must not drown the broker
DISCOVERY_S = 2.0  # a broker that does not show us our own topics delays `ready` no longer than this
REMIND_EVERY_S = 3600.0
RESULTS = 20  # answers that wait to be told
NONCES = 100  # of ours that are remembered; a broker that comes back with an old store may still have an old one
STRANGERS = 50  # signs of somebody else under our name that are remembered
HOLD_GAP_S = 1.0  # repeated `hold` messages within this are one request
STATE, DESCRIPTION, ALERT = "$state", "$description", "$alert/"


class Phase(Enum):
    """Where on the way to `ready` the device is."""

    DISCOVERING = auto()
    CLEARING = auto()
    DESCRIBING = auto()
    FILLING = auto()
    LISTENING = auto()
    READY = auto()


@dataclass(slots=True)
class Memory:
    """What outlives a connection: the newest text of each property, and counts for people to see."""

    latest: dict[str, str] = field(default_factory=dict)
    version: int = 0
    test_asked_s: float | None = None  # when the way of alerts was to be tested; None: nothing is asked
    acknowledged_s: float | None = None  # monotonic time when the broker last took a heartbeat
    dropped: int = 0  # too large to send
    refused: int = 0  # messages the broker did not allow
    problem: str = ""
    certificate_ends: datetime | None = None  # the broker's, UTC
    told_nonces: deque[str] = field(default_factory=lambda: deque(maxlen=NONCES))
    strangers_s: deque[float] = field(default_factory=lambda: deque(maxlen=STRANGERS))  # when seen, monotonic
    results: deque[str] = field(default_factory=lambda: deque(maxlen=RESULTS))  # from the loop's thread


class Session:
    """One device on one open `Wire`. `advance` after each step of the wire."""

    def __init__(
        self,
        wire: Wire,
        *,
        root: str,
        title: str,
        heartbeat_every_s: float,
        memory: Memory,
        gate: Gate,
        submit: Callable[[Request], None],
        state: State,
    ) -> None:
        self.phase = Phase.DISCOVERING
        self.ready = False  # the broker has taken our `ready` once
        self._wire, self._root, self._title = wire, root, title
        self._heartbeat_every_s, self._memory, self._submit = heartbeat_every_s, memory, submit
        self._gate = gate
        self._found: dict[str, bytes] = {}  # retained topics of an earlier life, and our own `init`
        self._declared: dict[str, Any] = {}  # the description at the broker, without its version
        self._sent: dict[str, str] = {}
        self._outbox: dict[str, str] = {STATE: "init"}  # topic -> newest text, in the order of first asking
        self._held_s: dict[str, float] = {}
        self._heartbeat_s = float("-inf")
        self._reminded_s = time.monotonic()
        self._started_s = time.monotonic()
        self._look_at(state)
        wire.subscribe(f"{root}/#", stored=True)

    def advance(self, newest: State) -> None:
        """Take in what arrived, move on if the time has come, and send as much as the broker takes."""
        while self._wire.messages:
            self._take(self._wire.messages.popleft())
        while self._wire.acknowledged:
            answer = self._wire.acknowledged.popleft()
            self._note(answer.topic.removeprefix(f"{self._root}/"), answer.refusal)
        if newest is not self._state and time.monotonic() - self._looked_s >= LEAST_BETWEEN_S:
            self._look_at(newest)
            if self.phase is Phase.READY:
                self._update()
        self._move_on()
        self._follow_gate()
        self._remind()
        self._test_the_way()
        self.flush()

    def _remind(self) -> None:
        """Publish grave alerts that nobody has acknowledged once more, each hour."""
        now_s = time.monotonic()
        if self.phase is not Phase.READY or now_s - self._reminded_s < REMIND_EVERY_S:
            return
        self._reminded_s = now_s
        self._outbox |= homie.unheard_alerts(self._state)

    def _test_the_way(self) -> None:
        """Raise a test alert where one is asked for, and take it back once the broker has it."""
        if self.phase is not Phase.READY:
            return
        if self._memory.test_asked_s is not None and homie.PATH_TEST not in self._sent | self._outbox:
            self._outbox[homie.PATH_TEST] = homie.PATH_TEST_TEXT
        elif self._memory.test_asked_s is None and self._sent.get(homie.PATH_TEST):
            self._outbox[homie.PATH_TEST] = ""

    def _follow_gate(self) -> None:
        """Show the nonce of just now, and what came of commands."""
        self._gate.renew(time.monotonic())
        if self._memory.latest.get(homie.NONCE) != self._gate.nonce:
            self._memory.latest[homie.NONCE] = self._gate.nonce
            if self.phase is Phase.READY:
                self._update()
        while self.phase is Phase.READY and self._memory.results and self._wire.room:
            self._wire.tell(f"{self._root}/{homie.RESULT}", self._memory.results.popleft().encode())

    def say_goodbye(self) -> None:
        """Ask for `disconnected` to be sent, ahead of nothing else."""
        self._outbox = {STATE: "disconnected"}
        self.flush()

    @property
    def said_all(self) -> bool:
        """Whether everything asked for was sent and acknowledged."""
        return not self._outbox and self._wire.idle

    def _look_at(self, state: State) -> None:
        """Unknown values keep their last text; the heartbeat moves only at its interval, and only with a pass."""
        self._state, self._looked_s = state, time.monotonic()
        texts = homie.values(state)
        if self._looked_s - self._heartbeat_s >= self._heartbeat_every_s:
            self._heartbeat_s = self._looked_s
        else:
            texts[homie.HEARTBEAT] = self._memory.latest[homie.HEARTBEAT]
        self._memory.latest |= texts | {homie.NONCE: self._gate.nonce}
        self._shape = homie.description(self._title, state, self._memory.latest, version=0)

    def _move_on(self) -> None:
        if self.phase is Phase.DISCOVERING:
            if self._discovered():
                self._wire.unsubscribe(f"{self._root}/#")
                self._look_for_a_stranger()
                self._describe()
        elif self.phase is Phase.CLEARING:
            if self.said_all:
                self._describe()
        elif self._shape != self._declared:
            self._outbox = {STATE: "init"}
            self.phase = Phase.CLEARING
        elif self.phase is Phase.DESCRIBING and self.said_all:
            self._fill()
        elif self.phase is Phase.FILLING and self.said_all:
            self._listen()
        elif self.phase is Phase.LISTENING and self.said_all:
            self.phase = Phase.READY
            self._outbox[STATE] = "ready"
            self._update()

    def _discovered(self) -> bool:
        """Our own `init` came back, so all that was kept came before it; or the broker will not show it."""
        echoed = self._found.get(STATE) == b"init"
        waited_s = time.monotonic() - self._started_s
        return self.said_all and (echoed or waited_s > DISCOVERY_S)

    def _look_for_a_stranger(self) -> None:
        """A nonce under our name that we did not write: so another did, since we were here last.

        Not every broker tells whom it puts out that another took over (mosquitto 2.0 just hangs up).
        """
        kept = self._found.get(homie.NONCE, b"").decode(errors="replace")
        if kept and self._memory.told_nonces and kept not in self._memory.told_nonces:
            self._memory.strangers_s.append(time.monotonic())

    def _describe(self) -> None:
        """By itself: a heartbeat (QoS 1) would overtake it (QoS 2)."""
        self._memory.version = self._next_version()
        self._declared = self._shape
        declared = {**self._declared, "version": self._memory.version}
        self._outbox[DESCRIPTION] = json.dumps(declared, ensure_ascii=False, separators=(",", ":"))
        self.phase = Phase.DESCRIBING

    def _fill(self) -> None:
        self._update()
        self._outbox |= {path: "" for path in self._found if path not in self._sent | self._outbox}
        self._found.clear()
        self.phase = Phase.FILLING

    def _next_version(self) -> int:
        """The same for the same shape; otherwise higher than any we know of, and by the clock if we know none."""
        kept, kept_version = _kept_description(self._found.get(DESCRIPTION, b""))
        if kept == self._shape:
            return kept_version
        known = max(kept_version, self._memory.version)
        return known + 1 if known else int(self._state.utc.timestamp())

    def _listen(self) -> None:
        for path in homie.set_paths(self._state):
            self._wire.subscribe(f"{self._root}/{path}", stored=False)
        self._wire.subscribe(f"{self._root}/{STATE}", stored=True)
        self._wire.subscribe(f"{self._root}/{homie.HEARTBEAT}", stored=False, of_others=True)
        self.phase = Phase.LISTENING

    def _update(self) -> None:
        """Ask for what differs from what was sent; what is no longer there is cleared."""
        wanted = self._memory.latest | homie.alerts(self._state)
        ours = (STATE, DESCRIPTION, homie.PATH_TEST)
        gone = [path for path in self._sent if path not in wanted and path not in ours]
        for path, text in [*wanted.items(), *((path, "") for path in gone)]:
            if self._outbox.get(path, self._sent.get(path)) != text:
                self._outbox[path] = text

    def flush(self) -> None:
        """Send as much of what was asked for as the broker takes now."""
        while self._outbox and self._wire.room:
            path = next(iter(self._outbox))
            self._send(path, self._outbox.pop(path))

    def _send(self, path: str, text: str) -> None:
        payload = text.encode()
        if len(payload) > self._largest(path):
            self._drop(path, len(payload))
        else:
            # QoS 1 where a refusal must be told, see Wire.send; nothing relies on order across the two
            qos = 1 if path == homie.HEARTBEAT or path.startswith(ALERT) else 2
            self._wire.send(f"{self._root}/{path}", payload, qos)
        self._sent[path] = text
        if path == homie.NONCE:
            self._memory.told_nonces.append(text)
        if not text:
            del self._sent[path]

    def _largest(self, path: str) -> int:
        """Bytes of payload that may go out: a larger packet would make some brokers hang up, for ever."""
        overhead = 32 + len(self._root) + len(path)
        own = LARGEST_PACKET if path == DESCRIPTION else LARGEST_PAYLOAD
        return min(own, self._wire.largest_packet - overhead)

    def _drop(self, path: str, size: int) -> None:
        self._memory.dropped += 1
        self._memory.problem = f"{path} has {size} bytes, more than {self._largest(path)}: not sent"
        LOG.error("MQTT: %s", self._memory.problem)
        if path == DESCRIPTION:  # without it nobody can read the rest
            self._wire.problem = self._memory.problem

    def _note(self, path: str, refusal: str) -> None:
        if refusal:
            self._memory.refused += 1
            if self._memory.refused == 1 or path.startswith(ALERT):
                LOG.error("The MQTT broker does not let us publish %s: %s", path, refusal)
            self._memory.problem = f"the broker does not let us publish {path}: {refusal}"
        elif path == homie.HEARTBEAT:
            self._memory.acknowledged_s = time.monotonic()
        elif path == homie.PATH_TEST and self._memory.test_asked_s is not None:
            self._memory.test_asked_s = None
        elif path == STATE and self.phase is Phase.READY:
            self.ready = True

    def _take(self, message: Message) -> None:
        path = message.topic.removeprefix(f"{self._root}/")
        if self.phase is Phase.DISCOVERING:
            if message.retained and message.payload:
                self._found[path] = message.payload
        elif path == STATE:
            if message.payload == b"lost" and self.phase is Phase.READY:
                LOG.warning("An older connection's last will said we are lost: saying again that we are ready")
                self._outbox[STATE] = "ready"
        elif path == homie.HEARTBEAT:
            self._memory.strangers_s.append(time.monotonic())
        else:
            self._take_command(path, message)

    def _take_command(self, path: str, message: Message) -> None:
        """A live, unretained `true` on a known reservoir's `hold`, or what the gate lets in."""
        if path == homie.REQUEST:
            self._take_request(message)
            return
        found = homie.HOLD.fullmatch(path)
        if message.retained:
            self._gate.ignore(Ignored.RETAINED, time.monotonic())
        elif found is None or message.payload != b"true":
            self._gate.ignore(Ignored.MALFORMED, time.monotonic())
        elif found["reservoir"] in self._state.reservoirs:
            self._ask_hold(found["reservoir"])

    def _ask_hold(self, reservoir: str) -> None:
        now_s = time.monotonic()
        if now_s - self._held_s.get(reservoir, float("-inf")) < HOLD_GAP_S:
            return
        self._held_s[reservoir] = now_s
        params = {"reservoir": reservoir, "reason": "asked over MQTT"}
        self._submit(Request("hold", params, Origin.REMOTE, _log_refusal))

    def _take_request(self, message: Message) -> None:
        verdict = self._gate.judge(message.payload, time.monotonic(), retained=message.retained)
        if isinstance(verdict, Command):
            answer = partial(_tell_result, self._memory.results, verdict.id)
            self._submit(Request(verdict.method, verdict.params, verdict.origin, answer))


def _kept_description(payload: bytes) -> tuple[dict[str, Any], int]:
    """The shape and version that the broker still keeps; ({}, 0) where that is nothing of ours."""
    try:
        kept = json.loads(payload)
        version = int(kept["version"])
    except (ValueError, KeyError, TypeError, RecursionError):
        return {}, 0
    return {**kept, "version": 0}, version


def _tell_result(results: deque[str], id_: str, result: Any) -> None:
    """Called from the loop's thread."""
    refused = isinstance(result, Exception)
    said = str(result) if refused else str(result["said"])
    results.append(json.dumps({"id": id_, "accepted": not refused, "said": said[: homie.LONGEST_TEXT]}))


def _log_refusal(result: Any) -> None:
    if isinstance(result, Exception):
        LOG.warning("Hold asked over MQTT was refused: %s", result)
