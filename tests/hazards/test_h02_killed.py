"""H2: the daemon is killed while a pump runs. Hundreds of real processes, killed at any instant."""

from __future__ import annotations

import multiprocessing
import os
import random
import signal
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from drivers.keeping import KeeperChild
from tests.hazards.conftest import Figure

TRIES = 200
AT_A_TIME = 12
LINE, OTHER = 17, 27
LOW_WITHIN_S = 1.0
LONG_S, SHORT_S = 20.0, 0.4
PATIENCE_S = 20.0
EXAMINED_S = 0.2  # after the line was low: long enough for a keeper to do something wrong


@dataclass(frozen=True)
class Try:
    """One kill: after how long, counted from the first time a pump was on, or from the start of the process."""

    number: int
    after_s: float
    while_on: bool
    run_s: float


def tries(count: int) -> list[Try]:
    """Three of four while the pump is on, across renewals of the lease; the others from birth onwards."""
    chance = random.Random(2)
    return [
        Try(
            number,
            after_s=chance.uniform(0.0, 1.2 if number % 4 else 0.5),
            while_on=number % 4 != 0,
            run_s=LONG_S if number % 3 else SHORT_S,
        )
        for number in range(count)
    ]


def run_pumps(edges: str, run_s: float) -> None:
    """The daemon's part: a keeper, and one run after another. Its own process, until it is killed."""
    table = {"open": "tests.drivers.plain_rig:open_rig", "edges": edges}
    keeper = KeeperChild(table, [LINE, OTHER])
    while True:
        keeper.run(LINE, run_s)


def seen(edges: Path) -> list[tuple[int, bool, float]]:
    """What each line was driven to, and when (monotonic s)."""
    text = edges.read_text(encoding="ascii") if edges.exists() else ""
    rows = (row.split() for row in text.splitlines())
    return [(int(line), level == "1", int(at_ns) / 1e9) for line, level, at_ns in rows]


def is_high(edges: Path) -> bool:
    """Whether the pump is on as far as its edges tell."""
    return next((high for line, high, _ in reversed(seen(edges)) if line == LINE), False)


def wait_until(true: Callable[[], bool], within_s: float) -> None:
    end_s = time.monotonic() + within_s
    while not true() and time.monotonic() < end_s:
        time.sleep(0.002)


def kill(one: Try, folder: Path) -> float | None:
    """Seconds from the kill to the pump's last low edge; None if it was off already."""
    edges = folder / f"edges-{one.number}"
    daemon = CONTEXT.Process(target=run_pumps, args=(str(edges), one.run_s), daemon=True)
    daemon.start()
    if one.while_on:
        wait_until(lambda: is_high(edges), PATIENCE_S)
        assert is_high(edges), "the pump never came on"
    time.sleep(one.after_s)
    assert daemon.pid is not None
    killed_s = time.monotonic()
    os.kill(daemon.pid, signal.SIGKILL)
    was_on = is_high(edges)
    wait_until(lambda: not is_high(edges), PATIENCE_S)
    time.sleep(EXAMINED_S)
    daemon.join()
    after = [(high, at_s) for line, high, at_s in seen(edges) if line == LINE and at_s > killed_s]
    assert not any(high for high, at_s in after if at_s > killed_s + LOW_WITHIN_S)
    assert not is_high(edges)
    assert not any(high for line, high, _ in seen(edges) if line == OTHER)
    return after[-1][1] - killed_s if after and (was_on or any(high for high, _ in after)) else None


CONTEXT = multiprocessing.get_context("forkserver")


def test_h02_two_hundred_kills_leave_the_line_low(tmp_path: Path, figure: Figure) -> None:
    """At whatever instant the daemon dies, its keeper drives the line low within a second."""
    CONTEXT.set_forkserver_preload(["tests.hazards.test_h02_killed"])
    with ThreadPoolExecutor(AT_A_TIME) as killers:
        took_s = list(killers.map(lambda one: kill(one, tmp_path), tries(TRIES)))
    with_pump_on = [s for s in took_s if s is not None]
    assert len(took_s) == TRIES
    assert len(with_pump_on) >= TRIES // 2
    assert max(with_pump_on) <= LOW_WITHIN_S
    figure(f"{TRIES} kills, {len(with_pump_on)} with the pump on: low after {max(with_pump_on):.2f} s at most")
