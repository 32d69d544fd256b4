"""What was learned of each water, from one start to the next."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from daemon.measure.normal import DAY_S, LEARNT_S, Normal, afresh
from daemon.measure.normal_file import NormalFile
from daemon.values import Quantity
from tests.measure.test_normal import calm, known

KNOWN = known(calm(500)).normal
FIELDS: dict[str, Any] = {
    "largest": [0.1, 0.2, 0.3],
    "lately": [0.0, 0.0, 0.0],
    "still_s": 900.0,
    "seen_s": DAY_S,
    "untaught_s": 0.0,
    "doubts": 0.5,
}


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A file in which the pH of bed1 is known."""
    NormalFile(tmp_path / "normals.json").keep({"bed1": {Quantity.PH: KNOWN}})
    return tmp_path / "normals.json"


def test_a_start_knows_what_was_learned_but_not_where_it_stood(path: Path) -> None:
    """As after a calibration."""
    kept = NormalFile(path)
    assert kept.trouble == ""
    assert kept.known("bed1") == {Quantity.PH: afresh(KNOWN)}
    assert kept.known("bed2") == {}


def test_each_reservoir_keeps_its_own(path: Path) -> None:
    """What is written of one leaves the other."""
    NormalFile(path).keep({"bed2": {Quantity.EC: Normal(seen_s=LEARNT_S)}})
    kept = NormalFile(path)
    assert kept.known("bed1") == {Quantity.PH: afresh(KNOWN)}
    assert kept.known("bed2") == {Quantity.EC: Normal(seen_s=LEARNT_S)}


def test_no_file_is_no_trouble(tmp_path: Path) -> None:
    """The first start knows nothing."""
    kept = NormalFile(tmp_path / "normals.json")
    assert (kept.trouble, kept.known("bed1")) == ("", {})


def changed(**changes: Any) -> str:
    """The file with something else in what was learned."""
    return json.dumps({"bed1": {"ph": {**FIELDS, **changes}}})


def test_the_file_of_these_tests_is_sound(path: Path) -> None:
    """So that the damaged ones are damaged by what they say."""
    path.write_text(changed())
    assert NormalFile(path).trouble == ""


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[1]",
        '{"bed1": []}',
        '{"bed1": {"bleach": {}}}',
        changed(largest=[0.1, 0.2]),
        changed(largest=[0.1, 0.2, -0.3]),
        changed(lately=[0.0, float("nan"), 0.0]),
        changed(still_s=float("inf")),
        changed(seen_s=-1.0),
        changed(untaught_s="long"),
        changed(more=1.0),
        changed(doubts=-1.0),
        changed(doubts=None),
        changed()[:-9],
    ],
)
def test_a_damaged_file_is_left_with_a_note(path: Path, text: str) -> None:
    """Nothing of it is used, the note names it, and what is learned then is kept again."""
    path.write_text(text)
    kept = NormalFile(path)
    assert str(path) in kept.trouble
    assert kept.known("bed1") == {}
    kept.keep({"bed1": {Quantity.PH: KNOWN}})
    assert NormalFile(path).known("bed1") == {Quantity.PH: afresh(KNOWN)}


def test_what_cannot_be_written_is_learned_again(path: Path) -> None:
    """A folder that is gone: nothing is raised."""
    NormalFile(path.parent / "gone" / "normals.json").keep({"bed1": {Quantity.PH: KNOWN}})
    assert not (path.parent / "gone").exists()
