"""`python -m tests.cli.picture`: docs/demo.png, the live view of `evenwater demo` with the pH probe unplugged.

An hour of the school garden is lived on a stepped bench; Debian's chromium draws the terminal. All of it is
invented.
"""

from __future__ import annotations

import io
import re
import sys
import tempfile
from pathlib import Path

from rich.console import Console

from daemon.cli.view import Trends, render
from tests.at_the_tank import PASS_S, at_the_tank, one_bed
from tests.brokers import HOUSE
from tests.page.chromium.house import CHROMIUM, chromium

PASSES, UNPLUGGED_PASSES = 330, 12
COLUMNS = 100
FILE = HOUSE / "docs" / "demo.png"


def drawn(folder: Path) -> str:
    """The terminal as SVG, without the buttons of anybody's windows."""
    settings, trends = one_bed(), Trends(PASSES * PASS_S)
    with at_the_tank(folder, settings) as at:
        for left in reversed(range(PASSES)):
            if left == UNPLUGGED_PASSES:
                at.bench.play("unplug", probe="ph")
            trends.see(state := at.passes(1))
    view = render(state, trends, f"Evenwater · {settings.site.name}", "grower: the plug of the pH probe is out")
    console = Console(file=io.StringIO(), record=True, width=COLUMNS)
    console.print(view)
    return re.sub(r"<circle [^>]*/>", "", console.export_svg(title="evenwater demo"))


def main() -> int:
    """Draw it; 1 where there is no browser."""
    if CHROMIUM is None:
        print("no chromium to draw with: sh .ci/browser", file=sys.stderr)
        return 1
    with tempfile.TemporaryDirectory(prefix="evenwater-") as name, chromium() as browser:
        page = browser.new_page()
        page.set_content(f"<body style='margin:0'>{drawn(Path(name))}</body>")
        page.locator("svg").screenshot(path=FILE)
    print(f"docs/{FILE.name}: {FILE.stat().st_size / 1000:.0f} kB")
    return 0


if __name__ == "__main__":
    sys.exit(main())
