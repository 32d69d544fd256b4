"""`python -m tests.river`: the judge against a technician's labels, as a page. `--write`: into docs/probes.md."""

from __future__ import annotations

import sys
from pathlib import Path

from tests.river.report import page, replay
from tests.river.series import folder, sites

PAGE = Path(__file__).parents[2] / "docs" / "probes.md"


def main(arguments: list[str]) -> int:
    """0, or 2 where no series are to be found."""
    where = folder()
    found = list(sites(where)) if where is not None else []
    if not found:
        print("no series: set RIVER_DATA to a folder that holds them (*.csv.gz)", file=sys.stderr)
        return 2
    text = page([replay(site) for site in found])
    if "--write" in arguments:
        PAGE.write_text(text, encoding="utf-8")
    print(text)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
