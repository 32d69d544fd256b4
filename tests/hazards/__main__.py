"""`python -m tests.hazards`: docs/hazards.md from table and figures; with --measure [FILE ...] measured anew."""

from __future__ import annotations

import ast
import json
import re
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from tests.hazards.table import HAZARDS, SECTIONS, Hazard

HERE = Path(__file__).parent
TESTS = HERE.parent
PAGE = TESTS.parent / "docs" / "hazards.md"
FIGURES = HERE / "figures.json"
NUMBER = re.compile(r"test_h(\d\d)_")
HEAD = """\
# What can go wrong, and what stands in its way

Each hazard of unattended dosing with its mechanism, the claim that its tests hold, and what was measured when
this page was last made. Not a certification: this is a hobby-grade controller, and its tests run on simulated
chips, pins and water (a 60 L reservoir with a pass every 10 to 60 s unless said otherwise). "By hand" is for a
person with the real rig; where acids, mains or drinking water are near, the cautions of the README hold and local
codes come first.

This page is made by `python -m tests.hazards`; `python -m tests.hazards --measure` measures first.
One hazard's tests: `python -m pytest tests/hazards -k h05`. A test fails where this page and its sources differ.
"""


def page() -> str:
    """The whole page."""
    return "\n".join([HEAD, *_sections()])


def _sections() -> Iterator[str]:
    for title, numbers in SECTIONS.items():
        yield f"## {title}\n"
        yield "| | hazard | mechanism | claim | measured | tests |\n|---|---|---|---|---|---|"
        rows = [hazard for hazard in HAZARDS if hazard.number in numbers]
        yield from map(_row, rows)
        yield ""
        yield from _notes(rows)


def _row(hazard: Hazard) -> str:
    tests = "<br>".join(f"`{test}`" for test in (*own_tests(hazard.number), *hazard.elsewhere))
    cells = (hazard.what, hazard.mechanism, hazard.claim, _measured(hazard), tests or "by hand")
    return f"| **H{hazard.number}** | " + " | ".join(cells) + " |"


def _measured(hazard: Hazard) -> str:
    kept = figures()
    texts = [text for test in own_tests(hazard.number) for text in kept.get(test, ())]
    return "; ".join(dict.fromkeys((*texts, *filter(None, (hazard.figure,))))).replace("|", "\\|") or "–"


def _notes(rows: list[Hazard]) -> Iterator[str]:
    for hazard in rows:
        if hazard.by_hand:
            yield f"- **H{hazard.number}, by hand:** {hazard.by_hand}"
        if hazard.not_built:
            yield f"- **H{hazard.number}, not built yet:** {hazard.not_built}."
    yield ""


def own_tests(number: int) -> tuple[str, ...]:
    """The tests of this folder that are named by the hazard's number, as `hazards/file::name`."""
    return tuple(
        f"hazards/{path.name}::{name}"
        for path in sorted(HERE.glob("test_*.py"))
        for name in names_in(path)
        if number_of(path, name) == number
    )


def number_of(path: Path, name: str) -> int | None:
    """Which hazard a test of this folder is for: by its own name, else by its file's."""
    found = NUMBER.match(name) or NUMBER.match(path.name)
    return int(found[1]) if found else None


@cache
def names_in(path: Path) -> tuple[str, ...]:
    """The tests of a file in order: functions, and state machines as `TestName`."""
    found: list[str] = []
    for node in ast.parse(path.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
            found.append(node.name)
        elif isinstance(node, ast.Assign):
            found += [target.id for target in node.targets if isinstance(target, ast.Name)]
    return tuple(name for name in found if name.startswith(("test_", "Test")))


def figures() -> dict[str, list[str]]:
    """What the tests measured, by test."""
    return dict(json.loads(FIGURES.read_text(encoding="utf-8")))


class _Gather:
    """A plugin of pytest that keeps what tests call a figure."""

    def __init__(self) -> None:
        self.found: dict[str, list[str]] = {}

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.when == "call" and report.passed:
            test = report.nodeid.removeprefix("tests/").partition("[")[0]
            texts = [str(value) for name, value in report.user_properties if name == "figure"]
            self.found.setdefault(test, []).extend(texts)


def measure(files: list[str]) -> int:
    """Run the tests and keep their figures; those of tests that did not pass stay as they were."""
    gather = _Gather()
    code = int(pytest.main(["-q", "-p", "no:cacheprovider", *(files or [str(HERE)])], plugins=[gather]))
    kept = {**figures(), **gather.found} if FIGURES.exists() else gather.found
    known = {test: texts for test, texts in sorted(kept.items()) if texts and exists(test)}
    FIGURES.write_text(json.dumps(known, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    return code


def exists(test: str) -> bool:
    """Whether there is such a test: `file` or `file::name`, below tests/."""
    file, _, name = test.partition("::")
    path = TESTS / file
    return path.is_file() and (not name or name in names_in(path))


def main(arguments: list[str]) -> int:
    """Measure if told to, then write the page."""
    code = measure(arguments[1:]) if arguments[:1] == ["--measure"] else 0
    PAGE.write_text(page(), encoding="utf-8")
    return code


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
