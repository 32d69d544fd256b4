"""`evenwater demo`, as a newcomer sees it: in a fresh folder, from the first line to the summary.

The demo finds its settings in the package `config`; a copy of that beside it, with another port, is found first.
"""

from __future__ import annotations

import re
import shutil
import signal
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

from tests.brokers import HOUSE, free_port
from tests.scenarios.site import ANY_PYTHON, changed, end, soon

SUMMARY = re.compile(r"^In ([\d.]+) (s|min|h) of bench time and (\d+) passes:$", re.MULTILINE)
WITHIN_S = 2.0


def fresh(folder: Path) -> int:
    """A folder that has seen nothing but the settings; the port of MQTT that these name."""
    port = free_port()
    shutil.copytree(HOUSE / "config", folder / "config", ignore=shutil.ignore_patterns("__pycache__"))
    rig = folder / "config" / "rigs" / "quince-lane.toml"
    rig.write_text(changed(rig.read_text(), "mqtt", port=port))
    return port


@contextmanager
def demo(folder: Path, minutes: str) -> Iterator[subprocess.Popen[bytes]]:
    """`evenwater demo --plain` in that folder, printing into a file beside it."""
    command = [sys.executable, "-m", "daemon.cli.main", "demo", "--minutes", minutes, "--plain"]
    with printed(folder).open("wb") as out:
        process = subprocess.Popen(command, cwd=folder, env=ANY_PYTHON, stdout=out, stderr=subprocess.STDOUT)
    try:
        yield process
    finally:
        end(process)


def printed(folder: Path) -> Path:
    """Where the demo prints."""
    return folder / "printed"


def it_ends_by_itself(folder: Path) -> None:
    """It calibrates, doses, meets the unplugged probe, and sums it all up within half a minute; exit code 0."""
    port = fresh(folder)
    with demo(folder, "0.4") as process:
        assert process.wait(120.0) == 0
    text = printed(folder).read_text()
    assert "Traceback" not in text
    assert f"MQTT: an embedded broker on 127.0.0.1:{port}." in text
    assert re.search(r"^The page to look at, .*: http://127\.0\.0\.1:\d+/$", text, re.MULTILINE)
    assert re.search(r"grower: kept: slope 9[67]\.\d %", text), text  # the bench's electrode has 97 %
    assert "grower: kept: cell constant" in text
    assert "grower: stopped" not in text
    head, found, summary = text.partition("\nIn ")
    assert found
    assert "Bed 1: dosed" in head
    assert re.search(r"alarm bed1-ph-probe \(medium\): pH probe", head)
    assert "alarm bed1-ph-probe is over" in head
    assert re.search(r"^  alarm bed1-ph-probe after 1[45] min, over after [234] min$", summary, re.MULTILINE)
    said = SUMMARY.search(text)
    assert said
    assert (said[1], said[2]) == ("24", "min")
    assert 100 < int(said[3]) <= 144
    doses = re.search(r"^  (\d+) doses of pH down, ([\d.]+) mL in all", summary, re.MULTILINE)
    assert doses
    assert 1 <= int(doses[1]) == head.count("Bed 1: dosed")
    assert "pH up" not in summary
    assert "evenwater rehearse config/rigs/quince-lane.toml" in summary


def it_is_ended_and_begun_anew(folder: Path) -> None:
    """Ctrl-C ends it within two seconds, summed up; the next one in the folder knows nothing of its doses."""
    fresh(folder)
    took_s = []
    for _ in range(2):
        with demo(folder, "5") as process:
            soon(lambda: "Bed 1: dosed" in printed(folder).read_text())
            assert "Bed 1" in looked_at(printed(folder).read_text())
            process.send_signal(signal.SIGINT)
            told_s = time.monotonic()
            assert process.wait(20.0) == 0
            took_s.append(time.monotonic() - told_s)
        text = printed(folder).read_text()
        assert "Traceback" not in text
        assert SUMMARY.search(text)
        assert text.index("grower: kept: slope") < text.index("Bed 1: dosed")
        assert "  1 dose of pH down, 8.0 mL in all; the first at pH 7." in text
    assert min(took_s) < WITHIN_S  # a busy machine may hold up one of them


def looked_at(text: str) -> str:
    """What the page shows whose address was printed."""
    found = re.search(r"http://127\.0\.0\.1:\d+/", text)
    assert found
    with urllib.request.urlopen(found[0], timeout=10.0) as page:
        return str(page.read().decode())


STORIES: tuple[Callable[[Path], None], ...] = (it_ends_by_itself, it_is_ended_and_begun_anew)


def test_a_demo(folder: Path) -> None:
    """To its own end, and to an early one; side by side, each in a folder of its own."""

    def tell(story: Callable[[Path], None]) -> None:
        own = folder / story.__name__
        own.mkdir()
        story(own)

    with ThreadPoolExecutor() as pool:
        for told in [pool.submit(tell, story) for story in STORIES]:
            told.result()
