"""One look at the daemon for all who watch, told to each as server-sent events (WHATWG HTML, section 9.2)."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncGenerator, Awaitable, Callable, Iterator
from contextlib import contextmanager

from daemon.link.client import ClientError
from daemon.page.glimpse import Glimpse

WATCH_S = 2.0  # between two looks, while anybody watches
HERE_S = 10.0  # a word at least so often, so that silence is noticed
MOST_WATCHING = 64
AGAIN_MS = 3000  # after which a browser asks anew
KIND = "text/event-stream"
END = b""

Place = asyncio.Queue[bytes]
"""What one watcher has still to be told: the newest, no more."""


class Watch:
    """Tells of each new pass (`new`), that there is none (`here`), and that the daemon is silent (`trouble`)."""

    def __init__(self, look: Callable[[], Awaitable[Glimpse]], every_s: float = WATCH_S) -> None:
        self._look, self._every_s = look, every_s
        self._places: set[Place] = set()
        self._somebody = asyncio.Event()
        self._newest: bytes | None = None

    @property
    def full(self) -> bool:
        """Whether nobody more may watch."""
        return len(self._places) >= MOST_WATCHING

    async def run(self) -> None:
        """Look until cancelled; nothing is asked while nobody watches."""
        told, quiet_s = "", 0.0
        while True:
            if not self._places:
                told, self._newest = "", None
            await self._somebody.wait()
            what, name, message = await self._looked()
            quiet_s += self._every_s
            if what != told or quiet_s >= HERE_S:
                self._newest = event(name, **message)
                if what != told:
                    self._tell(self._newest)
                else:
                    self._remind(event("here", **message))
                told, quiet_s = what, 0.0
            await asyncio.sleep(self._every_s)

    async def messages(self, still: Callable[[], bool]) -> AsyncGenerator[bytes, None]:
        """What one watcher is told, as long as `still` says that they may watch."""
        with self._watching() as place:
            yield b"retry: %d\n\n" % AGAIN_MS
            while True:
                message = await place.get()
                if message == END or not still():
                    return
                yield message

    def end(self) -> None:
        """Send all home, so that the page can end: what ends a stream is nothing more to be told."""
        self._tell(END)

    @contextmanager
    def _watching(self) -> Iterator[Place]:
        place: Place = asyncio.Queue(1)
        if self._newest is not None:
            place.put_nowait(self._newest)
        self._places.add(place)
        self._somebody.set()
        try:
            yield place
        finally:
            self._places.discard(place)
            if not self._places:
                self._somebody.clear()

    async def _looked(self) -> tuple[str, str, dict[str, float | str]]:
        """What to know it again by, the kind of event, what it says."""
        try:
            glimpse = await self._look()
        except ClientError as trouble:
            return f"trouble {trouble}", "trouble", {"said": str(trouble)}
        passes = glimpse.state.passes
        return f"pass {passes}", "new", {"pass": passes, "age_s": round(glimpse.age_s, 1)}

    def _tell(self, message: bytes) -> None:
        for place in self._places:
            if place.full():  # not taken yet, and no longer the newest
                place.get_nowait()
            place.put_nowait(message)

    def _remind(self, message: bytes) -> None:
        """Tell those to whom nothing is left to tell: what is not taken yet says more."""
        for place in self._places:
            if not place.full():
                place.put_nowait(message)


def event(name: str, **said: float | str) -> bytes:
    """One event with JSON in it."""
    return f"event: {name}\ndata: {json.dumps(said)}\n\n".encode()
