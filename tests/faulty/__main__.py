"""`python -m tests.faulty`: the grid of faults, as a page. `--write`: into docs/faults.md."""

from __future__ import annotations

import sys
from pathlib import Path

from tests.faulty.grid import page

PAGE = Path(__file__).parents[2] / "docs" / "faults.md"


def main(arguments: list[str]) -> int:
    """Always 0."""
    text = page()
    if "--write" in arguments:
        PAGE.write_text(text, encoding="utf-8")
    print(text)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
