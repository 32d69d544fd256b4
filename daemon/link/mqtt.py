"""The box on MQTT: a worker of its own that never delays a pass, whatever the broker does.

The loop calls `publish` after each pass; that keeps the newest state and returns. The worker opens a
connection, brings the device to `ready` (`daemon.link.session`) and, when the connection ends or the
broker stops acknowledging, throws it away and opens a new one after a growing pause.
"""

from __future__ import annotations

import logging
import socket
import threading
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime

from config.settings import Mqtt
from daemon.desk.requests import Request
from daemon.link.gate import Gate, Ignored
from daemon.link.session import STATE, Memory, Session
from daemon.link.trust import MqttSettingsError, Trust, explained
from daemon.link.wire import CONNECT_TIMEOUT_S, Wire
from daemon.values import State

LOG = logging.getLogger(__name__)
RETRY_FIRST_S, RETRY_LONGEST_S = 1.0, 120.0
STEP_S = 0.2  # the longest the worker waits before it looks for a newer state
STEADY_S = 30.0  # a connection that was ready for less does not shorten the pause before the next
SETTLE_S = 60.0  # from connecting to `ready`; longer means the broker does not answer
GOODBYE_S = 0.7  # for `disconnected` to be acknowledged; then the last will speaks for us
CLOSE_S = 1.0
TEST_WITHIN_S = 600.0
STRANGERS_WITHIN_S = 3600.0


@dataclass(frozen=True, slots=True)
class LinkStatus:
    """How the link is doing.

    connected: the device is `ready` at the broker. since_s: for how long that has been so, or not, in s.
    heartbeat_age_s: since the broker last acknowledged a heartbeat; None before the first.
    dropped, refused: messages too large to send, not allowed by the broker. ignored: commands not acted on, by
    reason; many_ignored: so many lately that a person should know. test_missed: the broker did not take the last
    test alert within TEST_WITHIN_S. certificate_ends: the broker's as last seen, UTC; None without TLS.
    strangers: how often within STRANGERS_WITHIN_S somebody else was at the broker under this box's name.
    """

    connected: bool
    since_s: float
    heartbeat_age_s: float | None
    dropped: int
    refused: int
    ignored: Mapping[Ignored, int]
    many_ignored: bool
    test_missed: bool
    problem: str
    certificate_ends: datetime | None = None
    strangers: int = 0


class MqttLink:
    """The device of this box at one broker. `start` once, `publish` each pass, `close` at the end."""

    def __init__(
        self,
        settings: Mqtt,
        *,
        device_id: str,
        site_name: str,
        password: str | None,
        trust: Trust | None,
        submit: Callable[[Request], None],
        gate: Gate,
    ) -> None:
        self._settings, self._password, self._submit = settings, password, submit
        self._device_id, self._title = device_id, site_name
        self._root = f"{settings.domain}/5/{device_id}"
        self._trust = trust
        self._memory, self._gate = Memory(), gate
        self._newest: State | None = None
        self._ready, self._changed_s, self._logged = False, time.monotonic(), ""
        self._closing = threading.Event()
        self._woken, self._waker = socket.socketpair()
        for end in (self._woken, self._waker):
            end.setblocking(False)
        self._thread = threading.Thread(target=self._run, name="mqtt", daemon=True)

    def start(self) -> None:
        """Begin connecting. The broker may be absent for days."""
        self._thread.start()

    def publish(self, state: State) -> None:
        """Show this state as soon as may be. Never blocks, never raises."""
        self._newest = state
        self._wake()

    def status(self) -> LinkStatus:
        """How the link is doing at this moment."""
        now_s, memory = time.monotonic(), self._memory
        age_s = None if memory.acknowledged_s is None else now_s - memory.acknowledged_s
        return LinkStatus(
            connected=self._ready,
            since_s=now_s - self._changed_s,
            heartbeat_age_s=age_s,
            dropped=memory.dropped,
            refused=memory.refused,
            ignored=dict(self._gate.counts),
            test_missed=memory.test_asked_s is not None and now_s - memory.test_asked_s > TEST_WITHIN_S,
            many_ignored=self._gate.many_lately(now_s),
            problem=memory.problem,
            certificate_ends=memory.certificate_ends,
            strangers=sum(now_s - seen_s < STRANGERS_WITHIN_S for seen_s in list(memory.strangers_s)),
        )

    def test_the_way(self) -> None:
        """Have a test alert taken by the broker; `status` tells if it was not. Never blocks."""
        if self._memory.test_asked_s is None:
            self._memory.test_asked_s = time.monotonic()

    def close(self) -> None:
        """Say `disconnected` and go; within a second, with or without the broker. Twice is harmless."""
        self._closing.set()
        self._wake()
        if self._thread.ident is not None:
            self._thread.join(CLOSE_S)
        if not self._thread.is_alive():
            self._woken.close()
            self._waker.close()

    def _wake(self) -> None:
        """Have the worker look now."""
        with suppress(OSError):  # full: it is being woken already; closed: nobody is left to wake
            self._waker.send(b".")

    def _run(self) -> None:
        pause_s = RETRY_FIRST_S
        while not self._closing.is_set():
            if self._newest is None:  # nothing to show before the first pass
                self._closing.wait(STEP_S)
                continue
            if self._connect():
                pause_s = RETRY_FIRST_S
            self._closing.wait(pause_s)
            pause_s = min(2 * pause_s, RETRY_LONGEST_S)

    def _connect(self) -> bool:
        """One connection from beginning to end. Whether it served long enough to try again at once."""
        wire, problem, steady = None, "", False
        try:
            tls = None if self._trust is None else self._trust.context()
            wire = Wire(self._settings, self._device_id, self._password, tls, self._woken)
            wire.open(f"{self._root}/{STATE}", "lost")
            self._converse(wire)
            problem, steady = wire.problem, self._ready and self.status().since_s > STEADY_S
        except OSError as error:
            problem = explained(error, self._settings)
        except MqttSettingsError as error:
            problem = str(error)
        except Exception as error:
            LOG.exception("MQTT: the connection is dropped after an error of our own")
            problem = repr(error)
        finally:
            if wire is not None:
                wire.close()
        self._tell_gone(problem)
        return steady

    def _converse(self, wire: Wire) -> None:
        opened_s = time.monotonic()
        while not (wire.connected or wire.problem or self._closing.is_set()):
            wire.step(STEP_S)
            wire.problem = wire.problem or self._silence(wire, opened_s)
        if not wire.connected or self._newest is None:
            return
        self._memory.problem, self._memory.certificate_ends = "", wire.certificate_ends
        session = Session(
            wire,
            root=self._root,
            title=self._title,
            heartbeat_every_s=self._settings.heartbeat_s,
            memory=self._memory,
            gate=self._gate,
            submit=self._submit,
            state=self._newest,
        )
        while not (wire.problem or self._closing.is_set()):
            session.advance(self._newest)
            if session.ready and not self._ready:
                self._tell_ready()
            wire.step(STEP_S)
            wire.problem = wire.problem or self._silence(wire, opened_s)
        if not wire.problem:
            _say_goodbye(wire, session)

    def _silence(self, wire: Wire, opened_s: float) -> str:
        """Why a broker that seems connected is given up, "" while it is not."""
        patience_s = 3 * self._settings.heartbeat_s
        if wire.oldest_wait_s() > patience_s:
            return f"the broker acknowledged nothing for {patience_s:g} s"
        if not (self._ready or wire.connected) and time.monotonic() - opened_s > CONNECT_TIMEOUT_S:
            return f"no answer to CONNECT within {CONNECT_TIMEOUT_S:g} s"
        if not self._ready and time.monotonic() - opened_s > SETTLE_S:
            return f"not ready within {SETTLE_S:g} s"
        return ""

    def _tell_ready(self) -> None:
        self._ready, self._changed_s = True, time.monotonic()
        LOG.info("MQTT: ready at %s:%d as %s", self._settings.host, self._settings.port, self._root)

    def _tell_gone(self, problem: str) -> None:
        """Log once per change, not at each attempt. Whoever sees that it is gone can see why."""
        self._memory.problem = problem
        if self._ready:
            self._ready, self._changed_s = False, time.monotonic()
        if problem and problem != self._logged:
            where = f"{self._settings.host}:{self._settings.port}"
            LOG.warning("MQTT at %s: %s; trying again, dosing does not depend on it", where, problem)
        self._logged = problem


def _say_goodbye(wire: Wire, session: Session) -> None:
    until_s = time.monotonic() + GOODBYE_S
    session.say_goodbye()
    while not (session.said_all or wire.problem) and time.monotonic() < until_s:
        wire.step(max(0.0, until_s - time.monotonic()))
        session.flush()
    if session.said_all and not wire.problem:
        wire.leave()
