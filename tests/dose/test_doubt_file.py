"""What is in doubt outlasts a restart."""

from __future__ import annotations

from pathlib import Path

import pytest

from daemon.dose.doubt_file import ALL, DoubtFile, Doubts
from daemon.dose.finding import Finding, Surprise
from daemon.values import Quantity, Role

NOTHING_SEEN = Finding(Surprise.NO_EFFECT, Role.PH_DOWN, {"doses": 3, "ml": 24.0})
SOME = Doubts(frozenset({Quantity.PH}), unproven=True, untold=NOTHING_SEEN, lowest=0.75)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where it is kept."""
    return tmp_path / "doubts.json"


def test_what_is_doubted_is_known_at_the_next_start(path: Path) -> None:
    """Of each reservoir its own, and nothing of one that was never doubted."""
    kept = DoubtFile(path)
    kept.keep("bed1", SOME)
    kept.keep("bed2", Doubts())
    again = DoubtFile(path)
    assert (again.known("bed1"), again.known("bed2"), again.known("bed3")) == (SOME, Doubts(), Doubts())
    again.keep("bed1", Doubts())
    assert DoubtFile(path).known("bed1") == Doubts()


def test_nothing_is_written_where_nothing_has_changed(path: Path) -> None:
    """It is asked at each pass, and a card wears."""
    kept = DoubtFile(path)
    kept.keep("bed1", Doubts())
    assert not path.exists()
    kept.keep("bed1", SOME)
    path.unlink()
    kept.keep("bed1", SOME)
    assert not path.exists()


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{",
        "[]",
        '{"bed1": {}}',
        '{"bed1": {"apart": ["salt"], "unproven": true}}',
        '{"bed1": 3}',
        '{"bed1": {"apart": [], "unproven": 0, "untold": {"surprise": "still", "pump": "acid", "numbers": {}}}}',
        '{"bed1": {"apart": [], "unproven": false, "lowest": "deep"}}',
        '{"bed1": {"apart": [], "unproven": false, "untold": {"surprise": "no_effect", "pump": null}}}',
    ],
)
def test_a_file_that_cannot_be_read_means_that_all_is_doubted(path: Path, text: str) -> None:
    """Until it has shown itself; that there is trouble is told once."""
    path.write_text(text, encoding="utf-8")
    kept = DoubtFile(path)
    assert kept.known("bed1") == ALL
    assert str(path) in kept.trouble
    kept.keep("bed1", Doubts())
    assert DoubtFile(path).known("bed1") == Doubts()


def test_a_folder_that_is_gone_is_borne(path: Path) -> None:
    """What is doubted now still is."""
    kept = DoubtFile(path.parent / "gone" / "doubts.json")
    kept.keep("bed1", SOME)
    assert kept.known("bed1") == SOME
