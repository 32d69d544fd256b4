"""What is found about a form, changing nothing."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from config.load import load, warnings
from daemon.page.checks import COPY, checked
from daemon.readiness import meaning
from tests.at_the_tank import RIGS

TEXT = (RIGS / "quince-lane.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize("file", sorted(RIGS.glob("*.toml")), ids=lambda file: file.name)
def test_a_shipped_file_is_fine_and_its_meaning_is_told(file: Path) -> None:
    """As `evenwater check` tells it."""
    settings = load(file)
    found = checked(file.read_text(encoding="utf-8"), RIGS)
    assert (found.complaints, found.meaning, found.notes) == ((), tuple(meaning(settings)), warnings(settings))


def test_every_mistake_is_told_at_once() -> None:
    """Each with its table, its value and what is allowed."""
    found = checked(
        TEXT.replace("max_per_dose_ml = 8.0", "max_per_dose_ml = -8.0").replace("target = 6.0", "aim = 6"), RIGS
    )
    assert len(found.complaints) == 2
    assert all(line.startswith(COPY) for line in found.complaints)
    assert any("max_per_dose_ml = -8.0" in line for line in found.complaints)


def test_files_that_a_copy_names_begin_at_the_folder_of_the_settings(tmp_path: Path) -> None:
    """Wherever the page runs: a folder that is there beside them is fine, and one that is not is told."""
    text = TEXT.replace("[garden]\n", '[garden]\ncrops_folder = "mine"\nmix_file = "mix.toml"\n', 1)
    (line,) = checked(text, tmp_path).complaints
    assert f'crops_folder = "{tmp_path / "mine"}": is no folder' in line
    (tmp_path / "mine").mkdir()
    found = checked(text, tmp_path)
    assert found.complaints == ()
    assert any(str(tmp_path / "mix.toml") in note for note in found.notes)


@given(
    st.text(max_size=200)
    | st.tuples(st.integers(0, len(TEXT)), st.text(max_size=5)).map(lambda at: TEXT[: at[0]] + at[1])
)
def test_no_text_is_an_error_of_the_program(text: str) -> None:
    """Whatever is pasted, cut off anywhere or no settings at all."""
    found = checked(text, RIGS)
    assert bool(found.complaints) != bool(found.meaning)


@pytest.mark.parametrize(
    "text", ["a = " + "[" * 20_000, "a = " + "9" * 10_000, "\x00", "[rig]\n" * 3, 'a = "\ud800"']
)
def test_nor_is_a_spiteful_one(text: str) -> None:
    """Brackets without end, numbers without end."""
    assert checked(text, RIGS).complaints
