"""What is told to those who watch: one look for all of them, the newest to each, and silence to nobody."""

from __future__ import annotations

import asyncio
import json
import socket
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import aclosing

import pytest

from daemon.link.client import NoDaemon
from daemon.page import events
from daemon.page.events import HERE_S, Watch, event
from daemon.page.glimpse import Glimpse
from tests.at_the_tank import AtTheTank
from tests.page.browser import GUESTS, Browser, serving

Told = tuple[str, dict[str, float | str]]


class Looking:
    """The daemon as the watch sees it: what each look finds."""

    def __init__(self, at: AtTheTank) -> None:
        assert at.loop.state is not None
        self._state, self.looks, self.trouble = at.loop.state, 0, ""

    async def __call__(self) -> Glimpse:
        self.looks += 1
        if self.trouble:
            raise NoDaemon(self.trouble)
        return Glimpse(self._state, 1.25)


def told(message: bytes) -> Told:
    """Its kind and what it says."""
    name, data, *rest = message.decode().removesuffix("\n\n").split("\n")
    assert rest == []
    return name.removeprefix("event: "), json.loads(data.removeprefix("data: "))


async def heard(messages: AsyncIterator[bytes]) -> Told:
    """The next that is told."""
    return told(await asyncio.wait_for(anext(messages), 5.0))


def watched(at: AtTheTank, act: Callable[[Watch, Looking, AsyncIterator[bytes]], AsyncIterator[None]]) -> None:
    """Let one watch, for whom `act` goes on."""

    async def run() -> None:
        looking = Looking(at)
        watch = Watch(looking, 0.001)
        going = asyncio.create_task(watch.run())
        async with aclosing(watch.messages(lambda: True)) as messages:
            assert await anext(messages) == b"retry: 3000\n\n"
            async for _ in act(watch, looking, messages):
                pass
        going.cancel()

    asyncio.run(run())


def test_a_pass_is_told_once_with_its_age(tank: AtTheTank, monkeypatch: pytest.MonkeyPatch) -> None:
    """Then only that the page is there, now and then."""
    monkeypatch.setattr(events, "HERE_S", 0.02)

    async def act(_: Watch, looking: Looking, messages: AsyncIterator[bytes]) -> AsyncIterator[None]:
        passes = looking._state.passes
        assert await heard(messages) == ("new", {"pass": passes, "age_s": 1.2})
        assert await heard(messages) == ("here", {"pass": passes, "age_s": 1.2})
        yield

    watched(tank, act)


def test_silence_of_the_daemon_is_told_and_its_end(tank: AtTheTank) -> None:
    """With what to do."""

    async def act(_: Watch, looking: Looking, messages: AsyncIterator[bytes]) -> AsyncIterator[None]:
        assert (await heard(messages))[0] == "new"
        looking.trouble = "no daemon answers"
        assert await heard(messages) == ("trouble", {"said": "no daemon answers"})
        looking.trouble = ""
        assert (await heard(messages))[0] == "new"
        yield

    watched(tank, act)


def test_who_does_not_listen_gets_the_newest_and_no_more(tank: AtTheTank) -> None:
    """One message waits for a phone, however long it does not take it."""

    async def act(watch: Watch, looking: Looking, messages: AsyncIterator[bytes]) -> AsyncIterator[None]:
        await heard(messages)
        for count in range(100):
            watch._tell(event("new", count=count))
        assert await heard(messages) == ("new", {"count": 99})
        yield

    watched(tank, act)


def test_a_word_that_all_is_well_does_not_take_the_place_of_news(tank: AtTheTank) -> None:
    """Which who does not listen has still to take."""

    async def act(watch: Watch, looking: Looking, messages: AsyncIterator[bytes]) -> AsyncIterator[None]:
        await heard(messages)
        watch._tell(event("new", count=7))
        watch._remind(event("here", count=7))
        assert await heard(messages) == ("new", {"count": 7})
        yield

    watched(tank, act)


def test_who_comes_later_is_told_at_once(tank: AtTheTank) -> None:
    """The newest that is known, not only the next."""

    async def act(watch: Watch, looking: Looking, messages: AsyncIterator[bytes]) -> AsyncIterator[None]:
        first = await heard(messages)
        watch._every_s = 60.0
        async with aclosing(watch.messages(lambda: True)) as others:
            await anext(others)
            assert await heard(others) == first
        yield

    watched(tank, act)


def test_nobody_is_asked_while_nobody_watches(tank: AtTheTank) -> None:
    """Nor after the last has gone."""

    async def run() -> int:
        looking = Looking(tank)
        watch = Watch(looking, 0.0)
        going = asyncio.create_task(watch.run())
        await asyncio.sleep(0)
        assert looking.looks == 0
        async with aclosing(watch.messages(lambda: True)) as messages:
            await anext(messages)
            await heard(messages)
        await asyncio.sleep(0)
        await asyncio.sleep(0)
        looks = looking.looks
        for _ in range(20):
            await asyncio.sleep(0)
        going.cancel()
        return looking.looks - looks

    assert asyncio.run(run()) <= 1


def test_who_may_no_longer_watch_is_told_nothing_more(tank: AtTheTank) -> None:
    """Their stream ends with their session."""

    async def run() -> list[bytes]:
        watch = Watch(Looking(tank), 0.001)
        going = asyncio.create_task(watch.run())
        async with asyncio.timeout(5.0):
            found = [message async for message in watch.messages(lambda: False)]
        going.cancel()
        return found

    assert asyncio.run(run()) == [b"retry: 3000\n\n"]


def test_a_page_that_ends_sends_all_home(tank: AtTheTank, caplog: pytest.LogCaptureFixture) -> None:
    """At once, and with no fault in the log."""
    with serving(tank) as looks:
        phone, lines = stream(looks)
        assert next(line for line in lines if line.startswith(b"retry"))
    with phone:
        assert list(lines)[-1:] in ([b"0\r\n"], [b"\r\n"])
    assert caplog.records == []


def stream(browser: Browser) -> tuple[socket.socket, Iterator[bytes]]:
    """A connection that watches, and its lines."""
    phone = socket.create_connection(("127.0.0.1", browser.port), timeout=20)
    cookie = f"Cookie: {browser.cookie}\r\n" if browser.cookie else ""
    phone.sendall(f"GET /events HTTP/1.1\r\nHost: localhost\r\n{cookie}\r\n".encode())
    return phone, iter(phone.makefile("rb"))


def test_a_phone_that_watches_hears_of_passes(guarded: Browser, tank: AtTheTank) -> None:
    """A guest too; with the headers that every answer has, and until they log out."""
    guarded.logs_in(GUESTS)
    phone, lines = stream(guarded)

    def hears() -> tuple[int, str, dict[str, str]]:
        for line in lines:
            if line.startswith(b"data: "):
                return 200, line.decode(), {}
        return 0, "", {}

    with phone:
        head = b"".join(iter(lambda: next(lines), b"\r\n")).decode().lower()
        assert head.startswith("http/1.1 200")
        assert "content-type: text/event-stream" in head
        assert "default-src 'none'" in head
        assert json.loads(guarded.meanwhile(hears)[1].removeprefix("data: "))["pass"] == tank.loop.state.passes  # type: ignore[union-attr]
        guarded.posts("/logout")
        tank.passes(1)
        assert guarded.meanwhile(hears)[0] == 0


def test_more_than_there_is_room_for_are_told_later(tank: AtTheTank, monkeypatch: pytest.MonkeyPatch) -> None:
    """And the page goes on for the others."""
    monkeypatch.setattr(events, "MOST_WATCHING", 1)
    with serving(tank) as looks:
        phone, lines = stream(looks)
        with phone:
            assert next(lines).startswith(b"HTTP/1.1 200")
            assert next(line for line in lines if line.startswith(b"retry"))
            status, _, headers = looks.asks("GET", "/events")
            assert (status, headers["retry-after"]) == (503, "30")
            assert looks.asks("GET", "/")[0] == 200


def test_a_look_at_the_head_of_it_ends(browser: Browser) -> None:
    """HEAD is answered like any other, without waiting for news."""
    assert browser.asks("HEAD", "/events")[0] == 200


def test_a_word_comes_before_the_browser_takes_it_for_lost() -> None:
    """The script waits longer than the page is ever silent."""
    from importlib.resources import files

    script = (files("daemon.page") / "static" / "page.js").read_text()
    silent_ms = float(script.split("silentMs = ")[1].split(";")[0])
    assert silent_ms > 2 * HERE_S * 1000
