"""What the daemon says to the page: few calls at a time, however many phones look."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from pydantic import TypeAdapter, ValidationError

from daemon.link.client import CallRefused, ClientError, ControlClient, NoDaemon
from daemon.link.control import REFUSED
from daemon.values import Entry, State

LOOK_S = 8.0  # for an answer to a look; whoever acts waits as long as the command line does
SHARED_S = 1.0  # that one snapshot serves all who look
MOST_CALLS = 4  # at once, of the control socket's connections: the command line at the tank keeps its own
OLD_S = 60.0  # a snapshot older than this is no longer how it is
PI_RIG = "drivers.pi:open_rig"  # its monotonic time is this box's

OTHER_VERSION = "the daemon's answer is of another version than this page: restart both after an upgrade"

T = TypeVar("T")

_STATE = TypeAdapter(State)
_ENTRIES = TypeAdapter(tuple[Entry, ...])
_SAID = TypeAdapter(dict[str, Any])


class NotAcceptedError(CallRefused):
    """The daemon did nothing, and says what it wants to know first."""


@dataclass(frozen=True, slots=True)
class Glimpse:
    """A snapshot, and how many seconds ago its pass ended."""

    state: State
    age_s: float

    @property
    def old(self) -> bool:
        """Whether it may no longer be taken for how things are."""
        return not self.age_s <= OLD_S


def box_s() -> float:
    """Seconds since this box was started, asleep or not, as the daemon's own clock on a Pi counts them."""
    return time.clock_gettime(time.CLOCK_BOOTTIME)


class Daemon:
    """The daemon of one state folder, asked by many. Its methods raise ClientError with what to do."""

    def __init__(self, folder: Path, *, now_s: Callable[[], float] = box_s) -> None:
        self._look, self._act = ControlClient(folder, timeout_s=LOOK_S), ControlClient(folder)
        self._now_s = now_s
        self._turns = threading.BoundedSemaphore(MOST_CALLS)
        self._lock = threading.Lock()
        self._state: State | None = None
        self._trouble: ClientError | None = None
        self._asked_s = 0.0
        self._seen: tuple[int, float] | None = None  # the newest pass, and when it was first seen here

    def glimpse(self) -> Glimpse:
        """The newest snapshot, at most a second later than it could be, and its age.

        A daemon that does not answer is asked by one at a time, and whoever waited meanwhile learns the same.
        """
        with self._lock:
            now_s = self._now_s()
            if not now_s - self._asked_s <= SHARED_S:
                self._state = self._trouble = None
            if self._trouble is not None:
                raise self._trouble.with_traceback(None)
            if self._state is None:
                self._state, now_s = self._looked(now_s)
            return Glimpse(self._state, self._age_s(self._state, now_s))

    def _looked(self, now_s: float) -> tuple[State, float]:
        """What the daemon says, and when it was asked; what is in the way is kept for those who wait."""
        try:
            state: State = self._called(self._look, _STATE, "status")
        except ClientError as trouble:
            self._trouble, self._asked_s = trouble, self._now_s()
            raise
        self._asked_s = now_s
        return state, now_s

    def doses(self, last: int) -> tuple[Entry, ...]:
        """The last lines of the ledger, newest first."""
        entries: tuple[Entry, ...] = self._called(self._look, _ENTRIES, "ledger", last=last)
        return entries

    def looked_up(self, kind: TypeAdapter[T], method: str, **params: Any) -> T:
        """What the daemon answers to a question that changes nothing."""
        answer: T = self._called(self._look, kind, method, **params)
        return answer

    def acted(self, method: str, by: str, **params: Any) -> str:
        """Have the daemon do it; what it says to that. by: for whom. Raises NotAcceptedError too."""
        answer: dict[str, Any] = self._called(self._act, _SAID, method, by=by, **params)
        with self._lock:
            self._state = None
        said = str(answer.get("said", ""))
        if answer.get("accepted") is False:
            raise NotAcceptedError(said, REFUSED)
        return said

    def _called(
        self, client: ControlClient, kind: TypeAdapter[Any], method: str, *, by: str = "", **params: Any
    ) -> Any:
        with self._turn():
            answer = client.call(method, by=by, **params)
        try:
            return kind.validate_python(answer)
        except ValidationError as other:
            raise NoDaemon(OTHER_VERSION) from other

    @contextmanager
    def _turn(self) -> Iterator[None]:
        if not self._turns.acquire(timeout=LOOK_S):
            raise NoDaemon(f"{MOST_CALLS} calls to the daemon are waiting already: try again in a moment")
        try:
            yield
        finally:
            self._turns.release()

    def _age_s(self, state: State, now_s: float) -> float:
        """By this box's clock where the daemon's is the same; else since this pass was first seen here."""
        if self._seen is None or self._seen[0] != state.passes:
            self._seen = (state.passes, now_s)
        return max(0.0, now_s - (state.at_s if state.rig == PI_RIG else self._seen[1]))
