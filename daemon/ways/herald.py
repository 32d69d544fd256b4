"""A worker that sends messages by every way, each in a process of its own with a time limit. Never in a pass.

A message that got out nowhere is tried again after a growing pause; of many that wait the newest stay.
"""

from __future__ import annotations

import json
import logging
import subprocess
import sys
import threading
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from daemon.ways.addresses import Way, redacted
from daemon.ways.plan import Message

LOG = logging.getLogger(__name__)
SEND_S = 60.0  # that one way may take with one message, on a small board and a slow network
RETRY_FIRST_S, RETRY_LONGEST_S = 60.0, 3600.0
MOST_WAITING = 8
BAD_IN_A_ROW = 3  # failures of one way, while others work, that a person should know of
CLOSE_S = 5.0


@dataclass(frozen=True, slots=True)
class Answer:
    """What came of one message one way. said: why it was not delivered, without any secret."""

    way: str
    delivered: bool
    said: str


@dataclass(frozen=True, slots=True)
class Standing:
    """How one way does. in_a_row: failures since it last delivered; said: the last reason."""

    way: str
    delivered: int = 0
    failed: int = 0
    in_a_row: int = 0
    said: str = ""


@dataclass(frozen=True, slots=True)
class WaysStatus:
    """How the ways out do. none_works: the last message got out nowhere. waiting: messages not sent yet."""

    ways: tuple[Standing, ...]
    none_works: bool
    waiting: int

    @property
    def bad(self) -> tuple[Standing, ...]:
        """Those that a person should see to."""
        least = 1 if self.none_works else BAD_IN_A_ROW
        return tuple(way for way in self.ways if way.in_a_row >= least)


def send(way: Way, message: Message, *, within_s: float = SEND_S) -> Answer:
    """Send it that way, in a process that is ended after so many seconds. Never raises."""
    order = json.dumps({"url": way.url, "title": message.title, "text": message.text})
    try:
        done = subprocess.run(
            [sys.executable, "-m", "daemon.ways.send"],
            input=order,
            capture_output=True,
            text=True,
            timeout=within_s,
            check=True,
        )
        told = json.loads(done.stdout.splitlines()[-1])
        return Answer(way.name, told["delivered"] is True, redacted(str(told["said"]), way.url))
    except subprocess.TimeoutExpired:
        return Answer(way.name, False, f"took longer than {within_s:g} s")
    except (OSError, subprocess.SubprocessError, ValueError, LookupError, TypeError) as error:
        return Answer(way.name, False, redacted(f"the sending process failed ({type(error).__name__})", way.url))


class Herald:
    """Takes messages and sees that they get out. `start` once, `tell` from any thread, `close` at the end."""

    def __init__(self, ways: Sequence[Way], sending: Callable[[Way, Message], Answer] = send) -> None:
        self._ways, self._sending = tuple(ways), sending
        self._waiting: deque[Message] = deque(maxlen=MOST_WAITING)
        self._standings = {way.name: Standing(way.name) for way in ways}
        self._none_works = False
        self._woken, self._closing = threading.Event(), threading.Event()
        self._thread = threading.Thread(target=self._run, name="ways", daemon=True)

    def start(self) -> None:
        """Begin to send."""
        self._thread.start()

    def tell(self, message: Message) -> None:
        """Have this sent. Never waits; of too many that wait the oldest is given up."""
        self._waiting.append(message)
        self._woken.set()

    def status(self) -> WaysStatus:
        """How the ways do now."""
        return WaysStatus(tuple(self._standings.values()), self._none_works, len(self._waiting))

    def close(self) -> None:
        """End; what waits is given up. Twice is harmless."""
        self._closing.set()
        self._woken.set()
        if self._thread.ident is not None:
            self._thread.join(CLOSE_S)

    def _run(self) -> None:
        pause_s = RETRY_FIRST_S
        while not self._closing.is_set():
            if not self._waiting:
                self._woken.wait()
                self._woken.clear()
                continue
            message = self._waiting.popleft()
            if self._sent(message):
                pause_s = RETRY_FIRST_S
                continue
            if len(self._waiting) < MOST_WAITING:
                self._waiting.appendleft(message)
            self._closing.wait(pause_s)
            pause_s = min(2 * pause_s, RETRY_LONGEST_S)

    def _sent(self, message: Message) -> bool:
        """Whether at least one way took it."""
        delivered = False
        for way in self._ways:
            if self._closing.is_set():
                return True
            answer = self._sending(way, message)
            self._note(answer)
            delivered = delivered or answer.delivered
        self._none_works = not delivered
        return delivered

    def _note(self, answer: Answer) -> None:
        before = self._standings[answer.way]
        if answer.delivered:
            after = replace(before, delivered=before.delivered + 1, in_a_row=0, said="")
        else:
            after = replace(before, failed=before.failed + 1, in_a_row=before.in_a_row + 1, said=answer.said)
            if before.said != answer.said:
                LOG.warning("An alert did not get out by %s: %s", answer.way, answer.said)
        self._standings[answer.way] = after
