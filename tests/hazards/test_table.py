"""docs/hazards.md says what the table, the figures and the tests say."""

from __future__ import annotations

import re

import pytest

from tests.hazards.__main__ import HERE, PAGE, TESTS, exists, figures, names_in, number_of, own_tests, page
from tests.hazards.table import HAZARDS, SECTIONS, Hazard

LAST = 42
FILE = re.compile(r"\b(?:config|daemon|drivers|systemd|tests)/[\w/.-]*\w")


def test_the_page_is_what_the_table_says() -> None:
    """A changed row, figure or name of a test must be written out again: python -m tests.hazards."""
    assert PAGE.read_text(encoding="utf-8") == page()


def test_every_hazard_has_its_row() -> None:
    """H1 to H42, each once, in order, in one section."""
    assert [hazard.number for hazard in HAZARDS] == list(range(1, LAST + 1))
    assert [number for numbers in SECTIONS.values() for number in numbers] == list(range(1, LAST + 1))


@pytest.mark.parametrize("hazard", HAZARDS, ids=lambda hazard: f"H{hazard.number}")
def test_every_test_and_file_that_a_row_names_is_there(hazard: Hazard) -> None:
    """A renamed test or module takes its row with it; what no test holds, a person does."""
    assert [test for test in hazard.elsewhere if not exists(test)] == []
    named = FILE.findall(hazard.mechanism)
    assert [name for name in named if not (TESTS.parent / name).is_file()] == []
    assert own_tests(hazard.number) or hazard.by_hand


def test_every_test_of_this_folder_belongs_to_a_hazard() -> None:
    """By its own name or its file's."""
    others = [
        f"{path.name}::{name}"
        for path in HERE.glob("test_*.py")
        for name in names_in(path)
        if number_of(path, name) not in range(1, LAST + 1) and path.name != "test_table.py"
    ]
    assert others == []


def test_every_figure_is_of_a_test_that_is_there() -> None:
    """Nothing measured by a test that is gone stays on the page."""
    assert [test for test in figures() if not exists(test)] == []
    assert len(figures()) >= 25
